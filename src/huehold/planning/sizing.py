"""How much sample and water: enough for the balance and the drops, little enough for the cup."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from huehold.errors import HueholdError, InputError
from huehold.planning.chemistry import Cup, cup_of, end_ph_of
from huehold.planning.doubt import Doubt, doubt_of
from huehold.planning.expected import Expected, Target
from huehold.planning.refills import Refills, refills_of
from huehold.planning.request import PlanRequest
from huehold.planning.waters import TapWater

__all__ = ["LEAST_DROPS", "MOST_TITRANT_G", "Draft", "blank_per_g", "choose", "draft"]

_NICE = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
_DECADES = (0.01, 0.1, 1.0, 10.0, 100.0)
_LEAST_DIGITS = 50  # steps of the balance in a sample
LEAST_DROPS = 60  # of titrant, else there is no room to slow down
MOST_TITRANT_G = 60.0  # more is tedious by the squirt
_USUAL_START_G = 50.0  # liquid for a colour to be seen in
_SUSPENSION_PARTS = 20.0  # liquid to one part of a suspension: it clings to glass undiluted
_LEAST_START_G = 25.0
_FILL = 0.85  # of the cup, so that it can be swirled
_DIMINISHING = 1.05  # a larger sample must do better than this to be worth it
_WATERY = (0.990, 1.002)  # g/mL: the sample is water itself and fills the cup alone
_STEP_G = 5.0
_PER_G_WATER = 100.0


@dataclass(frozen=True)
class Draft:
    """One size of a titration with everything that follows from it."""

    expected: Expected
    highest: Expected
    lowest: Expected
    doubt: Doubt
    refills: Refills
    cup: Cup | None
    blank_g: float | None


def choose(request: PlanRequest, target: Target, tap: TapWater) -> Draft:
    """Find the smallest sample that does, or the best there is.

    Raises
    ------
    InputError
        If no sample fits the cup, the balance and the drops.
    """
    if request.sample_g is not None:
        return draft(request, target, tap, request.sample_g)
    fitting, refusal = _all_drafts(request, target, tap)
    least = LEAST_DROPS * request.drop_g
    drafts = [d for d in fitting if d.expected.equivalence_g >= least] or fitting[-1:]
    if not drafts:
        raise refusal or InputError(
            f"No sample of {request.method.sample.name} fits a cup of {request.cup_ml:g} mL, a "
            f"balance that reads to {request.balance.readability_g:g} g and drops of "
            f"{request.drop_g:g} g; take a larger cup, a finer balance or another strength."
        )
    usual = [d for d in drafts if d.highest.titrant_g <= MOST_TITRANT_G] or drafts[:1]
    wanted = request.wanted_percent
    if wanted is not None:
        enough = [d for d in drafts if d.doubt.percent <= wanted]
        if enough:
            return enough[0]
    best = min(d.doubt.percent for d in usual)
    return next(d for d in usual if d.doubt.percent <= _DIMINISHING * best)


def _all_drafts(
    request: PlanRequest, target: Target, tap: TapWater
) -> tuple[list[Draft], HueholdError | None]:
    """All sizes that fit, ascending, and why the first one that did not was refused."""
    drafts: list[Draft] = []
    refusal: HueholdError | None = None
    for sample in _sizes(request):
        try:
            made = draft(request, target, tap, sample)
        except InputError as error:
            refusal = refusal or error
            if drafts:
                break
            continue
        if sample + made.expected.water_g >= _LEAST_START_G:
            drafts.append(made)
    return drafts, refusal


def _sizes(request: PlanRequest) -> Iterator[float]:
    least = _LEAST_DIGITS * request.balance.readability_g
    for decade in _DECADES:
        for part in _NICE:
            if least <= decade * part <= request.cup_ml:
                yield decade * part


def draft(request: PlanRequest, target: Target, tap: TapWater, sample_g: float) -> Draft:
    """Work out one size.

    Raises
    ------
    InputError
        If it does not fit the cup or the balance, or the content cannot be.
    """
    _check_weighable(request, sample_g)
    dry = _with_reagent(Expected(request, target, sample_g, _start_g(request, sample_g)))
    highest_g = _scaled(dry, _shares(request, target)[1]).titrant_g
    water = _water_g(request, sample_g, highest_g + (dry.reagent_g or 0.0))
    cup = cup_of(dry, tap)
    blank = None if cup is None else _blank_g(cup, tap, water)
    reading = _blank_reading(request, tap, water, blank)
    expected = Expected(request, target, sample_g, water, reading, dry.reagent_g)
    least, most = _shares(request, target)
    highest = _scaled(expected, most)
    _check_readable(expected)
    refills = refills_of(expected, highest.titrant_g)
    return Draft(
        expected=expected,
        highest=highest,
        lowest=_scaled(expected, least),
        doubt=doubt_of(expected, refills.on_the_way),
        refills=refills,
        cup=cup_of(expected, tap),
        blank_g=blank,
    )


def _check_readable(expected: Expected) -> None:
    request = expected.request
    if expected.titrant_g < request.balance.readability_g:
        raise InputError(
            f"{expected.sample_g:g} g of {request.method.sample.name} takes "
            f"{expected.titrant_g:.2g} g of {request.method.titrant.name}, less than the balance "
            f"can read ({request.balance.readability_g:g} g); take more sample or a finer balance."
        )


def _with_reagent(bare: Expected) -> Expected:
    return Expected(
        bare.request, bare.target, bare.sample_g, bare.water_g, None, bare.enough_reagent_g()
    )


def _shares(request: PlanRequest, target: Target) -> tuple[float, float]:
    """Shares of the target that take the least and the most titrant."""
    if request.method.kind == "back":  # a rich sample leaves little of the reagent
        return target.high, target.low
    return target.low, target.high


def _scaled(expected: Expected, share: float) -> Expected:
    """Take the masses of the same sample if it held another share of the target."""
    return replace(expected, share=share)


def _blank_g(cup: Cup, tap: TapWater, water_g: float) -> float | None:
    """Titrant for the water alone: in proportion to the water, to first order."""
    ph = end_ph_of(cup.method)
    if ph is None or cup.method.kind == "back":
        return None
    if water_g == 0.0 or tap.alkalinity_mmol_per_l == 0.0:
        return 0.0
    return blank_per_g(cup, ph) * water_g


def blank_per_g(cup: Cup, ph: float) -> float:
    """Titrant that a gram of the water takes to a pH."""
    return replace(cup, water_g=_PER_G_WATER).blank_g(ph) / _PER_G_WATER


def _blank_reading(
    request: PlanRequest, tap: TapWater, water_g: float, blank_g: float | None
) -> float | None:
    """Say what a blank would show on the balance; None if there is no point in titrating one."""
    none_needed = water_g == 0.0 or tap.alkalinity_mmol_per_l == 0.0
    if blank_g is None or none_needed:
        return None
    reading = blank_g + request.drop_g / 2.0
    return reading if reading >= request.balance.readability_g else None


def _start_g(request: PlanRequest, sample_g: float) -> float:
    """Water that sample and water together are easy to see and swirl."""
    if request.water_g is not None:
        return request.water_g
    sample = request.method.sample
    if sample.density_g_per_ml and _WATERY[0] <= sample.density_g_per_ml.value <= _WATERY[1]:
        return 0.0
    suspension = sample.solid_density_g_per_ml is not None
    whole = max(_USUAL_START_G, _SUSPENSION_PARTS * sample_g if suspension else 0.0)
    return max(whole - sample_g, 0.0) // _STEP_G * _STEP_G


def _check_weighable(request: PlanRequest, sample_g: float) -> None:
    most_g = request.balance.most_g
    if request.cup_g + sample_g > most_g:
        raise InputError(
            f"{sample_g:g} g of {request.method.sample.name} in a cup of {request.cup_g:g} g are "
            f"more than the balance takes ({most_g:g} g); take a lighter cup or less sample."
        )
    if sample_g < request.balance.readability_g:
        raise InputError(
            f"{sample_g:g} g of {request.method.sample.name} is less than the balance can read "
            f"({request.balance.readability_g:g} g); take more sample or a finer balance."
        )


def _water_g(request: PlanRequest, sample_g: float, poured_g: float) -> float:
    """Water that fits the cup and the balance beside sample, titrant and reagent."""
    wanted = _start_g(request, sample_g)
    least = min(wanted, max(_LEAST_START_G - sample_g, 0.0))
    if request.water_g is not None:
        least = wanted
    room = _FILL * request.cup_ml - sample_g - poured_g
    if room < least:
        raise InputError(
            f"{sample_g:g} g of {request.method.sample.name}, {least:g} g of water and up to "
            f"{poured_g:.1f} g poured in do not fit a cup of {request.cup_ml:g} mL, of which "
            f"{100 * _FILL:.0f} % can be swirled; take less sample, less water or a larger cup."
        )
    if request.weighing == "cup":
        # What is poured in later can be tared away, the start must be weighed.
        room = min(room, request.balance.most_g - request.cup_g - sample_g)
    if room < least:
        raise InputError(
            f"A cup of {request.cup_g:g} g with {sample_g:g} g of {request.method.sample.name} and "
            f"{least:g} g of water is more than the balance takes ({request.balance.most_g:g} g); "
            "take a lighter cup or less water, or weigh the titrant's bottle instead."
        )
    return wanted if wanted <= room else room // _STEP_G * _STEP_G
