"""Option values people type, turned into the types of the core."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from huehold.cli.words import Number

if TYPE_CHECKING:
    from huehold.calibration.model import Calibration
    from huehold.core import Ellipse, Rect

_SKIP = "huehold.skip_unreadable"
DEFAULT_METHOD = "magnesium-hydroxide-by-vinegar"
F = TypeVar("F", bound=Callable[..., Any])
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
    example = ",".join(("320", "240", "110", "80")[:wanted])

    def read(
        ctx: click.Context, param: click.Parameter, value: str | None
    ) -> tuple[float, ...] | None:
        """Return the numbers of an option."""
        if value is None:
            return None
        try:
            found = tuple(float(part) for part in value.split(","))
        except ValueError:
            found = ()
        if len(found) != wanted:
            raise click.BadParameter(
                f"{value!r} is not {wanted} numbers in pixels, {shape}, such as {example}."
            )
        if any(not 0 < size < 1e5 for size in found[2:]):
            raise click.BadParameter(f"{value!r}: the sizes in {shape} must be above zero.")
        return found

    return read


def vessel_of(given: tuple[float, ...] | None) -> Ellipse | None:
    """Return the circle X,Y,R as an outline."""
    from huehold.core import Ellipse

    return None if given is None else Ellipse(given[0], given[1], given[2], given[2])


def white_of(given: tuple[float, ...] | None) -> Rect | None:
    """Return X,Y,W,H as a rectangle."""
    from huehold.core import Rect

    return None if given is None else Rect(*given)


def calibrations_of(names: tuple[str, ...]) -> tuple[Calibration, ...]:
    """Return the calibrations named and those in use; say on standard error what is due.

    Raises
    ------
    UsageError, InputError
        If one that was named does not exist or cannot be read, unless --skip-unreadable is given.
    """
    import datetime as dt

    from huehold.calibration.applied import gather

    skip = click.get_current_context().meta.get(_SKIP, False)
    found, told = gather(names, today=dt.date.today(), skip=skip)
    for sentence in told:
        click.echo(f"Note: {sentence}", err=True)
    return found


method_option = click.option(
    "--method",
    default=DEFAULT_METHOD,
    show_default=True,
    metavar="NAME|FILE",
    help="A shipped method, or a method file of your own (.toml).",
)
hold_option = click.option(
    "--hold",
    "hold_s",
    type=Number(1, 600),
    metavar="SECONDS",
    help="How long the end colour must hold; the method's (or the run's) own if not given.",
)


def calibration_option(command: F) -> F:
    """Give a command the calibrations to use, and what to do about one that cannot be read."""
    named = click.option(
        "--calibration",
        "calibrations",
        multiple=True,
        metavar="NAME|FILE",
        help="A calibration to use; again for more. 'none' leaves out those in use.",
    )
    skipped = click.option(
        "--skip-unreadable",
        is_flag=True,
        expose_value=False,
        callback=lambda ctx, _, value: ctx.meta.update({_SKIP: value}),
        help="Go on without a --calibration that is missing or cannot be read.",
    )
    return named(skipped(command))


def balance_options(command: F) -> F:
    """Give a command the options that say more of the balance than its readability."""
    linearity = click.option(
        "--linearity", metavar="MASS", help="Largest error of a reading beyond its last digit."
    )
    capacity = click.option("--capacity", metavar="MASS", help="Largest mass the balance takes.")
    return linearity(capacity(command))


def place_options(command: F) -> F:
    """Give a command the options that say where liquid and white are in the picture."""
    vessel = click.option(
        "--vessel",
        callback=numbers("X,Y,R"),
        metavar="X,Y,R",
        help="Circle of the liquid in pixels, in place of finding it.",
    )
    white = click.option(
        "--white",
        callback=numbers("X,Y,W,H"),
        metavar="X,Y,W,H",
        help="White patch in pixels, in place of finding one.",
    )
    return vessel(white(command))


def page_options(command: F) -> F:
    """Give a command that serves the page its port and whether to open it."""
    port = click.option(
        "--port",
        type=Number(0, 65535, whole=True),
        default=0,
        show_default="any that is free",
        metavar="NUMBER",
        help="Port of the page on this computer.",
    )
    opened = click.option(
        "--open/--no-open",
        "open_browser",
        default=True,
        show_default=True,
        help="Open the page in the browser.",
    )
    return port(opened(command))
