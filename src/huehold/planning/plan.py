"""The plan of a titration: what to take, what to expect, where to slow down, how well."""

from __future__ import annotations

from dataclasses import dataclass

from huehold.methods.model import Method, Solution
from huehold.planning.chemistry import Cup, end_ph_of, why_not
from huehold.planning.curve import Curve, curve_of
from huehold.planning.doubt import Doubt
from huehold.planning.duration import Duration, counted, played
from huehold.planning.expected import Expected, Target, target_of
from huehold.planning.pace import Stretch, pace_of
from huehold.planning.refills import Refills
from huehold.planning.request import PlanRequest
from huehold.planning.sizing import (
    LEAST_DROPS,
    MOST_TITRANT_G,
    Draft,
    blank_per_g,
    choose,
)
from huehold.planning.waters import TapWater, back_water_advice, tap_water, water_advice
from huehold.stoichiometry.dropper import drops_in

__all__ = ["Plan", "make_plan"]

_KEEPS_CARBON_DIOXIDE = ("NaHCO3", "HCO3^-")


@dataclass(frozen=True)
class Plan:
    """Everything to know before a titration.

    Attributes
    ----------
    request : PlanRequest
    target : Target
        The content planned for.
    expected : Expected
        Masses that belong to it.
    lowest_g, highest_g : float
        Reading at the end if the sample holds the least and the most it may.
    tap : TapWater
    water_text : str
    blank_g : float or None
        Titrant the water alone takes; None if the virtual bench cannot tell.
    pace : tuple of Stretch
    cup : Cup or None
    curve : Curve or None
        None if the virtual bench cannot follow the method; then `curve_note` says why.
    curve_note : str
    duration : Duration
    doubt : Doubt
    refills : Refills
    assumptions : tuple of str
        What was not given and had to be assumed, and amounts that make work hard.
    """

    request: PlanRequest
    target: Target
    expected: Expected
    lowest_g: float
    highest_g: float
    tap: TapWater
    water_text: str
    blank_g: float | None
    pace: tuple[Stretch, ...]
    cup: Cup | None
    curve: Curve | None
    curve_note: str
    duration: Duration
    doubt: Doubt
    refills: Refills
    assumptions: tuple[str, ...]

    @property
    def end_g(self) -> float:
        """Reading of the balance when the end colour holds, g."""
        return self.expected.titrant_g

    @property
    def drops(self) -> int:
        """That mass in drops."""
        return drops_in(self.end_g, self.request.drop_g)

    @property
    def assumed_share_percent(self) -> float:
        """What strengths that were assumed, not given, bring to the variance, percent."""
        names = {f"strength of {solution.name}" for solution in _assumed(self.request)}
        return sum(r.share_percent for r in self.doubt.assay.budget if r.name in names)

    @property
    def assumed_text(self) -> str:
        """Say so if the uncertainty comes mostly from a strength that was assumed; else empty."""
        if self.assumed_share_percent < 50.0:
            return ""
        solutions = _assumed(self.request)
        flags = " and ".join(_flag(self.request.method, solution) for solution in solutions)
        names = " and ".join(f"the {solution.name}" for solution in solutions)
        return (
            f"mostly because no strength was given for {names}, so that 10 % either way is "
            f"assumed; plan anew with {flags} as the label states it"
        )

    @property
    def warnings(self) -> tuple[str, ...]:
        """Sentences of the assay to read beside the plan."""
        skip = ("no strength was given", "no density was given")
        return tuple(w for w in self.doubt.assay.warnings if not w.startswith(skip))


def make_plan(request: PlanRequest) -> Plan:
    """Plan a titration.

    Parameters
    ----------
    request : PlanRequest
        What is known.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        If an input cannot be read, makes no sense, or nothing fits cup, balance and drops.
    UsageError
        If inputs contradict each other.
    """
    target, tap = target_of(request), tap_water(request)
    chosen = choose(request, target, tap)
    end_g = chosen.expected.titrant_g
    ends = sorted((chosen.lowest.titrant_g, chosen.highest.titrant_g))
    pace = pace_of(request, end_g, None if request.claim is None else ends[0])
    curve = None if chosen.cup is None else curve_of(chosen.cup, end_g, request.drop_g)
    return Plan(
        request=request,
        target=target,
        expected=chosen.expected,
        lowest_g=ends[0],
        highest_g=ends[1],
        tap=tap,
        water_text=_water_text(chosen, tap),
        blank_g=chosen.blank_g,
        pace=pace,
        cup=chosen.cup,
        curve=curve,
        curve_note=_curve_note(chosen, curve),
        duration=_duration(chosen, curve, pace),
        doubt=chosen.doubt,
        refills=chosen.refills,
        assumptions=_assumptions(request, target, tap, chosen),
    )


