"""The virtual bench: chemistry, optics, scene and camera of a made-up titration."""
