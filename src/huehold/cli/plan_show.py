"""What `huehold plan` prints."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from huehold.planning.curve import Curve
from huehold.planning.doubt import Change
from huehold.planning.duration import Duration
from huehold.planning.pace import FEW, Stretch
from huehold.planning.plan import Plan
from huehold.planning.plan_file import hex_colours
from huehold.report.terminal import Pairs, Rows
from huehold.report.words import capital, sentence
from huehold.stoichiometry.rounding import with_uncertainty

__all__ = ["plan_card"]

_SHARES = (0.0, 0.25, 0.5, 0.85, 0.97)
_DROPS = (-2.0, -1.0, 0.0, 1.0, 3.0)
_SAID = {"squirts": "squirts", "few drops": f"{FEW} drops at a time", "single drops": "drops"}


def plan_card(plan: Plan) -> RenderableType:
    """Return the plan as tables and sentences."""
    method = plan.request.method
    parts: list[RenderableType] = [Text(f"Plan: {method.title}", style="bold")]
    parts += [_section("Take"), _pairs(_take(plan))]
    parts += [_section("Expect"), _pairs(_expect(plan))]
    parts += [_section("Where to slow down"), _pace(plan)]
    parts += [_section("pH and colour along the way"), _way(plan)]
    parts += [_section("Uncertainty"), *_doubt(plan)]
    parts += [Text()] if plan.assumptions else []
    parts += _sentences("Note", plan.assumptions)
    return Group(*parts, *_sentences("Caution", method.all_cautions))


def _take(plan: Plan) -> list[tuple[str, str]]:
    expected, method = plan.expected, plan.request.method
    volume = ""
    if expected.density_g_per_ml is not None:
        volume = f" (about {expected.sample_g / expected.density_g_per_ml:.2g} mL)"
    lines = [(capital(method.sample.name), f"{expected.sample_g:g} g{volume}")]
    if expected.reagent_g is not None and method.reagent is not None:
        lines.append((capital(method.reagent.name), f"{expected.reagent_g:g} g, weighed"))
    lines.append(("Water added", f"{expected.water_g:g} g" if expected.water_g else "none"))
    lines.append(("Which water", sentence(plan.water_text)))
    return lines


def _expect(plan: Plan) -> list[tuple[str, str]]:
    name = capital(plan.request.method.titrant.name)
    usual = f"between {plan.lowest_g:.2f} and {plan.highest_g:.2f} g"
    held = f"{plan.request.method.indicator.end.name}, for {_hold(plan)}"
    return [
        (name, f"{plan.end_g:.2f} g when the end colour holds ({usual} if the content differs)"),
        ("In drops", f"{plan.drops} drops of {plan.request.drop_g:g} g"),
        (_alone(plan), f"{plan.expected.equivalence_g:.2f} g"),
        ("End colour", held),
        ("Time", sentence(_time(plan.duration))),
        ("Refills", sentence(plan.refills.text)),
    ]


def _alone(plan: Plan) -> str:
    reagent = plan.request.method.reagent
    return "For the sample alone" if reagent is None else f"For what is left of {reagent.name}"


def _hold(plan: Plan) -> str:
    return f"{plan.request.method.endpoint.hold_s:g} s"


def _time(duration: Duration) -> str:
    low, high = (max(round(seconds / 60.0), 1) for seconds in (duration.low_s, duration.high_s))
    span = f"{low} to {high} min" if low < high else f"about {low} min"
    return f"{span}, {duration.basis}"


def _pace(plan: Plan) -> RenderableType:
    columns = (">from", ">to", ">of the way", "add", ">portions")
    return Padding(Rows(columns, [_stretch(s, plan.end_g) for s in plan.pace]), (0, 0, 1, 0))


def _stretch(stretch: Stretch, end_g: float) -> tuple[str, ...]:
    return (
        f"{stretch.from_g:.2f} g",
        f"{stretch.to_g:.2f} g",
        f"{100 * stretch.to_g / end_g:.0f} %",
        _SAID[stretch.portion],
        str(stretch.count),
    )


def _way(plan: Plan) -> RenderableType:
    if plan.curve is None:
        return Padding(Text(sentence(plan.curve_note)), (0, 0, 1, 0))
    table = _stages(plan, plan.curve)
    note = [Text(sentence(plan.curve_note))] if plan.curve_note else []
    return Padding(Group(table, *note), (0, 0, 1, 0))


def _stages(plan: Plan, curve: Curve) -> Rows:
    drop = plan.request.drop_g
    stages = [(share * plan.end_g, f"{100 * share:.0f} %") for share in _SHARES]
    stages += [(plan.end_g + n * drop, _drops_word(n)) for n in _DROPS]
    shown = {f"{titrant:.2f}": (titrant, where) for titrant, where in stages if titrant >= 0.0}
    rows = [_stage(curve, titrant, where) for titrant, where in sorted(shown.values())]
    return Rows((">titrant", "at", ">pH", ">undissolved", "colour"), rows)


def _stage(curve: Curve, titrant_g: float, where: str) -> tuple[str | Text, ...]:
    row = curve.index(titrant_g)
    solid = f"{100 * curve.undissolved[row]:.0f} %" if curve.undissolved[0] else ""
    return (f"{titrant_g:.2f} g", where, f"{curve.ph[row]:.1f}", solid, _swatch(curve, row))


def _drops_word(drops: float) -> str:
    if drops == 0.0:
        return "the end"
    side = "before" if drops < 0 else "beyond"
    return f"{abs(drops):g} drop{'s' if abs(drops) != 1 else ''} {side}"


def _swatch(curve: Curve, row: int) -> Text:
    if curve.rgb is None:
        return Text("")
    colour = hex_colours(curve.rgb[row : row + 1])[0]
    return Text.assemble(("    ", f"on {colour}"), " ", curve.words[row])


def _doubt(plan: Plan) -> list[RenderableType]:
    doubt = plan.doubt
    result = doubt.assay.results["content"]
    half = doubt.percent / 100.0 * abs(result.value)
    shown_as = with_uncertainty(result.value, half, result.unit)
    lines = [("Expected", f"± {doubt.percent:.2g} % (k = 2): {shown_as}")]
    if doubt.wanted_percent is not None:
        reached = "reached" if doubt.reached else "not reached with any sample that fits"
        lines.append(("Wanted", f"± {doubt.wanted_percent:g} %: {reached}"))
    rows = [f"{row.name} ({row.share_percent:.0f} %)" for row in doubt.dominant]
    lines.append(("It comes from", ", ".join(rows)))
    if plan.assumed_text:
        lines.append(("Why so much", sentence(plan.assumed_text)))
    shown: list[RenderableType] = [_pairs(lines)]
    if doubt.to_reach:
        shown += _changes(f"To reach ± {doubt.wanted_percent:g} %", doubt.to_reach)
    shown += _changes("To halve it", doubt.to_halve)
    if doubt.together:
        shown += _changes("Together, these would halve it", doubt.together)
    return shown


def _changes(title: str, changes: Iterable[Change]) -> list[RenderableType]:
    lines = [(change.name, _change(change)) for change in changes]
    return [Text(f"{title}:", style="dim"), Padding(Pairs(lines), (0, 0, 0, 2))] if lines else []


def _change(change: Change) -> str:
    if change.u_needed is None:
        return f"not enough alone; helps: {change.advice}"
    unit = f" {change.unit}" if change.unit else ""
    return f"from u = {change.u_now:.2g} to {change.u_needed:.2g}{unit}: {change.advice}"


def _section(title: str) -> Text:
    return Text(title, style="bold underline")


def _pairs(lines: Iterable[tuple[str, str]]) -> RenderableType:
    return Padding(Pairs(lines), (0, 0, 1, 0))


def _sentences(mark: str, sentences: Iterable[str]) -> list[RenderableType]:
    return [Text(f"{mark}: {sentence(text)}") for text in sentences]
