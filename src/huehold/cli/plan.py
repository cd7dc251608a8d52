"""`huehold plan`: what to take, what to expect and where to slow down, before weighing."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from huehold.errors import UsageError

if TYPE_CHECKING:
    from huehold.planning.plan import Plan
    from huehold.planning.request import PlanRequest

__all__ = ["plan"]

_DEFAULT_METHOD = "magnesium-hydroxide-by-vinegar"
_BASES = ("per-100-mL", "per-100-g", "mol/L", "mol/kg", "g/L", "N")
_TEXTS = (
    "claim", "dose", "strength", "strength_basis", "country", "density", "reagent_strength",
    "water", "weighing",
)  # fmt: skip
_MASSES = {
    "sample_mass": ("sample_g", "the sample mass"),
    "water_mass": ("water_g", "the water"),
    "squirt_mass": ("squirt_g", "the squirt"),
    "cup_mass": ("cup_g", "the empty cup"),
    "dropper": ("dropper_g", "what the dropper holds"),
}
_NUMBERS = {
    "uncertainty": ("wanted_percent", "%", "the wanted uncertainty"),
    "alkalinity": ("alkalinity_mmol_per_l", "mmol/L", "the alkalinity"),
    "cup_volume": ("cup_ml", "mL", "the cup's volume"),
}


@click.command(
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog='Example: huehold plan --claim "1200 mg/15 mL" --acidity "5.0 %" --uncertainty 3',
)
@click.option(
    "--method",
    default=_DEFAULT_METHOD,
    metavar="NAME|FILE",
    show_default=True,
    help="A shipped method, or a method file of your own (.toml).",
)
@click.option("--claim", metavar="CLAIM", help="Label claim, such as '1200 mg/15 mL'.")
@click.option("--dose", metavar="AMOUNT", help="Portion of the label, such as '15 mL' or '1.3 g'.")
@click.option(
    "--acidity",
    "--strength",
    "strength",
    metavar="FIGURE",
    help="Strength of the titrant with its doubt: '5.0 +/- 0.1 %', '0.1 mol/L'.",
)
@click.option(
    "--acidity-basis",
    "--strength-basis",
    "strength_basis",
    type=click.Choice(_BASES),
    help="What a bare percentage means; the method's usual sense if left out.",
)
@click.option("--country", metavar="XX", help="Take the sense of the label from a country: US, DE.")
@click.option("--density", metavar="G/ML", help="Density of the sample, such as 1.044.")
@click.option("--reagent-strength", metavar="FIGURE", help="Back titration: of the reagent.")
@click.option("--uncertainty", metavar="PERCENT", help="Wanted, relative and expanded (k = 2).")
@click.option("--sample-mass", metavar="MASS", help="Plan with this sample instead of choosing.")
@click.option("--water-mass", metavar="MASS", help="Plan with this much water.")
@click.option(
    "--water",
    type=click.Choice(("tap", "distilled", "boiled")),
    default="tap",
    show_default=True,
    help="Which water the sample is put into.",
)
@click.option("--alkalinity", metavar="MMOL/L", help="Of that water, from the supplier's page.")
@click.option("--drop-mass", metavar="MASS", help="Mass of one drop.  [default: 0.05 g]")
@click.option("--twenty-drops", metavar="MASS", help="Or: what 20 drops weigh together.")
@click.option("--squirt-mass", metavar="MASS", help="Mass of one squirt; eight drops if left out.")
@click.option(
    "--readability", default="0.01", show_default=True, metavar="G", help="Last digit of balance."
)
@click.option(
    "--linearity", default="0", show_default=True, metavar="G", help="Its error beyond that."
)
@click.option("--capacity", metavar="G", help="Largest mass the balance takes.")
@click.option(
    "--weigh",
    "weighing",
    type=click.Choice(("cup", "bottle")),
    default="cup",
    show_default=True,
    help="Whether the cup or the titrant's bottle is on the balance.",
)
@click.option("--cup-volume", metavar="ML", help="What the cup holds.  [default: 250 mL]")
@click.option("--cup-mass", metavar="MASS", help="What the empty cup weighs.")
@click.option("--dropper", metavar="MASS", help="How much titrant the dropper or bottle holds.")
@click.option(
    "--temperature", type=float, default=22.0, show_default=True, metavar="C", help="Of the room."
)
@click.option("--json", "json_to", metavar="FILE|-", help="Write everything as JSON (- stdout).")
@click.option(
    "--plot", "plot_to", type=click.Path(path_type=Path), metavar="FILE", help="As .png or .svg."
)
def plan(**options: Any) -> None:
    """Plan a titration before anything is weighed.

    Tells how much sample and which water to take, how much titrant to expect and where to slow
    down, the pH and colour along the way, how long it may take, the uncertainty to expect and
    what would halve it. Masses are grams unless a unit is typed.
    """
    from huehold.planning.plan import make_plan

    _check_plot(options["plot_to"])
    made = make_plan(_request(options))
    if options["plot_to"] is not None:
        from huehold.report.plan_plot import save_plan_plot

        save_plan_plot(made, options["plot_to"])
    if options["json_to"] is not None:
        _write_json(made, options["json_to"])
    if options["json_to"] != "-":
        _print(made)
    for sentence in made.warnings:
        click.echo(f"Warning: {sentence}.", err=True)


def _check_plot(to: Path | None) -> None:
    if to is not None and to.suffix.lower() not in (".png", ".svg"):
        raise UsageError(f"The plot is written as .png or .svg; {to.name} ends in neither.")


def _request(options: Mapping[str, Any]) -> PlanRequest:
    from huehold.methods import load_method
    from huehold.planning.request import PlanRequest
    from huehold.stoichiometry.quantities import read

    chosen: dict[str, Any] = {name: options[name] for name in _TEXTS if options[name]}
    for option, (name, what) in _MASSES.items():
        if options[option] is not None:
            chosen[name] = read(options[option], "g", what).value
    for option, (name, unit, what) in _NUMBERS.items():
        if options[option] is not None:
            chosen[name] = read(_bare_percent(options[option]), unit, what).value
    chosen |= _drop(options)
    return PlanRequest(
        load_method(options["method"]),
        balance=_balance(options),
        temperature_c=options["temperature"],
        **chosen,
    )


def _bare_percent(text: str) -> str:
    return text.strip().removesuffix("%").strip()


def _drop(options: Mapping[str, Any]) -> dict[str, float]:
    from huehold.stoichiometry.dropper import calibrate_dropper
    from huehold.stoichiometry.quantities import read

    if options["drop_mass"] is not None and options["twenty_drops"] is not None:
        raise UsageError("Give --drop-mass or --twenty-drops, not both.")
    if options["twenty_drops"] is not None:
        return {"drop_g": calibrate_dropper([options["twenty_drops"]], 20).value_g}
    if options["drop_mass"] is not None:
        return {"drop_g": read(options["drop_mass"], "g", "the drop mass").value}
    return {}


def _balance(options: Mapping[str, Any]) -> Any:
    from huehold.stoichiometry.quantities import positive, read
    from huehold.stoichiometry.weighing import Balance

    readability = read(options["readability"], "g", "the balance's readability").value
    linearity = read(options["linearity"], "g", "the balance's linearity").value
    if options["capacity"] is None:
        return Balance(readability, linearity)
    typed = read(options["capacity"], "g", "the balance's capacity")
    return Balance(readability, linearity, positive(typed, "the balance's capacity", "typo?").value)


def _write_json(made: Plan, to: str) -> None:
    from huehold.planning.plan_file import plan_to_dict
    from huehold.report.files import write_text

    text = json.dumps(plan_to_dict(made), indent=1, ensure_ascii=False, allow_nan=False)
    if to == "-":
        click.echo(text)
    else:
        write_text(to, text + "\n")


def _print(made: Plan) -> None:
    from rich.console import Console

    from huehold.cli.plan_show import plan_card

    Console(highlight=False, soft_wrap=False).print(plan_card(made))
