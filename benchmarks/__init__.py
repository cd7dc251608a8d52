"""Measurements of speed, memory, accuracy and toughness; `python -m benchmarks` lists them."""
