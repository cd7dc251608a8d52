"""One frame to one observation: vessel, white, colour, turbidity, trust."""

from huehold.vision.observer import Observer, Sight

__all__ = ["Observer", "Sight"]
