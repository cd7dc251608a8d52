"""An assay as plain values, and computed again from them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from huehold.errors import HueholdError, InputError
from huehold.methods.loader import method_from_dict
from huehold.stoichiometry.assay import SCHEMA, Assay, Result, Settings, finish
from huehold.stoichiometry.endpoint_ph import ColourEvidence
from huehold.stoichiometry.equivalence import Equivalence
from huehold.stoichiometry.steps import steps_from_list, steps_to_list
from huehold.stoichiometry.tolerances import AcceptanceRange
from huehold.stoichiometry.uncertain import Input
from huehold.stoichiometry.worksheet import Output

__all__ = ["from_plain", "to_plain"]


def to_plain(assay: Assay) -> dict[str, Any]:
    """Write an assay as values JSON can hold; what is not known or infinite is None."""
    return {
        "schema": SCHEMA,
        "method": assay.method.model_dump(mode="json", by_alias=True, exclude_none=True),
        "given": dict(assay.given),
        "inputs": [_finite(asdict(item)) for item in assay.inputs],
        "steps": steps_to_list(assay.steps),
        "outputs": [asdict(output) for output in assay.outputs],
        "settings": asdict(assay.settings),
        "results": {key: _result(result) for key, result in assay.results.items()},
        "budget": assay.propagation.as_dict(),
        "monte_carlo": None if assay.trials is None else _finite(asdict(assay.trials)),
        "agreement": None if assay.agreement is None else _finite(asdict(assay.agreement)),
        "claim": assay.claim_text or None,
        "limits": None if assay.limits is None else _finite(asdict(assay.limits)),
        "decision": None if assay.conformity is None else _finite(asdict(assay.conformity)),
        "equivalence": asdict(assay.equivalence),
        "notes": list(assay.notes),
        "warnings": list(assay.warnings),
        "cautions": list(assay.method.all_cautions),
        "working": assay.working.text,
    }


def from_plain(data: Mapping[str, Any]) -> Assay:
    """Compute an assay again from its plain values.

    Raises
    ------
    InputError
        If they are not those of an assay.
    """
    if data.get("schema") != SCHEMA:
        raise InputError(f"this is not a result of {SCHEMA} (schema {data.get('schema')!r})")
    try:
        return _recomputed(data)
    except HueholdError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        raise InputError(f"the result file lacks or garbles {error}") from error


def _recomputed(data: Mapping[str, Any]) -> Assay:
    limits = data["limits"]
    return finish(
        method_from_dict(data["method"], "the method in the result file"),
        data["given"],
        tuple(_input(item) for item in data["inputs"]),
        steps_from_list(data["steps"]),
        tuple(Output(**item) for item in data["outputs"]),
        Settings(**data["settings"]),
        _equivalence(data["equivalence"]),
        data["claim"] or "",
        None if limits is None else AcceptanceRange(**_open(limits, "high")),
        tuple(data["notes"]),
        tuple(data["warnings"]),
    )


def _input(data: Mapping[str, Any]) -> Input:
    return Input(**_open(data, "dof"))


def _open(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    """Put back the infinity that JSON cannot hold."""
    return {**data, name: math.inf if data[name] is None else data[name]}


def _equivalence(data: Mapping[str, Any]) -> Equivalence:
    colour = data["colour"]
    return Equivalence(**{**data, "colour": None if colour is None else ColourEvidence(**colour)})


def _result(result: Result) -> dict[str, Any]:
    return {**asdict(result), "text": result.text}


def _finite(data: dict[str, Any]) -> dict[str, Any]:
    return {
        key: None if isinstance(value, float) and not math.isfinite(value) else value
        for key, value in data.items()
    }