def _water_text(chosen: Draft, tap: TapWater) -> str:
    if chosen.expected.water_g == 0.0:
        return "no water: the sample itself fills the cup"
    cup, drop_g = chosen.cup, chosen.expected.request.drop_g
    if cup is not None and cup.method.kind == "back":
        return back_water_advice(tap, cup.tap_alkalinity_g / drop_g)
    if chosen.blank_g is None or cup is None:
        return water_advice(tap, None)
    turning = cup.method.indicator.turning_ph or (end_ph_of(cup.method) or 7.0,)
    far = turning[0] if cup.adds_acid else turning[-1]
    most = blank_per_g(cup, far) * chosen.expected.water_g
    return water_advice(tap, (chosen.blank_g / drop_g, max(most, chosen.blank_g) / drop_g))


def _curve_note(chosen: Draft, curve: Curve | None) -> str:
    method = chosen.expected.request.method
    if curve is None:
        return why_not(method)
    cup, drop_g = chosen.cup, chosen.expected.request.drop_g
    early = cup.tap_alkalinity_g / drop_g if cup is not None and method.kind == "back" else 0.0
    if early >= 1.0:
        return (
            f"in this water the colour turns about {early:.0f} drops before the end marked, which "
            "is that of distilled water"
        )
    if curve.rgb is None:
        return f"the virtual bench has no spectra of {method.indicator.name}: no colours are drawn"
    if curve.undissolved[0] > 0.0:
        return (
            "the pH and colour are those once each portion has reacted; right after it the end "
            "colour shows for a while"
        )
    if method.sample.analyte in _KEEPS_CARBON_DIOXIDE:
        return (
            "carbon dioxide is taken to stay in the liquid: it turns the colour early, and "
            "boiling or swirling it out takes that back"
        )
    return ""


def _duration(chosen: Draft, curve: Curve | None, pace: tuple[Stretch, ...]) -> Duration:
    cup = chosen.cup
    solid_left = curve is not None and curve.undissolved[0] > 0.0 and curve.rgb is not None
    if cup is not None and cup.acid is not None and solid_left:
        return played(chosen.expected, cup)
    return counted(pace, chosen.expected.request.method.endpoint.hold_s)


def _amount_notes(chosen: Draft) -> list[str]:
    """Say when there is too little or too much titrant to work well with."""
    request, end_g = chosen.expected.request, chosen.expected.titrant_g
    name = request.method.titrant.name
    if chosen.expected.equivalence_g < LEAST_DROPS * request.drop_g:
        drops = drops_in(end_g, request.drop_g)
        return [
            f"only {drops} drops of {name} leave little room to slow down; dilute it by a known "
            "mass of water, or take more sample"
        ]
    if chosen.highest.titrant_g > MOST_TITRANT_G:
        return [
            f"up to {chosen.highest.titrant_g:.0f} g of {name} is much to add by the squirt; a "
            "stronger one, or a balance that reads finer with less sample, saves time"
        ]
    return []


def _assumptions(
    request: PlanRequest, target: Target, tap: TapWater, chosen: Draft
) -> tuple[str, ...]:
    method = request.method
    found = []
    if target.claim is None:
        low, high = method.result.expected
        found.append(
            f"no label claim was given: planned for {target.content:.3g} {method.result.unit}, the "
            f"middle of what is usual ({low:g} to {high:g}); make a rough run by squirts first, "
            "then plan anew with --claim"
        )
    found += [
        f"no strength was given for the {solution.name}: {solution.strength.typical:g} "
        f"{_plain(solution.strength.basis)} ± 10 % is assumed"
        for solution in _assumed(request)
    ]
    if tap.assumed and tap.alkalinity_mmol_per_l and chosen.expected.water_g and chosen.cup:
        found.append(
            f"the water's alkalinity is assumed ({tap.alkalinity_mmol_per_l:g} mmol/L); the water "
            "supplier states it"
        )
    if request.density is None and method.sample.state == "liquid":
        found.append(f"no density was given for the {method.sample.name}; it is estimated")
    return (*found, *_amount_notes(chosen))


def _assumed(request: PlanRequest) -> list[Solution]:
    """Return the solutions whose strength was not given."""
    method = request.method
    return [
        solution
        for solution, given in (
            (method.titrant, request.strength),
            (method.reagent, request.reagent_strength),
        )
        if solution is not None and given is None
    ]


def _flag(method: Method, solution: Solution) -> str:
    """Return the option that states a strength."""
    if solution is method.reagent:
        return "--reagent-strength"
    return "--acidity" if solution.strength.basis.startswith("per-") else "--strength"


def _plain(basis: str) -> str:
    """Say a strength's basis as it is printed: ``per-100-mL`` as ``g per 100 mL``."""
    return f"g {basis.replace('-', ' ')}" if basis.startswith("per-") else basis
