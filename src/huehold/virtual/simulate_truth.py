"""The truth file of a rendered run: what a perfect observer would have written down."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from huehold.virtual.simulate_show import Show

__all__ = ["SCHEMA", "liquid_lab", "truth_document", "write_truth"]

Floats = NDArray[np.float64]
SCHEMA = "huehold.simulation/1"
_STEP_S = 0.2
_VESSEL_STEP_S = 0.5


def liquid_lab(show: Show, times_s: Floats) -> Floats:
    """CIELAB (D65) of the liquid over its ground, referred to the white card in the scene.

    Parameters
    ----------
    show : Show
    times_s : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n, 3)
        L*, a*, b* of the well-mixed liquid over the mean of the ground behind it, without
        reflections; referred to a perfect white where there is no card; NaN without liquid.
    """
    import colour  # slow to import, and needed here only

    ground = show.scene.ground_mean()
    if ground is None or show.scenario.cup.liquid_cm == 0.0:
        return np.full((len(times_s), 3), np.nan)
    looks = np.array([show.story.at(float(t))[0] for t in times_s])
    card = show.scenario.card
    white = card.reflectance if card.shown else 1.0
    linear = (looks[:, :3] + looks[:, 3:6] * ground) / white
    space = colour.RGB_COLOURSPACES["sRGB"]
    xyz = linear @ np.asarray(space.matrix_RGB_to_XYZ).T
    return np.asarray(colour.XYZ_to_Lab(xyz, space.whitepoint))


def truth_document(show: Show) -> dict[str, Any]:
    """Gather the truth about a show.

    Returns
    -------
    dict
        Plain JSON values; unknown numbers are None. Pixels are those of the file, upright.
    """
    story = show.story
    times = np.arange(0.0, story.duration_s, _STEP_S)
    lab = liquid_lab(show, times)
    columns = {
        "time_s": times,
        "ph": np.interp(times, story.time_s, story.ph),
        "undissolved": np.interp(times, story.time_s, story.undissolved),
        "titrant_g": np.interp(times, story.time_s, story.titrant_g),
        "display_g": [show.shown.at(float(t)) for t in times],
        "lightness": lab[:, 0],
        "a": lab[:, 1],
        "b": lab[:, 2],
    }
    return {
        "schema": SCHEMA,
        "preset": show.scenario.name,
        "scenario": show.scenario.plain(),
        "duration_s": _number(story.duration_s),
        "frames": len(show.times),
        "onset_s": None if story.onset_s is None else _number(story.onset_s),
        **story.facts,
        "additions": [
            {"time_s": _number(p.time_s), "mass_g": _number(p.mass_g)} for p in story.portions
        ],
        "disturbances": [
            {"start_s": _number(a.start_s), "end_s": _number(a.end_s), "kind": a.kind}
            for a in sorted(show.acts, key=lambda act: act.start_s)
        ],
        "vessel": list(_vessel_track(show)),
        "columns": {name: _numbers(values) for name, values in columns.items()},
    }


def write_truth(show: Show, path: Path) -> None:
    """Write the truth as JSON, one object."""
    text = json.dumps(truth_document(show), allow_nan=False, indent=None, separators=(",", ":"))
    path.write_text(text + "\n", encoding="utf-8")


def _vessel_track(show: Show) -> Iterable[dict[str, float | None]]:
    scale_x, scale_y = show.file_scale
    for t in np.arange(0.0, show.story.duration_s, _VESSEL_STEP_S):
        ellipse = show.vessel(float(t))
        if ellipse is not None:
            # Pixel centres, so that half a pixel is kept through the enlargement.
            yield {
                "time_s": _number(t),
                "x_px": _number((ellipse.x_px + 0.5) * scale_x - 0.5),
                "y_px": _number((ellipse.y_px + 0.5) * scale_y - 0.5),
                "semi_major_px": _number(ellipse.semi_major_px * scale_x),
                "semi_minor_px": _number(ellipse.semi_minor_px * scale_y),
                "angle_deg": _number(ellipse.angle_deg),
            }


def _number(value: float) -> float | None:
    return float(f"{value:.6g}") if np.isfinite(value) else None


def _numbers(values: Iterable[float]) -> list[float | None]:
    return [_number(float(v)) for v in values]
