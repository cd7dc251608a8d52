"""From colours at known pH to an indicator chart; and telling a dye that is none."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from huehold.calibration.indicator import Curve, IndicatorChart, Points, colour_word
from huehold.calibration.indicator_model import LIGHTS, ProtolysisFit, fit_protolysis
from huehold.calibration.model import Value, plainly, remind_date
from huehold.errors import InputError, UsageError

if TYPE_CHECKING:
    from huehold.methods import Method

__all__ = ["REMIND_DAYS", "ColourPoint", "check_dye", "fit_chart", "suits"]

FloatArray = NDArray[np.float64]

REMIND_DAYS = 90  # natural dyes fade and differ from bottle to bottle

_LEAST_U = 0.5  # CIELAB: what white, vessel and coding leave even in a still picture
_LEAST_U_PH = 0.01
_MODEL_U = 1.0  # CIELAB: what a model of a few steps leaves unsaid of a mixture of dyes
_CHANGE = 10.0  # CIELAB: a dye that moves less does not turn
_SPREAD_PH = 1.0
_MISFIT = 3.0  # times the colours' uncertainty
_BETTER = 16.0  # fall of chi-squared that a further step must bring
_MOST_STEPS = 3
_SHOWN_PH = 0.2


@dataclass(frozen=True, slots=True)
class ColourPoint:
    """The colour of the dye at a known pH.

    Attributes
    ----------
    ph, u_ph : float
        pH of the reference with its standard uncertainty.
    lightness, a, b : float
        CIELAB, referred to the white.
    u : float
        Standard uncertainty of each coordinate.
    source : str
        Where the pH is from.
    """

    ph: float
    u_ph: float
    lightness: float
    a: float
    b: float
    u: float = _LEAST_U
    source: str = "given"


@plainly
def fit_chart(
    points: Sequence[ColourPoint], *, name: str, dye: str, made: date, light: str = "",
    device: str = "", u_scale: float = 0.0, illuminant: str = "daylight",
) -> IndicatorChart:  # fmt: skip
    """Fit the colour of a dye against pH.

    A protolysis model with as few steps as the colours ask for; where none fits, monotone
    smoothing between the points.

    Parameters
    ----------
    points : sequence of ColourPoint
        At three pH or more that span at least one unit.
    name, dye : str
        Of the calibration, and of the dye.
    made : date
        When it was measured.
    light, device : str
        Under which light, with which camera.
    u_scale : float
        Standard uncertainty that all pH have in common.
    illuminant : str
        Kind of light the model computes with, a key of
        `huehold.calibration.indicator_model.LIGHTS`.

    Raises
    ------
    InputError
        If the points are too few or too close, make no sense, or the dye does not turn.
    UsageError
        If the light is not known.
    """
    if illuminant not in LIGHTS:
        raise UsageError(f"There is no light '{illuminant}'; known are {', '.join(LIGHTS)}.")
    ordered = sorted(points, key=lambda p: p.ph)
    _check_points(ordered)
    check_dye(ordered)
    fit = _best_fit(ordered, illuminant)
    return IndicatorChart(
        name=name, dye=dye, date=made, light=light, device=device, u_scale=u_scale,
        remind_after=remind_date(made, REMIND_DAYS), points=_points_table(ordered),
        basis="monotone" if fit is None else "protolysis",
        curve=_smooth_curve(ordered) if fit is None else _fitted_curve(ordered, fit),
        residual=0.0 if fit is None else round(fit.residual, 3),
        pka=() if fit is None else _pka_values(fit),
    )  # fmt: skip


def check_dye(points: Sequence[ColourPoint]) -> None:
    """Tell a dye that does not turn.

    Raises
    ------
    InputError
        If the colour is the same at all pH, with the likely reason.
    """
    colours = np.array([[p.lightness, p.a, p.b] for p in points])
    u = max(max(p.u, _LEAST_U) for p in points)
    change = max(
        float(np.hypot(*(first - second)[1:]))
        for first, second in itertools.combinations(colours, 2)
    )
    if change >= max(_CHANGE, 6.0 * u):
        return
    low, high = min(p.ph for p in points), max(p.ph for p in points)
    a, b = colours[:, 1:].mean(axis=0)
    word = colour_word(float(a), float(b))
    if word == "colourless":
        raise InputError(
            f"No colour is seen between pH {low:g} and {high:g} (a and b change by {change:.1f}): "
            "use more dye, or check that it is an indicator for this range."
        )
    raise InputError(
        f"This {word} does not change between pH {low:g} and {high:g} (a and b by {change:.1f} "
        "only): it is not the plant-based kind; look for turmeric (curcumin) and spirulina in the "
        "list of ingredients."
    )


def suits(chart: IndicatorChart, method: Method) -> tuple[str, ...]:
    """Return a sentence for each way in which a dye does not do what a method needs."""
    indicator, told = method.indicator, []
    low, high = chart.turning_ph()
    end = indicator.end_ph
    if end is not None and not low - 0.3 <= end.value <= high + 0.3:
        told.append(
            f"{chart.dye} turns between {chart.variable} {low:.1f} and {high:.1f}, but "
            f"{method.name} calls its end at {end.value:g}."
        )
    if method.endpoint.direction not in ("base-to-acid", "acid-to-base"):
        return tuple(told)
    sides = chart.ph_range if method.endpoint.direction == "acid-to-base" else chart.ph_range[::-1]
    wanted = (indicator.start, indicator.end)
    for side, ph, colour in zip(("start", "end"), sides, wanted, strict=True):
        _, a, b = chart.colour(ph)
        hue = float(np.degrees(np.arctan2(b, a)) % 360.0)
        if colour.hue_deg is not None and not _in_band(hue, colour.hue_deg, 10.0):
            told.append(
                f"At the {side} {chart.dye} is {colour_word(a, b)} (hue {hue:.0f} degrees), but "
                f"{method.name} expects {colour.name}."
            )
    return tuple(told)


def _in_band(hue: float, band: tuple[float, float], margin: float) -> bool:
    width = (band[1] - band[0]) % 360.0
    return (hue - band[0] + margin) % 360.0 <= width + 2.0 * margin


def _check_points(points: Sequence[ColourPoint]) -> None:
    for p in points:
        numbers = (p.ph, p.u_ph, p.lightness, p.a, p.b, p.u)
        if not all(np.isfinite(numbers)) or not 0 <= p.ph <= 14 or p.u_ph < 0 or p.u < 0:
            raise InputError(f"A point at pH {p.ph} makes no sense; pH lie between 0 and 14.")
    values = sorted({round(p.ph, 2) for p in points})
    if len(values) < 3 or values[-1] - values[0] < _SPREAD_PH:
        told = ", ".join(f"{v:g}" for v in values) or "none"
        raise InputError(
            f"A chart needs colours at three pH or more that span at least {_SPREAD_PH:g}; given "
            f"were {told}. Buffers and household references are listed by "
            "`huehold calibrate indicator --list-references`."
        )


def _best_fit(points: Sequence[ColourPoint], light: str) -> ProtolysisFit | None:
    ph = np.array([p.ph for p in points])
    u_ph = np.maximum([p.u_ph for p in points], _LEAST_U_PH)
    lab = np.array([[p.lightness, p.a, p.b] for p in points])
    u_lab = np.maximum([p.u for p in points], _LEAST_U)
    best: ProtolysisFit | None = None
    for steps in range(1, min(_MOST_STEPS, len(set(ph.round(2))) - 3) + 1):
        fit = fit_protolysis(ph, u_ph, lab, u_lab, steps, light)
        if best is None or best.chi2 - fit.chi2 > _BETTER:
            best = fit
        if best.chi2 < 1.2 * lab.size:  # nothing left to explain
            break
    if best is None or best.residual > _MISFIT * float(np.median(u_lab)):
        return None
    return best


def _shown_grid(points: Sequence[ColourPoint]) -> FloatArray:
    low, high = points[0].ph, points[-1].ph
    return np.linspace(low, high, max(3, round((high - low) / _SHOWN_PH) + 1))


def _fitted_curve(points: Sequence[ColourPoint], fit: ProtolysisFit) -> Curve:
    grid = _shown_grid(points)
    return _curve(grid, fit.colour(grid), np.hypot(fit.colour_u(grid), _MODEL_U))


def _smooth_curve(points: Sequence[ColourPoint]) -> Curve:
    """Straighten what noise bent, then interpolate without overshoot.

    Between two points the curve may run anywhere between their colours; its uncertainty there
    grows with the step from one to the next.
    """
    from scipy.interpolate import PchipInterpolator

    ph, lab, u = _merged(points)
    lab = np.column_stack([_isotonic(column, u) for column in lab.T])
    grid = np.unique(np.concatenate([_shown_grid(points), ph]).round(3))
    at = np.clip(np.searchsorted(ph, grid, side="right") - 1, 0, len(ph) - 2)
    part = (grid - ph[at]) / (ph[at + 1] - ph[at])
    jump = np.linalg.norm(np.diff(lab[:, 1:], axis=0), axis=1)[at]
    between = 0.6 * jump * part * (1.0 - part)
    return _curve(grid, PchipInterpolator(ph, lab)(grid), np.hypot(np.interp(grid, ph, u), between))


def _merged(points: Sequence[ColourPoint]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean colour of points that share a pH."""
    ph, lab, u = [], [], []
    for value, group in itertools.groupby(points, key=lambda p: round(p.ph, 2)):
        same = list(group)
        ph.append(value)
        lab.append(np.mean([[p.lightness, p.a, p.b] for p in same], axis=0))
        u.append(max(_LEAST_U, float(np.mean([p.u for p in same])) / np.sqrt(len(same))))
    return np.array(ph), np.array(lab), np.array(u)


