"""Observations to events and the verdict, online."""
