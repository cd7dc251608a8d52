"""Runs kept on disk, crash-safe."""
