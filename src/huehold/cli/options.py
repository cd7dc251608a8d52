"""Option values people type, turned into the types of the core."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from huehold.core import Ellipse, Rect

if TYPE_CHECKING:
    from huehold.calibration.model import Calibration

Callback = Callable[[click.Context, click.Parameter, str | None], tuple[float, ...] | None]


def numbers(shape: str) -> Callback:
    """Return an option callback that reads comma-separated numbers, such as ``320,240,110``.

    Parameters
    ----------
    shape : str
        What the numbers mean, for errors, such as ``"X,Y,R"``; from the third on they are
        sizes and must be above zero.
    """
    wanted = shape.count(",") + 1

    def read(
        ctx: click.Context, param: click.Parameter, value: str | None
    ) -> tuple[float, ...] | None:
        if value is None:
            return None
        try:
            found = tuple(float(part) for part in value.split(","))
        except ValueError:
            found = ()
        if len(found) != wanted:
            raise click.BadParameter(f"{value!r} is not {wanted} numbers in pixels like {shape}.")
        if any(not 0 < size < 1e5 for size in found[2:]):
            raise click.BadParameter(f"{value!r}: the sizes in {shape} must be above zero.")
        return found

    return read


def vessel_of(given: tuple[float, ...] | None) -> Ellipse | None:
    """Return the circle X,Y,R as an outline."""
    return None if given is None else Ellipse(given[0], given[1], given[2], given[2])


def white_of(given: tuple[float, ...] | None) -> Rect | None:
    """Return X,Y,W,H as a rectangle."""
    return None if given is None else Rect(*given)


def calibrations_of(names: tuple[str, ...]) -> tuple[Calibration, ...]:
    """Return the calibrations named and those in use; say on standard error what is due.

    Raises
    ------
    UsageError, InputError
        If one that was named does not exist or cannot be read.
    """
    import datetime as dt

    from huehold.calibration.applied import gather

    found, told = gather(names, today=dt.date.today())
    for sentence in told:
        click.echo(f"Note: {sentence}", err=True)
    return found


calibration_option = click.option(
    "--calibration",
    "calibrations",
    multiple=True,
    metavar="NAME|FILE",
    help="A calibration to use; again for more. 'none' leaves out those in use.",
)
