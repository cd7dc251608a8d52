"""A plan as plain values for JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from huehold.planning.curve import Curve
from huehold.planning.doubt import Change, Doubt
from huehold.planning.plan import Plan

__all__ = ["SCHEMA", "hex_colours", "plan_to_dict"]

SCHEMA = "huehold.plan/1"


def plan_to_dict(plan: Plan) -> dict[str, Any]:
    """Write a plan as values JSON can hold; what is not known is None, never NaN."""
    method = plan.request.method
    return {
        "schema": SCHEMA,
        "method": method.name,
        "claim": plan.request.claim,
        "take": _take(plan),
        "expect": _expect(plan),
        "pace": [asdict(stretch) for stretch in plan.pace],
        "curve": None if plan.curve is None else _curve(plan.curve),
        "curve_note": plan.curve_note,
        "duration": asdict(plan.duration),
        "uncertainty": _doubt(plan.doubt) | {"why": plan.assumed_text or None},
        "refills": asdict(plan.refills),
        "assumptions": list(plan.assumptions),
        "warnings": list(plan.warnings),
        "cautions": list(method.all_cautions),
    }


def hex_colours(rgb: NDArray[np.float64]) -> list[str]:
    """Write sRGB colours (n, 3) from 0 to 1 as ``#rrggbb``."""
    return ["#{:02x}{:02x}{:02x}".format(*row) for row in np.rint(255.0 * rgb).astype(int)]


def _take(plan: Plan) -> dict[str, Any]:
    return {
        "sample_g": plan.expected.sample_g,
        "sample_ml": None
        if plan.expected.density_g_per_ml is None
        else plan.expected.sample_g / plan.expected.density_g_per_ml,
        "water_g": plan.expected.water_g,
        "water": plan.tap.kind,
        "alkalinity_mmol_per_l": plan.tap.alkalinity_mmol_per_l,
        "water_text": plan.water_text,
        "reagent_g": plan.expected.reagent_g,
        "temperature_c": plan.request.temperature_c,
    }


def _expect(plan: Plan) -> dict[str, Any]:
    drop_g, expected = plan.request.drop_g, plan.expected
    return {
        "titrant": plan.request.method.titrant.name,
        "titrant_g": plan.end_g,
        "low_g": plan.lowest_g,
        "high_g": plan.highest_g,
        "equivalence_g": expected.equivalence_g,
        "drop_g": drop_g,
        "drops": plan.drops,
        "blank_g": plan.blank_g,
        "blank_drops": None if plan.blank_g is None else plan.blank_g / drop_g,
        "analyte_mmol": expected.amount_mmol,
        "content": expected.content,
        "unit": plan.request.method.result.unit,
        "titrant_mol_per_kg": 1000.0 * expected.titrant_mol_per_g,
        "hold_s": plan.request.method.endpoint.hold_s,
    }


def _curve(curve: Curve) -> dict[str, Any]:
    return {
        "titrant_g": _numbers(curve.titrant_g),
        "ph": _numbers(curve.ph),
        "undissolved": _numbers(curve.undissolved),
        "hue_deg": None if curve.hue_deg is None else _numbers(curve.hue_deg),
        "srgb": None if curve.rgb is None else hex_colours(curve.rgb),
        "colour": list(curve.words) or None,
    }


def _numbers(column: NDArray[np.float64]) -> list[float]:
    return [float(f"{value:.6g}") for value in column]


def _doubt(doubt: Doubt) -> dict[str, Any]:
    return {
        "percent": doubt.percent,
        "k": 2,
        "wanted_percent": doubt.wanted_percent,
        "reached": doubt.reached,
        "result": doubt.assay.main.value,
        "result_unit": doubt.assay.main.unit,
        "budget": doubt.assay.propagation.as_dict(),
        "dominant": [row.name for row in doubt.dominant],
        "to_halve": _changes(doubt.to_halve),
        "to_halve_together": _changes(doubt.together),
        "to_reach": _changes(doubt.to_reach),
    }


def _changes(changes: Sequence[Change]) -> list[dict[str, Any]]:
    return [asdict(change) for change in changes]
