"""Masses to a result: formulae, reactions, units, uncertainty, replicates."""
