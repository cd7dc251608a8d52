"""The options by which masses come into a review, shared by the commands that need them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from huehold.errors import UsageError

if TYPE_CHECKING:
    from huehold.masses import MassInputs
    from huehold.methods import Method

__all__ = ["MassOptions", "mass_inputs", "mass_options"]

F = TypeVar("F", bound=Callable[..., Any])

_OPTIONS: dict[str, tuple[str, str, str]] = {
    "titrant_mass": ("--titrant-mass", "GRAMS", "Titrant at the endpoint, in place of --masses."),
    "bracket_mass": ("--last-drop", "GRAMS", "Mass of the last addition, with --titrant-mass."),
    "sample_mass": ("--sample-mass", "GRAMS", "Mass of the sample; needed for a result."),
    "strength": ("--acidity", "PERCENT", "Titrant strength on its label, such as '5 %'."),
    "strength_basis": (
        "--acidity-basis", "BASIS", "What that means: per-100-mL or per-100-g.",
    ),
    "density": ("--density", "G/ML", "Density of the sample."),
    "blank_mass": ("--blank-mass", "GRAMS", "Titrant that the water and dye alone took."),
    "water_mass": ("--water-mass", "GRAMS", "Water added to the sample."),
    "claim": ("--claim", "TEXT", "Label claim, such as '1200 mg/15 mL'."),
    "tolerance": ("--tolerance", "TEXT", "Tolerance about the claim, such as '90-115 %'."),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class MassOptions:
    """What was given on the command line about masses."""

    masses: Path | None = None
    given: dict[str, str] = field(default_factory=dict)


def mass_options(command: F) -> F:
    """Give a command the options about masses; it gets them as ``masses: MassOptions``."""

    @wraps(command)
    def gather(*args: Any, **options: Any) -> Any:
        table = options.pop("masses_file")
        texts = {key: options.pop(key) for key in _OPTIONS}
        given = {key: text for key, text in texts.items() if text is not None}
        return command(*args, masses=MassOptions(table, given), **options)

    decorated: Any = gather
    for key, (flag, metavar, text) in reversed(_OPTIONS.items()):
        decorated = click.option(flag, key, metavar=metavar, help=text)(decorated)
    table = click.option(
        "--masses", "masses_file", type=click.Path(path_type=Path), metavar="FILE.csv",
        help="Cumulative titrant masses: time_s, cumulative_g.",
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
