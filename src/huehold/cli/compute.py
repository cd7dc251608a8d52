"""`huehold compute`: from masses to a result, without a camera."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from huehold.cli.masses import field_options
from huehold.cli.options import (
    balance_options,
    calibration_option,
    calibrations_of,
    method_option,
)
from huehold.cli.outputs import json_option, print_rich, write_json
from huehold.cli.words import Number
from huehold.errors import UsageError
from huehold.mass_fields import FIELDS

if TYPE_CHECKING:
    from huehold.methods import Method
    from huehold.stoichiometry.assay import Assay
    from huehold.stoichiometry.replicate_assay import Replicates

__all__ = ["compute"]

_DIRECT = tuple(known.key for known in FIELDS if known.key != "readability")


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@method_option
@field_options()
@click.option(
    "--standard",
    metavar="NAME",
    help="Standardise the titrant against this, such as 'baking soda'.",
)
@click.option("--standard-mass", metavar="MASS", help="Mass of the standard that was weighed.")
@click.option("--standard-titrant-mass", metavar="MASS", help="Titrant the standard took.")
@click.option(
    "--standard-assay", metavar="PERCENT", help="Purity of the standard, such as '99.5 %'."
)
@click.option("--density-mass", metavar="MASS", help="Or: mass of a measured volume of the sample.")
@click.option("--density-volume", metavar="VOLUME", help="That volume, such as '10.0 mL'.")
@click.option(
    "--graduation",
    metavar="VOLUME",
    default="1 mL",
    show_default=True,
    help="Distance of two marks of what measured it.",
)
@calibration_option
@click.option("--buoyancy", is_flag=True, help="Correct masses for the buoyancy of the air.")
@balance_options
@click.option(
    "--replicates",
    type=click.Path(path_type=Path),
    metavar="FILE.csv",
    help="Several runs, one a row: sample_mass_g, titrant_mass_g, bracket_mass_g.",
)
@click.option(
    "--coverage",
    type=Number(),
    default=0.95,
    show_default=True,
    metavar="SHARE",
    help="Coverage probability of the interval, such as 0.95.",
)
@click.option(
    "--explain",
    type=click.Choice(["text", "markdown", "html"]),
    is_flag=False,
    flag_value="text",
    help="Show the working (as text if no form is named).",
)
@json_option
@click.option("--list-methods", is_flag=True, help="List the shipped methods and stop.")
@click.option("--show-method", is_flag=True, help="Show what the method says and stop.")
def compute(**options: Any) -> None:
    """Turn the masses of a titration into a result with its uncertainty.

    For example: huehold compute --sample-mass 5.22 --titrant-mass 16.56 --last-drop 0.05
    --acidity "5.0 %" --claim "1200 mg/15 mL". Masses are grams unless a unit is typed.
    """
    if options["explain"] is not None and options["json_to"] == "-":
        raise UsageError("--explain and --json - both write to standard output; name a JSON file.")
    if options["list_methods"]:
        _list_methods()
    elif options["show_method"]:
        _show_method(options["method"])
    elif options["replicates"] is not None:
        _tell_replicates(_run_replicates(options), options)
    else:
        _tell(_run(options), options)


def _list_methods() -> None:
    from huehold.methods import list_methods, load_method

    for name in list_methods():
        click.echo(f"{name}\n    {load_method(name).title}")


def _show_method(name: str) -> None:
    from huehold.cli.compute_show import method_card
    from huehold.methods import load_method

    print_rich(method_card(load_method(name)))


def _run(options: Mapping[str, Any]) -> Assay:
    from huehold.methods import load_method
    from huehold.stoichiometry.assay import assay

    for name in ("sample_mass", "titrant_mass"):
        if options[name] is None:
            raise UsageError(f"Give --{name.replace('_', '-')} (grams), or --replicates FILE.csv.")
    method = load_method(options["method"])
    return assay(method, **_with_calibrations(method, options))


def _run_replicates(options: Mapping[str, Any]) -> Replicates:
    from huehold.methods import load_method
    from huehold.stoichiometry.replicate_assay import assay_replicates, read_replicates

    for name in ("sample_mass", "titrant_mass"):
        if options[name] is not None:
            raise UsageError(f"Leave --{name.replace('_', '-')} out: --replicates has the masses.")
    method = load_method(options["method"])
    return assay_replicates(
        method, read_replicates(options["replicates"]), **_with_calibrations(method, options)
    )


def _with_calibrations(method: Method, options: Mapping[str, Any]) -> dict[str, Any]:
    """Return the arguments of `assay`: what was given, then what was measured beforehand."""
    from huehold.calibration.applied import applied
    from huehold.report.words import sentence
    from huehold.stoichiometry.weighing import balance_of

    chosen = _arguments(options)
    measured = applied(calibrations_of(options["calibrations"]), method, typed=chosen)
    for text in measured.warnings:
        click.echo(f"Note: {sentence(text)}", err=True)
    if measured.used:
        click.echo(f"Calibrations used: {', '.join(measured.used)}.", err=True)
    return {"balance": balance_of()} | chosen | measured.arguments


def _arguments(options: Mapping[str, Any]) -> dict[str, Any]:
    """Return the arguments of `assay` that were given."""
    from huehold.stoichiometry.assay import Settings
    from huehold.stoichiometry.weighing import balance_of

    chosen = {name: options[name] for name in _DIRECT if options[name]}
    if options["buoyancy"]:
        chosen["buoyancy"] = True
    balance = [options[name] for name in ("readability", "linearity", "capacity")]
    if any(value is not None for value in balance):
        chosen["balance"] = balance_of(*balance)
    chosen["settings"] = Settings(coverage=options["coverage"])
    if options["standard"] is not None:
        chosen["standardisation"] = _standardisation(options)
    if options["density_mass"] is not None or options["density_volume"] is not None:
        chosen["density"] = _measured_density(options)
    return chosen


def _standardisation(options: Mapping[str, Any]) -> Any:
    from huehold.stoichiometry.standardise import Standardisation

    if options["standard_mass"] is None or options["standard_titrant_mass"] is None:
        raise UsageError("--standard needs --standard-mass and --standard-titrant-mass.")
    return Standardisation(
        options["standard"],
        options["standard_mass"],
        options["standard_titrant_mass"],
        assay=options["standard_assay"],
    )


def _measured_density(options: Mapping[str, Any]) -> Any:
    from huehold.stoichiometry.density import measured_density
    from huehold.stoichiometry.weighing import balance_of

    if options["density_mass"] is None or options["density_volume"] is None:
        raise UsageError("A measured density needs --density-mass and --density-volume.")
    if options["density"] is not None:
        raise UsageError("Give --density, or --density-mass and --density-volume, not both.")
    return measured_density(
        options["density_mass"],
        options["density_volume"],
        graduation=options["graduation"],
        readability_g=balance_of(options["readability"]).readability_g,
    )


def _tell(result: Assay, options: Mapping[str, Any]) -> None:
    if options["json_to"] is not None:
        write_json(result.to_json(), options["json_to"])
    if options["explain"] is not None:
        click.echo(getattr(result.working, options["explain"]))
    elif options["json_to"] != "-":
        from huehold.cli.compute_show import assay_card

        print_rich(assay_card(result))
        return
    _remarks(result)


def _tell_replicates(result: Replicates, options: Mapping[str, Any]) -> None:
    if options["json_to"] is not None:
        write_json(result.to_json(), options["json_to"])
    if options["explain"] is not None:
        for one in result.assays:
            click.echo(getattr(one.working, options["explain"]))
    elif options["json_to"] != "-":
        from huehold.cli.compute_show import replicates_card

        print_rich(replicates_card(result))
        return
    _remarks(result.assays[0])


def _remarks(result: Assay) -> None:
    from huehold.report.words import sentence

    for text in result.warnings:
        click.echo(f"Warning: {sentence(text)}", err=True)
