"""The titrant's mass over time: typed, from a file, from a balance."""
