"""One frame to one observation: vessel, white, colour, turbidity, trust."""

from huehold.vision.observer import Observer

__all__ = ["Observer"]
