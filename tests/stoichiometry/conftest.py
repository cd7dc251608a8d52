"""Property tests without a time limit for each example: the first one pays for imports."""

from hypothesis import settings

settings.register_profile("huehold", deadline=None)
settings.load_profile("huehold")
