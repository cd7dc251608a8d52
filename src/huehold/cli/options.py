"""Option values people type, turned into the types of the core."""

from __future__ import annotations

from typing import Any

import click

from huehold.core import Ellipse, Rect


class Numbers(click.ParamType):
    """A fixed number of comma-separated numbers, such as ``320,240,110``.

    Parameters
    ----------
    shape : str
        What the numbers mean, for help and errors, such as ``"X,Y,R"``.
    """

    def __init__(self, shape: str) -> None:
        self.name = shape

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[float, ...]:
        """Return the numbers, or fail with what was expected."""
        if isinstance(value, tuple):
            return value
        parts = str(value).split(",")
        wanted = self.name.count(",") + 1
        try:
            numbers = tuple(float(part) for part in parts)
        except ValueError:
            numbers = ()
        if len(numbers) != wanted:
            self.fail(f"{value!r} is not {wanted} numbers in pixels like {self.name}.", param, ctx)
        if any(number <= 0 for number in numbers[2:]):
            self.fail(f"{value!r}: sizes in {self.name} must be above zero.", param, ctx)
        return numbers


def vessel_of(numbers: tuple[float, ...] | None) -> Ellipse | None:
    """Return the circle X,Y,R as an outline."""
    if numbers is None:
        return None
    x_px, y_px, radius_px = numbers
    return Ellipse(x_px, y_px, radius_px, radius_px)


def white_of(numbers: tuple[float, ...] | None) -> Rect | None:
    """Return X,Y,W,H as a rectangle."""
    return None if numbers is None else Rect(*numbers)
