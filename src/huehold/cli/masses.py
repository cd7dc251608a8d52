"""The options for what is weighed and read off labels, shared by the commands that need them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from huehold.errors import UsageError
from huehold.mass_fields import FIELDS, MassField

if TYPE_CHECKING:
    from huehold.masses import MassInputs
    from huehold.methods import Method

__all__ = ["MassOptions", "field_options", "mass_inputs", "mass_options", "take_fields"]

F = TypeVar("F", bound=Callable[..., Any])

_FLAGS = {
    "bracket_mass": ("--last-drop", "--bracket-mass"),
    "strength": ("--acidity", "--strength"),
    "strength_basis": ("--acidity-basis", "--strength-basis"),
}
_METAVARS = {
    "strength": "FIGURE",
    "country": "XX",
    "density": "G/ML",
    "reagent_strength": "FIGURE",
    "end_ph": "PH",
    "claim": "CLAIM",
    "tolerance": "RANGE",
    "dose": "AMOUNT",
}


@dataclass(frozen=True, slots=True)
class MassOptions:
    """What was given on the command line about masses."""

    masses: Path | None = None
    given: dict[str, str] = field(default_factory=dict)


def field_options(*keys: str) -> Callable[[F], F]:
    """Give a command an option for each of `FIELDS` that is named, or for all of them.

    Parameters
    ----------
    *keys : str
        Keys of `huehold.mass_fields.FIELDS`; all if none is named. The command gets each by its
        key, None if it was not given.
    """
    chosen = [known for known in FIELDS if not keys or known.key in keys]

    def decorate(command: F) -> F:
        """Add the options, the first on top of the help."""
        decorated: Any = command
        for known in reversed(chosen):
            decorated = _option(known)(decorated)
        result: F = decorated
        return result

    return decorate


def _option(known: MassField) -> Callable[[F], F]:
    flags = _FLAGS.get(known.key, ("--" + known.key.replace("_", "-"),))
    about = f"{known.label}, such as {known.example!r}."
    if known.choices:
        return click.option(
            *flags, known.key, type=click.Choice(known.choices), help=f"{known.label}."
        )
    return click.option(*flags, known.key, metavar=_METAVARS.get(known.key, "MASS"), help=about)


def take_fields(options: dict[str, Any]) -> dict[str, str]:
    """Take what was given for `FIELDS` out of a command's options."""
    texts = {known.key: options.pop(known.key) for known in FIELDS}
    return {key: text for key, text in texts.items() if text is not None}


def mass_options(command: F) -> F:
    """Give a command the options about masses; it gets them as ``masses: MassOptions``."""

    @wraps(command)
    def gather(*args: Any, **options: Any) -> Any:
        """Gather the options about masses into one value."""
        table = options.pop("masses_file")
        return command(*args, masses=MassOptions(table, take_fields(options)), **options)

    decorated: Any = field_options()(gather)
    table = click.option(
        "--masses", "masses_file", type=click.Path(path_type=Path), metavar="FILE.csv",
        help="Cumulative titrant masses, in place of --titrant-mass: time_s, cumulative_g.",
    )  # fmt: skip
    result: F = table(decorated)
    return result


def mass_inputs(method: Method, options: MassOptions) -> MassInputs | None:
    """Read what was given; None if nothing was.

    Raises
    ------
    UsageError
        If both a table and a titrant mass were given.
    InputError
        If a value or the table cannot be read.
    """
    from huehold.balance.masses import read_masses
    from huehold.masses import MassInputs

    if options.masses is not None and "titrant_mass" in options.given:
        raise UsageError("Give either --masses or --titrant-mass, not both.")
    if options.masses is None and not options.given:
        return None
    readings = read_masses(options.masses) if options.masses is not None else ()
    return MassInputs.from_mapping(options.given, method, readings)