def _isotonic(values: FloatArray, u: FloatArray) -> FloatArray:
    """Make a coordinate monotone where its uncertainty allows that."""
    from scipy.optimize import isotonic_regression

    for increasing in (True, False):
        straight = isotonic_regression(values, weights=1.0 / u**2, increasing=increasing).x
        if np.sqrt(np.mean(((straight - values) / u) ** 2)) <= 1.5:
            return np.asarray(straight, dtype=float)
    return values


def _curve(ph: FloatArray, lab: FloatArray, u: FloatArray) -> Curve:
    lightness, a, b = (tuple(column.tolist()) for column in np.asarray(lab).T.round(2))
    return Curve(
        ph=tuple(ph.round(3).tolist()), lightness=lightness, a=a, b=b, u=tuple(u.round(2).tolist())
    )


def _points_table(points: Sequence[ColourPoint]) -> Points:
    def column(field: str) -> tuple[float, ...]:
        """Return a field of all points, rounded to thousandths."""
        return tuple(round(float(getattr(p, field)), 3) for p in points)

    return Points(
        ph=column("ph"), u_ph=column("u_ph"), lightness=column("lightness"), a=column("a"),
        b=column("b"), u=column("u"), source=tuple(p.source for p in points),
    )  # fmt: skip


def _pka_values(fit: ProtolysisFit) -> tuple[Value, ...]:
    how = "protolysis model fitted to the points of this file"
    return tuple(
        Value(value=round(float(value), 3), u=round(float(u), 3), source=how)
        for value, u in zip(fit.pka, fit.u_pka, strict=True)
    )
