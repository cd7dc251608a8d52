"""Titrations as data: one TOML file each, validated on loading."""
