"""What people are told of a calibration: its facts, and the list of all of them."""

from __future__ import annotations

from datetime import date
from typing import Any

from huehold.calibration.indicator import IndicatorChart
from huehold.calibration.model import Calibration
from huehold.calibration.store import Store
from huehold.calibration.turbidity import TurbidityCalibration

__all__ = ["entry_values", "facts", "swatches"]

_D65 = (0.3127, 0.3290)  # chromaticity of the white that CIELAB is referred to


def facts(found: Calibration) -> list[tuple[str, str]]:
    """Return what stands beside a calibration's summary, each with its label."""
    told = [("date", f"{found.date}, {found.origin}")]
    for label in ("remind_after", "device", "light", "method", "note"):
        value = getattr(found, label)
        if value:
            told.append(("repeat" if label == "remind_after" else label, str(value)))
    for check in getattr(found, "checks", ()):
        told.append(("check", check.verdict()))
    for pka in getattr(found, "pka", ()):
        told.append(("pKa", f"{pka.text()} ({pka.source})"))
    doubt = _doubt(found)
    return [*told, ("uncertainty", doubt)] if doubt else told


def _doubt(found: Calibration) -> str:
    """How far a reading by it may be off, where its summary does not say so."""
    if isinstance(found, TurbidityCalibration):
        return f"{found.u_in_middle:.2f} of the share in the middle of its range"
    if isinstance(found, IndicatorChart):
        low, high = found.turning_ph()
        middle = 0.5 * (low + high)
        read = found.ph(*found.colour(middle)[1:])
        return f"{read[1]:.1f} at {found.variable} {middle:.1f}, where it turns" if read else ""
    return ""


def swatches(found: Calibration, most: int = 12) -> list[tuple[str, str]]:
    """Return colours of an indicator's chart over its pH, as words and as ``#rrggbb``.

    Parameters
    ----------
    found : Calibration
        Another kind has none.
    most : int
        How many there are.
    """
    if not isinstance(found, IndicatorChart):
        return []
    import colour
    import numpy as np

    levels = np.linspace(*found.ph_range, most)
    lab = np.array([found.colour(float(level)) for level in levels])
    codes = np.clip(colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, _D65)), 0.0, 1.0)
    return [
        (f"{found.variable} {level:.1f}", "#" + "".join(f"{round(255.0 * c):02x}" for c in code))
        for level, code in zip(levels, codes, strict=True)
    ]


def entry_values(
    store: Store, today: date, *, earlier: bool = False
) -> tuple[list[dict[str, Any]], tuple[str, ...]]:
    """List the calibrations as plain values, with a sentence for each chosen one that is broken.

    Parameters
    ----------
    store : Store
    today : date
        For their age.
    earlier : bool
        List superseded versions as well.
    """
    chosen, told = store.chosen()
    used = {found.ref for found in chosen}
    rows: list[dict[str, Any]] = []
    for entry in store.entries(earlier=earlier):
        found = entry.calibration
        if found is None:
            rows.append({"name": entry.path.name, "readable": False, "fault": entry.fault,
                         "shipped": entry.shipped})  # fmt: skip
            continue
        rows.append({
            "name": found.ref, "readable": True, "kind": found.kind,
            "date": found.date.isoformat(),
            "remind_after": found.remind_after.isoformat() if found.remind_after else None,
            "age_days": found.age_days(today), "origin": found.origin, "shipped": entry.shipped,
            "used": found.ref in used, "summary": found.summary(),
            "reminder": found.reminder(today), "file": str(entry.path),
        })  # fmt: skip
    return rows, told
