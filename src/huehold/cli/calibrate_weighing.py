"""`huehold calibrate dropper`, `balance`, `density` and `titrant`: what is weighed."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from huehold.cli.asking import ask, ask_several, interactive, today
from huehold.cli.keeping import keep, keep_options, name_of
from huehold.errors import InputError, UsageError

if TYPE_CHECKING:
    from huehold.calibration.balance import Check

__all__ = ["balance", "density", "dropper", "titrant"]

_HELP = {"help_option_names": ["-h", "--help"]}
_METHOD = "magnesium-hydroxide-by-vinegar"


def _grams(text: str) -> float:
    from huehold.stoichiometry.quantities import read

    return read(text, "g", "the mass").value


def _readability(text: str) -> float:
    from huehold.stoichiometry.weighing import Balance

    return Balance(_grams(text)).readability_g


def _number(text: str) -> float:
    from huehold.stoichiometry.quantities import read_number

    return read_number(text, "the number")


def _list_of(read: Callable[[str], float]) -> Callable[[str], tuple[float, ...]]:
    """Read numbers separated by commas, or by semicolons where the decimal sign is a comma."""

    def parse(text: str) -> tuple[float, ...]:
        parts = text.split(";" if ";" in text else ",")
        return tuple(read(part) for part in parts if part.strip())

    return parse


@click.command(
    context_settings=_HELP, epilog="Example: huehold calibrate dropper --weighings 20:0.95,20:0.97"
)
@click.option("--weighings", metavar="N:G,...", help="Drops counted and their mass in grams.")
@click.option("--liquid", default="", metavar="TEXT", help="What was dripped: vinegar.")
@click.option("--readability", default="0.01", show_default=True, metavar="G",
              help="Last digit of the balance.")  # fmt: skip
@keep_options
def dropper(
    weighings: str | None, liquid: str, readability: str, name: str | None, **kept: bool
) -> None:
    """Mass of a drop and its scatter, from a few weighings of counted drops.

    Put a dry cup on the balance, tare, hold the dropper upright and let 20 drops fall; type
    20:0.97. Do it three times or more.
    """
    from huehold.calibration.dropper import calibrate, parse_weighings

    if weighings is None and interactive():
        click.echo("Tare a dry cup, let 20 drops fall, read the mass. Enter alone ends.", err=True)
        found = tuple(w for many in ask_several("Drops:grams of weighing", parse_weighings)
                      for w in many)  # fmt: skip
    else:
        found = ask(weighings, "--weighings", "", parse_weighings)
    made = calibrate(
        found, name=name_of(name, f"{liquid or 'dropper'}"), made=today(), liquid=liquid,
        readability_g=_readability(readability),
    )  # fmt: skip
    if len(found) < 3:
        click.echo("Three weighings or more would tell how far drops differ.", err=True)
    keep(made, **kept)


@click.command(
    context_settings=_HELP,
    epilog="Example: huehold calibrate balance --repeat 5.01,5.00,5.01 --check us-5-cents=5.01",
)
@click.option("--readability", metavar="G", help="Last digit of the display.")
@click.option("--repeat", metavar="G,G,...", help="The same thing weighed again and again.")
@click.option("--check", "checks", multiple=True, metavar="WEIGHT=G",
              help="A coin, '10 x us-5-cents' or '20 +/- 0.01 g', and its reading.")  # fmt: skip
@click.option("--together", multiple=True, metavar="G+G+...=G",
              help="Readings one by one, and of all at once.")  # fmt: skip
@click.option("--zero", metavar="MIN:G,...", help="The empty balance after some minutes.")
@click.option("--capacity", metavar="G", help="Largest mass it takes.")
@click.option("--list-coins", is_flag=True, help="List the coins with their masses and stop.")
@keep_options
def balance(list_coins: bool, name: str | None, **options: Any) -> None:
    """Readability, repeatability, linearity and drift, with check weights or coins."""
    from huehold.calibration.balance import calibrate

    if list_coins:
        _tell_coins()
        return
    kept = {key: options.pop(key) for key in ("use_it", "dry_run", "as_json")}
    readability = ask(options["readability"], "--readability", "Last digit of the display (g)",
                      _readability, default="0.01")  # fmt: skip
    checks = _checks(options["checks"])
    made = calibrate(
        name=name_of(name, "balance"), made=today(), readability_g=readability,
        repeated_g=_repeated(options["repeat"]), checks=checks,
        together=[_together(text) for text in options["together"]],
        zeros=_zeros(options["zero"]) if options["zero"] else (),
        capacity_g=_grams(options["capacity"]) if options["capacity"] else None,
    )  # fmt: skip
    if made.repeatability_g is None and not checks and not options["together"]:
        raise UsageError("Nothing was weighed; give --repeat, --check or --together.")
    for one in checks:
        click.echo(f"{'ok ' if one.inside else '!  '}{one.verdict()}", err=True)
    keep(made, **kept)


def _repeated(given: str | None) -> tuple[float, ...]:
    if given is not None or not interactive():
        return _list_of(_grams)(given or "")
    click.echo("Weigh the same thing again and again, lifting it off in between.", err=True)
    return ask_several("Reading (g), Enter ends", _grams, least=0)


def _checks(given: tuple[str, ...]) -> tuple[Check, ...]:
    if given or not interactive():
        return tuple(_check(text) for text in given)
    click.echo("Check weights or coins, as us-5-cents=5.01 (see --list-coins).", err=True)
    return ask_several("Check weight=reading, Enter ends", _check, least=0)


def _check(text: str) -> Check:
    from huehold.calibration.balance import check, check_weight

    weight, equals, reading = text.rpartition("=")
    if not equals:
        raise InputError(f"'{text}' is no check; write the weight, =, and the reading in grams.")
    return check(check_weight(weight), _grams(reading))


def _together(text: str) -> tuple[tuple[float, ...], float]:
    apart, equals, whole = text.partition("=")
    parts = tuple(_grams(part) for part in apart.split("+") if part.strip())
    if not equals or len(parts) < 2:
        raise InputError(f"'{text}' is no such weighing; write 5.01+7.49=12.50.")
    return parts, _grams(whole)


def _zeros(text: str) -> list[tuple[float, float]]:
    found = []
    for part in text.split(";" if ";" in text else ","):
        minute, colon, grams = part.partition(":")
        if not colon:
            raise InputError(
                f"'{part.strip()}' is no zero; write minutes, a colon and grams: 5:0.01."
            )
        found.append((_number(minute), _grams(grams)))
    return found


def _tell_coins() -> None:
    from huehold.calibration.coins import list_coins

    for known in list_coins():
        limit = (
            "no tolerance found" if known.tolerance_g is None else f"+/- {known.tolerance_g:g} g"
        )
        click.echo(f"{known.key:<14} {known.mass_g:7.3f} g  {limit:<20} {known.source}")


@click.command(
    context_settings=_HELP,
    epilog="Example: huehold calibrate density --mass 10.44 --volume 10.0 --graduation 0.5",
)
@click.option("--mass", metavar="G[,G]", help="Sample in the cup; several fills by commas.")
@click.option("--volume", metavar="ML", help="Volume at the mark ...")
@click.option("--graduation", default="1 mL", show_default=True, metavar="ML",
              help="... and the distance of two marks.")  # fmt: skip
@click.option("--water", metavar="G[,G]", help="Or: water in the same cup to the same mark ...")
@click.option(
    "--celsius", default="20", show_default=True, metavar="C", help="... its temperature."
)
@click.option("--sample", default="", metavar="TEXT", help="Which bottle.")
@click.option("--method", default=_METHOD, show_default=True, metavar="NAME", help="Its method.")
@click.option("--readability", default="0.01", show_default=True, metavar="G",
              help="Last digit of the balance.")  # fmt: skip
@keep_options
def density(name: str | None, use_it: bool, dry_run: bool, as_json: bool, **options: Any) -> None:
    """Density of the sample, from a marked cup or against water to the same mark."""
    from huehold.calibration.density import against_water, by_volume

    facts = {
        "readability_g": _readability(options["readability"]), "sample": options["sample"],
        "name": name_of(name, options["sample"] or "sample"), "made": today(),
        "method": _method_name(options["method"]),
    }  # fmt: skip
    grams = _list_of(_grams)
    masses = ask(
        options["mass"], "--mass", "Sample in the cup at its mark, less the cup (g)", grams
    )
    if options["volume"] is not None and options["water"] is not None:
        raise UsageError("Give --volume or --water, not both.")
    if options["volume"] is not None:
        if len(masses) != 1:
            raise UsageError("With --volume give one --mass; several fills go with --water.")
        made = by_volume(masses[0], options["volume"], graduation=options["graduation"], **facts)
    else:
        water = ask(options["water"], "--volume or --water",
                    "Water in the same cup to the same mark, less the cup (g)", grams)  # fmt: skip
        made = against_water(masses, water, celsius=_number(options["celsius"]), **facts)
    keep(made, use_it=use_it, dry_run=dry_run, as_json=as_json)


def _method_name(given: str) -> str:
    from huehold.methods import load_method

    return load_method(given).name


@click.command(
    context_settings=_HELP,
    epilog="Example: huehold calibrate titrant --standard 'baking soda' --standard-mass 1.05 "
    "--titrant-mass 15.05",
)
@click.option("--method", default=_METHOD, show_default=True, metavar="NAME|FILE",
              help="Names the standards for its titrant.")  # fmt: skip
@click.option("--standard", metavar="NAME", help="One of the method's standards.")
@click.option("--standard-mass", metavar="G", help="Standard weighed.")
@click.option("--titrant-mass", metavar="G", help="Titrant it took.")
@click.option("--last-addition", metavar="G", help="Mass of the last addition; 0.05 g if left out.")
@click.option(
    "--assay", metavar="PERCENT", help="Purity of the standard; the method's if left out."
)
@click.option("--titrant", default="", metavar="TEXT", help="Which bottle.")
@click.option("--readability", default="0.01", show_default=True, metavar="G",
              help="Last digit of the balance.")  # fmt: skip
@keep_options
def titrant(name: str | None, use_it: bool, dry_run: bool, as_json: bool, **options: Any) -> None:
    """Strength of the titrant against a weighed standard."""
    from huehold.calibration.titrant import calibrate
    from huehold.methods import load_method
    from huehold.stoichiometry.standardise import Standardisation, find_standard
    from huehold.stoichiometry.weighing import Balance

    method = load_method(options["method"])
    known = [standard.name for standard in method.standards]
    standard = ask(options["standard"], "--standard", f"Standard ({', '.join(known)})",
                   lambda text: find_standard(method, text),
                   default=known[0] if len(known) == 1 else None)  # fmt: skip
    given = Standardisation(
        standard.name,
        ask(options["standard_mass"], "--standard-mass", "Standard weighed (g)", _checked_mass),
        ask(options["titrant_mass"], "--titrant-mass", "Titrant it took (g)", _checked_mass),
        options["last_addition"] or Standardisation("", "", "").last_addition,
        options["assay"],
    )
    made = calibrate(
        method, given, name=name_of(name, options["titrant"] or method.titrant.name),
        made=today(), balance=Balance(_readability(options["readability"])),
        titrant=options["titrant"],
    )  # fmt: skip
    keep(made, use_it=use_it, dry_run=dry_run, as_json=as_json)


def _checked_mass(text: str) -> str:
    if not (math.isfinite(_grams(text)) and _grams(text) > 0):
        raise InputError(f"'{text}' is no mass; give grams above zero.")
    return text.strip()
