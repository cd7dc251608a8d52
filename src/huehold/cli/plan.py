"""`huehold plan`: what to take, what to expect and where to slow down, before weighing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from huehold.cli.masses import field_options
from huehold.cli.options import balance_options, method_option
from huehold.cli.outputs import Outputs, json_option, print_rich, write_json
from huehold.cli.words import Number
from huehold.errors import UsageError

if TYPE_CHECKING:
    from huehold.planning.request import PlanRequest

__all__ = ["plan"]

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
    "alkalinity": (
        "alkalinity_mmol_per_l",
        "mmol/L",
        "the alkalinity (50 mg/L as CaCO3 are 1 mmol/L)",
    ),
    "cup_volume": ("cup_ml", "mL", "the cup's volume"),
}


@click.command(
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog='Example: huehold plan --claim "1200 mg/15 mL" --acidity "5.0 %" --uncertainty 3',
)
@method_option
@field_options(
    "claim",
    "dose",
    "strength",
    "strength_basis",
    "country",
    "density",
    "reagent_strength",
    "readability",
)
@balance_options
@click.option(
    "--uncertainty",
    metavar="PERCENT",
    help="Wanted uncertainty of the result, relative and expanded (k = 2).",
)
@click.option("--sample-mass", metavar="MASS", help="Plan with this sample instead of choosing.")
@click.option("--water-mass", metavar="MASS", help="Plan with this much water.")
@click.option(
    "--water",
    type=click.Choice(("tap", "distilled", "boiled")),
    default="tap",
    show_default=True,
    help="Which water the sample is put into.",
)
@click.option(
    "--alkalinity", metavar="MMOL/L", help="Alkalinity of that water, from the supplier's page."
)
@click.option("--drop-mass", metavar="MASS", show_default="0.05 g", help="Mass of one drop.")
@click.option("--twenty-drops", metavar="MASS", help="Or: what 20 drops weigh together.")
@click.option("--squirt-mass", metavar="MASS", help="Mass of one squirt; eight drops if left out.")
@click.option(
    "--weigh",
    "weighing",
    type=click.Choice(("cup", "bottle")),
    default="cup",
    show_default=True,
    help="Whether the cup or the titrant's bottle is on the balance.",
)
@click.option("--cup-volume", metavar="ML", show_default="250 mL", help="What the cup holds.")
@click.option("--cup-mass", metavar="MASS", help="What the empty cup weighs.")
@click.option("--dropper", metavar="MASS", help="How much titrant the dropper or bottle holds.")
@click.option(
    "--temperature",
    type=Number(),
    default=22.0,
    show_default=True,
    metavar="C",
    help="Temperature of the room, 5 to 40.",
)
@json_option
@click.option(
    "--plot",
    "plot_to",
    metavar="FILE",
    help="The plan as a picture: .png or .svg.",
)
def plan(**options: Any) -> None:
    """Plan a titration before anything is weighed.

    Tells how much sample and which water to take, how much titrant to expect and where to slow
    down, the pH and colour along the way, how long it may take, the uncertainty to expect and
    what would halve it. Masses are grams unless a unit is typed.
    """
    from huehold.cli.plan_show import plan_card
    from huehold.planning.plan import make_plan
    from huehold.planning.plan_file import plan_to_dict
    from huehold.report.words import sentence

    Outputs(json=options["json_to"], plot=options["plot_to"]).check()
    made = make_plan(_request(options))
    if options["plot_to"] is not None:
        from huehold.report.plan_plot import save_plan_plot

        save_plan_plot(made, options["plot_to"])
    if options["json_to"] is not None:
        write_json(plan_to_dict(made), options["json_to"])
    if options["json_to"] != "-":
        print_rich(plan_card(made))
    for text in made.warnings:
        click.echo(f"Warning: {sentence(text)}", err=True)


def _request(options: Mapping[str, Any]) -> PlanRequest:
    from huehold.methods import load_method
    from huehold.planning.request import PlanRequest
    from huehold.stoichiometry.quantities import read
    from huehold.stoichiometry.weighing import balance_of

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
        balance=balance_of(options["readability"], options["linearity"], options["capacity"]),
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
