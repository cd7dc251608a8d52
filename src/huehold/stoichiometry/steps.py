"""A calculation as data: the steps that give the number are the steps that are shown.

A result is a list of steps over named values. Each step is a sum of values, a chain of
factors with units (dimensional analysis), or a named formula. `evaluate` runs them on floats or
on arrays of Monte Carlo trials; `huehold.stoichiometry.working` writes the same steps out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from huehold.errors import InputError
from huehold.stoichiometry import density, endpoint_ph

__all__ = [
    "FUNCTIONS", "Chain", "Factor", "Formula", "Step", "Sum", "Symbol", "Term", "cancelled",
    "evaluate", "names_used", "needed", "steps_from_list", "steps_to_list", "units_left",
]  # fmt: skip

Values = Mapping[str, Any]
Token = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Symbol:
    """A named value: its key, what people call it, its unit and what it is of."""

    key: str
    label: str
    unit: str = ""
    of: str = ""
    per_unit: str = ""
    per_of: str = ""


@dataclass(frozen=True, slots=True)
class Term:
    """A number (exact) or the key of a value, with its unit and substance."""

    value: float | str
    unit: str = ""
    of: str = ""

    @property
    def token(self) -> Token | None:
        """Unit and substance, which must both agree to cancel; None if there is no unit."""
        return (self.unit, self.of) if self.unit else None


@dataclass(frozen=True, slots=True)
class Factor:
    """A ratio of two terms, ``over / under``; either may be left out."""

    over: Term | None = None
    under: Term | None = None


@dataclass(frozen=True, slots=True)
class Sum:
    """A result that is a sum of values of one unit, each with its sign."""

    result: Symbol
    terms: tuple[tuple[int, str], ...]
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Chain:
    """A result that is a product of factors; units that stand above and below cancel."""

    result: Symbol
    factors: tuple[Factor, ...]
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Formula:
    """A result given by a function of `FUNCTIONS` of named values and fixed numbers."""

    result: Symbol
    function: str
    arguments: tuple[tuple[str, float | str], ...]
    reason: str = ""


Step = Sum | Chain | Formula
_KINDS: dict[str, type[Sum] | type[Chain] | type[Formula]] = {
    "sum": Sum,
    "chain": Chain,
    "formula": Formula,
}


FUNCTIONS: Mapping[str, Callable[..., Any]] = {
    "acid_titrant_excess": endpoint_ph.acid_titrant_excess_g,
    "acid_analyte_excess": endpoint_ph.acid_analyte_excess_g,
    "suspension_density": density.suspension_density,
}
"""Functions a `Formula` step may name; all take floats or arrays."""


def evaluate(steps: Sequence[Step], values: Values) -> dict[str, Any]:
    """Run the steps in order.

    Parameters
    ----------
    steps : sequence of Step
        Each uses inputs and results of steps before it.
    values : mapping of str to float or ndarray
        The inputs, arrays of one shape.

    Returns
    -------
    dict
        Inputs and results by key.
    """
    known = dict(values)
    for step in steps:
        known[step.result.key] = _value(step, known)
    return known


def needed(steps: Sequence[Step], target: str) -> tuple[Step, ...]:
    """Those steps, in order, on which the target depends."""
    by_key = {step.result.key: step for step in steps}
    wanted: set[str] = set()
    queue = [target]
    while queue:
        key = queue.pop()
        if key in by_key and key not in wanted:
            wanted.add(key)
            queue += _keys_used(by_key[key])
    return tuple(step for step in steps if step.result.key in wanted)


def names_used(steps: Sequence[Step]) -> frozenset[str]:
    """Return the keys of the values that steps use, inputs and results alike."""
    return frozenset(key for step in steps for key in _keys_used(step))


def cancelled(chain: Chain) -> Counter[Token]:
    """Units (with their substance) that stand above and below, and how often they cancel."""
    above, below = _tokens(chain)
    return above & below


def units_left(chain: Chain) -> tuple[Counter[Token], Counter[Token]]:
    """Return what is left above and below after cancelling."""
    above, below = _tokens(chain)
    return above - below, below - above


def steps_to_list(steps: Sequence[Step]) -> list[dict[str, Any]]:
    """Plain values for JSON."""
    return [_step_to_dict(step) for step in steps]


def steps_from_list(data: Sequence[Mapping[str, Any]]) -> tuple[Step, ...]:
    """Rebuild steps from `steps_to_list`.

    Raises
    ------
    InputError
        If the data are not such steps.
    """
    try:
        return tuple(_step_from_dict(item) for item in data)
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(f"the steps of the result file cannot be read: {error}") from error


def _value(step: Step, known: Values) -> Any:
    if isinstance(step, Sum):
        return sum(sign * known[key] for sign, key in step.terms)
    if isinstance(step, Chain):
        product: Any = 1.0
        for factor in step.factors:
            product = product * _number(factor.over, known) / _number(factor.under, known)
        return product
    arguments = {name: _lookup(value, known) for name, value in step.arguments}
    return FUNCTIONS[step.function](**arguments)


def _number(term: Term | None, known: Values) -> Any:
    return 1.0 if term is None else _lookup(term.value, known)


def _lookup(value: float | str, known: Values) -> Any:
    return known[value] if isinstance(value, str) else value


def _keys_used(step: Step) -> list[str]:
    if isinstance(step, Sum):
        return [key for _, key in step.terms]
    if isinstance(step, Chain):
        terms = [t for f in step.factors for t in (f.over, f.under) if t is not None]
        return [t.value for t in terms if isinstance(t.value, str)]
    return [value for _, value in step.arguments if isinstance(value, str)]


def _tokens(chain: Chain) -> tuple[Counter[Token], Counter[Token]]:
    above = [f.over.token for f in chain.factors if f.over is not None]
    below = [f.under.token for f in chain.factors if f.under is not None]
    return Counter(t for t in above if t), Counter(t for t in below if t)


def _step_to_dict(step: Step) -> dict[str, Any]:
    kind = next(name for name, cls in _KINDS.items() if isinstance(step, cls))
    symbol = step.result
    data: dict[str, Any] = {
        "kind": kind,
        "result": {name: getattr(symbol, name) for name in Symbol.__slots__},
        "reason": step.reason,
    }
    if isinstance(step, Sum):
        return data | {"terms": [list(term) for term in step.terms]}
    if isinstance(step, Formula):
        return data | {"function": step.function, "arguments": [list(a) for a in step.arguments]}
    return data | {"factors": [[_term_to(f.over), _term_to(f.under)] for f in step.factors]}


def _term_to(term: Term | None) -> list[Any] | None:
    return None if term is None else [term.value, term.unit, term.of]


def _term_from(data: Sequence[Any] | None) -> Term | None:
    return None if data is None else Term(data[0], str(data[1]), str(data[2]))


def _step_from_dict(data: Mapping[str, Any]) -> Step:
    symbol, reason = Symbol(**data["result"]), str(data["reason"])
    if data["kind"] == "sum":
        return Sum(symbol, tuple((int(s), str(k)) for s, k in data["terms"]), reason)
    if data["kind"] == "formula":
        if data["function"] not in FUNCTIONS:
            raise ValueError(f"there is no formula '{data['function']}'")
        return Formula(
            symbol, data["function"], tuple((str(n), v) for n, v in data["arguments"]), reason
        )
    factors = (Factor(_term_from(over), _term_from(under)) for over, under in data["factors"])
    return Chain(symbol, tuple(factors), reason)
