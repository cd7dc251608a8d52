"""Results that cannot be, or are unusual: one sentence each, with the likely cause."""

from __future__ import annotations

import math

from huehold.errors import InputError
from huehold.methods.model import Method

_NEAR_PERCENT = (25.0, 400.0)  # of a claim; beyond that it is rather the claim that is wrong

__all__ = ["check_amount", "check_claim", "check_content", "check_titrant"]


def check_titrant(method: Method, left_g: float) -> None:
    """Refuse a titration whose corrections leave no titrant for the sample.

    Raises
    ------
    InputError
        If the titrant at equivalence is not above zero.
    """
    if not (math.isfinite(left_g) and left_g > 0):
        raise InputError(
            f"after blank, drift and last addition no {method.titrant.name} is left "
            f"({left_g:.3g} g) for the sample; was the blank larger than the titration, or were "
            "the two exchanged?"
        )


def check_amount(method: Method, amount_mmol: float) -> None:
    """Refuse a calculation in which no analyte is left.

    Raises
    ------
    InputError
        If the amount of analyte is not above zero.
    """
    if not (math.isfinite(amount_mmol) and amount_mmol > 0):
        cause = (
            f"the {method.titrant.name} used up more than the {method.reagent.name} added; "
            "weigh more of it or take less sample"
            if method.reagent
            else "check the masses"
        )
        raise InputError(
            f"the amount of {method.sample.analyte} comes out at {amount_mmol:.3g} mmol: {cause}"
        )


def check_claim(method: Method, content: float, share_percent: float, text: str) -> tuple[str, ...]:
    """Refuse a label claim that cannot be and warn of one far from what was found.

    Parameters
    ----------
    method : Method
    content : float
        Found, in the method's own unit.
    share_percent : float
        What was found in percent of the claim.
    text : str
        The claim as typed.

    Raises
    ------
    InputError
        If the claim is of more than there can be.
    """
    claimed = 100.0 * content / share_percent
    if claimed > method.result.possible_max:
        raise InputError(
            f"the label claim '{text}' is more than {_one(method.sample.name)} can hold; grams "
            "typed for milligrams, or another portion meant?"
        )
    if _NEAR_PERCENT[0] <= share_percent <= _NEAR_PERCENT[1]:
        return ()
    return (
        f"what was found is {share_percent / 100.0:.3g} times the label claim '{text}': was a "
        "unit, a decimal point or the portion of the claim mistyped?",
    )


def check_content(method: Method, value: float, unit: str) -> tuple[str, ...]:
    """Refuse an impossible content and warn of an unusual one.

    Parameters
    ----------
    method : Method
    value : float
        Content in the method's own unit.
    unit : str
        That unit as printed.

    Raises
    ------
    InputError
        If the content is more than there can be.
    """
    name, sample = method.sample.analyte_name, method.sample.name
    low, high = method.result.expected
    if not value <= method.result.possible_max:
        raise InputError(
            f"{value:.4g} {unit} of {name} is more than {_one(sample)} can hold "
            f"(at most {method.result.possible_max:g} {unit}); tare forgotten for the titrant, "
            "millilitres typed for grams, or the masses of sample and titrant exchanged?"
        )
    if low <= value <= high:
        return ()
    side = "below" if value < low else "above"
    return (
        f"{value:.4g} {unit} of {name} is {side} what {_one(sample)} usually holds ({low:g} to "
        f"{high:g} {unit}); check the masses, the strength of the {method.titrant.name} and the "
        "endpoint",
    )


def _one(name: str) -> str:
    """Return a name with its indefinite article."""
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"
