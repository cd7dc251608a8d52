"""Draw on a frame what was seen in it, so that people can check the numbers.

Outlines are drawn dark and light so that they show on anything; what was left out is
hatched; everything is also said in words, so that nothing hangs on colour.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import TRUSTED, Ellipse, Frame, Observation, Rect
from huehold.vision.geometry import grown
from huehold.vision.observer import Sight

__all__ = ["draw"]

Canvas = NDArray[np.uint8]
Colour = tuple[int, int, int]

_DARK: Colour = (0, 0, 0)
_LIGHT: Colour = (255, 255, 255)
_ACCENT: Colour = (86, 180, 233)  # sky blue of the Okabe-Ito palette
_FONT = cv2.FONT_HERSHEY_SIMPLEX
_LINES = 4
_SHIFT = 4  # sub-pixel bits of OpenCV's drawing calls
_CORE = 0.84


def draw(frame: Frame, observation: Observation, sight: Sight | None = None) -> Canvas:
    """Annotate a frame.

    Parameters
    ----------
    frame : Frame
    observation : Observation
        What was measured in that frame.
    sight : Sight, optional
        `Observer.sight` right after that observation: adds the white patch and the pixels
        that were left out.

    Returns
    -------
    ndarray of uint8, shape (height + panel, width, 3)
        sRGB picture with a panel of text below; sides are even numbers, as encoders want.
    """
    canvas = np.ascontiguousarray(frame.image).copy()
    if sight is not None and observation.vessel is not None:
        _hatch(canvas, sight)
    if observation.vessel is not None:
        _outline(canvas, observation.vessel, dashed=observation.trust < TRUSTED)
    if sight is not None and sight.white is not None and sight.white.rect is not None:
        _box(canvas, sight.white.rect, f"white ({sight.white.basis})")
    return _with_panel(canvas, observation)


def _unit(canvas: Canvas) -> float:
    return float(max(canvas.shape[1] / 640.0, 0.4))


def _outline(canvas: Canvas, vessel: Ellipse, *, dashed: bool) -> None:
    width = max(1, round(1.5 * _unit(canvas)))
    _ellipse(canvas, vessel, _DARK, 3 * width, dashed=False)
    _ellipse(canvas, vessel, _ACCENT, width, dashed=dashed)
    _ellipse(canvas, grown(vessel, _CORE), _LIGHT, 1, dashed=True)


def _ellipse(canvas: Canvas, e: Ellipse, colour: Colour, width: int, *, dashed: bool) -> None:
    one = 1 << _SHIFT
    centre = (round(e.x_px * one), round(e.y_px * one))
    axes = (round(e.semi_major_px * one), round(e.semi_minor_px * one))
    arcs = [(a, a + 9) for a in range(0, 360, 18)] if dashed else [(0, 360)]
    for start, end in arcs:
        cv2.ellipse(
            canvas, centre, axes, e.angle_deg, start, end, colour, width, cv2.LINE_AA, _SHIFT
        )


def _box(canvas: Canvas, rect: Rect, label: str) -> None:
    corner = (round(rect.x_px), round(rect.y_px))
    far = (round(rect.x_px + rect.width_px), round(rect.y_px + rect.height_px))
    width = max(1, round(_unit(canvas)))
    cv2.rectangle(canvas, corner, far, _DARK, 3 * width, cv2.LINE_AA)
    cv2.rectangle(canvas, corner, far, _LIGHT, width, cv2.LINE_AA)
    size = 0.4 * _unit(canvas)
    place = (corner[0], max(corner[1] - round(5 * _unit(canvas)), round(12 * _unit(canvas))))
    cv2.putText(canvas, label, place, _FONT, size, _DARK, 3 * width, cv2.LINE_AA)
    cv2.putText(canvas, label, place, _FONT, size, _LIGHT, width, cv2.LINE_AA)


def _hatch(canvas: Canvas, sight: Sight) -> None:
    """Dark and light diagonal strokes over what lay inside but was not averaged."""
    if sight.liquid is None or sight.patch is None:
        return
    left_out = sight.liquid.inside & ~sight.liquid.used
    patch = sight.patch
    top, left = int(patch.y[0, 0]), int(patch.x[0, 0])
    mask = np.kron(left_out, np.ones((patch.step, patch.step), dtype=bool))
    region = canvas[top : top + mask.shape[0], left : left + mask.shape[1]]
    mask = mask[: region.shape[0], : region.shape[1]]
    period = max(4, round(8 * _unit(canvas)))
    rows, columns = np.ogrid[: mask.shape[0], : mask.shape[1]]
    phase = (rows + columns) % period
    region[mask & (phase < max(1, period // 4))] = _DARK
    region[mask & (phase >= period // 2) & (phase < period // 2 + max(1, period // 4))] = _LIGHT


def _with_panel(canvas: Canvas, observation: Observation) -> Canvas:
    unit = _unit(canvas)
    line = round(19 * unit)
    height = line * _LINES + round(10 * unit)
    height += (canvas.shape[0] + height) % 2
    panel = np.full((height, canvas.shape[1], 3), 24, dtype=np.uint8)
    margin = round(8 * unit)
    swatch = height - 2 * margin
    _swatch(panel, observation, margin, swatch)
    for row, text in enumerate(_words(observation)):
        place = (2 * margin + swatch, round(line * (row + 0.85)))
        cv2.putText(
            panel, text, place, _FONT, 0.45 * unit, _LIGHT, max(1, round(unit)), cv2.LINE_AA
        )
    whole = np.vstack([canvas, panel])
    return np.ascontiguousarray(whole[:, : whole.shape[1] // 2 * 2])


def _swatch(panel: Canvas, observation: Observation, margin: int, side: int) -> None:
    """Show the liquid's own pixels, or a crossed box when there are none."""
    end = margin + side
    if observation.strip is None:
        cv2.rectangle(panel, (margin, margin), (end, end), _LIGHT, 1)
        cv2.line(panel, (margin, margin), (end, end), _LIGHT, 1, cv2.LINE_AA)
        return
    rows = np.linspace(0, len(observation.strip) - 1, side).round().astype(int)
    panel[margin:end, margin:end] = observation.strip[rows][:, None]
    cv2.rectangle(panel, (margin, margin), (end, end), _LIGHT, 1)


def _words(observation: Observation) -> list[str]:
    use = "used" if observation.trust >= TRUSTED else "NOT USED"
    why = ", ".join(observation.reasons).replace("_", " ") or "nothing amiss"
    if observation.vessel is None:
        return [f"{observation.time_s:.2f} s", "no liquid measured", f"trust 0  {use}", why]
    cloudy = "not known" if np.isnan(observation.turbidity) else f"{observation.turbidity:.2f}"
    return [
        f"{observation.time_s:.2f} s   hue {observation.hue_deg:.1f} "
        f"+/- {observation.hue_sd_deg:.1f} deg   chroma {observation.chroma:.1f}",
        f"lightness {observation.lightness:.1f}   turbidity {cloudy}",
        f"trust {observation.trust:.2f}   {use}",
        why,
    ]
