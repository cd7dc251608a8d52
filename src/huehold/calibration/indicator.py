"""An indicator chart: which colour at which pH, and back, with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from huehold.calibration.model import Calibration, Table, Value
from huehold.errors import InputError

__all__ = ["Bands", "Curve", "IndicatorChart", "Points", "circular_range", "colour_word"]

FloatArray = NDArray[np.float64]
Direction = Literal["base-to-acid", "acid-to-base"]
Numbers = Annotated[tuple[float, ...], Field(min_length=2, max_length=400)]

_STEP_PH = 0.01
_DOSE_REL = 0.15  # a cup is dyed this much more or less than the one of the chart
_DOSE_TURNS = 0.3  # share of that by which it also moves the hue, across the chroma
_OFF_PATH = 4.0  # standard deviations from the path beyond which a colour is not the dye's
_TURNING = (0.1, 0.9)  # shares of the colour path between which the dye turns
_MARGIN_DEG = 2.0


@dataclass(frozen=True, slots=True)
class Bands:
    """Hue bands in degrees, each (low, high), low > high if it runs through 0.

    Attributes
    ----------
    start, turning, end : (float, float)
        Of the colours before, while, and after the dye turns; neighbours overlap by the margin.
    turning_ph : (float, float)
        Between which pH it turns, low first.
    """

    start: tuple[float, float]
    turning: tuple[float, float]
    end: tuple[float, float]
    turning_ph: tuple[float, float]


class Points(Table):
    """What was measured: a column for each quantity, a row for each reference.

    ``u`` is the standard uncertainty of each coordinate of the colour (CIELAB).
    """

    ph: Numbers
    u_ph: Numbers
    lightness: Numbers
    a: Numbers
    b: Numbers
    u: Numbers
    source: tuple[str, ...]

    @model_validator(mode="after")
    def _even(self) -> Self:
        _check_columns(self)
        return self


class Curve(Table):
    """The colour against pH, as a table to interpolate in; ``u`` as in `Points`."""

    ph: Numbers
    lightness: Numbers
    a: Numbers
    b: Numbers
    u: Numbers

    @model_validator(mode="after")
    def _even(self) -> Self:
        _check_columns(self)
        if any(second <= first for first, second in zip(self.ph, self.ph[1:], strict=False)):
            raise ValueError("ph must rise from row to row")
        return self


class IndicatorChart(Calibration):
    """Colour of an indicator against pH.

    ``variable`` is what moves the dye: pH, or the p-value of triiodide (pI) or metal (pM); the
    word pH stands for it throughout. ``basis`` says how the curve came about; ``u_scale`` is the
    standard uncertainty that all its pH have in common.
    """

    kind: Literal["indicator"] = "indicator"
    dye: str = Field(min_length=1)
    variable: Literal["pH", "pI", "pM"] = "pH"
    basis: Literal["protolysis", "monotone", "computed"]
    u_scale: float = Field(default=0.0, ge=0)
    residual: float = Field(default=0.0, ge=0)
    pka: tuple[Value, ...] = ()
    curve: Curve
    points: Points | None = None

    def summary(self) -> str:
        """Say where it turns, from which colour to which."""
        low, high = self.turning_ph()
        acid, base = (colour_word(*self.colour(ph)[1:]) for ph in (self.ph_range))
        made = " (computed, not measured)" if self.origin == "virtual bench" else ""
        return f"{self.dye}: {acid} below {self.variable} {low:.1f}, {base} above {high:.1f}{made}"

    @property
    def ph_range(self) -> tuple[float, float]:
        """Lowest and highest pH it holds for."""
        return self.curve.ph[0], self.curve.ph[-1]

    def colour(self, ph: float) -> tuple[float, float, float]:
        """L*, a*, b* at a pH; held at the ends beyond `ph_range`."""
        grid, lab, _ = self._grid()
        return (
            float(np.interp(ph, grid, lab[:, 0])),
            float(np.interp(ph, grid, lab[:, 1])),
            float(np.interp(ph, grid, lab[:, 2])),
        )

    def ph(
        self, a: float, b: float, *, u: float = 1.0, dose_rel: float = _DOSE_REL
    ) -> tuple[float, float] | None:
        """Read the pH from a colour.

        Parameters
        ----------
        a, b : float
            CIELAB, referred to the white.
        u : float
            Standard uncertainty of each.
        dose_rel : float
            Relative standard uncertainty of the dye's strength against the chart's; it moves the
            chroma, and the hue a little. 0 if it is the same cup.

        Returns
        -------
        (float, float) or None
            pH and its standard uncertainty: mean and standard deviation over all pH of the chart,
            each weighed by how well its colour agrees, so that it is wide where the dye does not
            turn. None if no colour of the chart agrees.

        Raises
        ------
        InputError
            If the colour is not a finite number.
        """
        if not (np.isfinite(a) and np.isfinite(b) and np.isfinite(u) and u > 0.0):
            raise InputError(
                f"The colour a = {a}, b = {b} +/- {u} is not one a pH can be read from."
            )
        grid, lab, curve_u = self._grid()
        off2, log_area = _distance2(lab[:, 1:], curve_u, (a, b), u, dose_rel)
        if float(np.sqrt(off2.min())) > _OFF_PATH:
            return None
        log_weight = -0.5 * off2 - log_area
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        mean = float(weight @ grid)
        spread = float(np.sqrt(weight @ (grid - mean) ** 2))
        return mean, float(np.hypot(spread, self.u_scale))

    def turning_ph(self) -> tuple[float, float]:
        """Between which pH a tenth and nine tenths of the way in colour are gone."""
        grid, lab, _ = self._grid()
        way = np.concatenate(
            [[0.0], np.cumsum(np.linalg.norm(np.diff(lab[:, 1:], axis=0), axis=1))]
        )
        if way[-1] <= 0.0:
            return self.ph_range
        low, high = np.interp(_TURNING, way / way[-1], grid)
        return float(low), float(high)

    def bands(
        self,
        direction: Direction = "base-to-acid",
        turning_ph: tuple[float, float] | None = None,
        margin_deg: float = _MARGIN_DEG,
    ) -> Bands:
        """Hue bands before, while and after the dye turns.

        Parameters
        ----------
        direction : {"base-to-acid", "acid-to-base"}
            Which side is the start.
        turning_ph : (float, float), optional
            Between which pH it counts as turning (low, high); `turning_ph` if left out. A method
            sets it where only part of a long way through the colours matters.
        margin_deg : float
            By which the outer ends of the bands are widened, beside the chart's uncertainty.

        Raises
        ------
        InputError
            If the turning range lies outside the chart, or the dye is colourless on one side.
        """
        low, high = turning_ph or self.turning_ph()
        first, last = self.ph_range
        if not first <= low < high <= last:
            raise InputError(
                f"The chart {self.ref} covers {self.variable} {first:g} to {last:g}; it cannot say "
                f"how the dye turns between {low:g} and {high:g}."
            )
        acid, middle, base = (
            self._hues(span) for span in ((first, low), (low, high), (high, last))
        )
        acid_band, base_band = (circular_range(h, margin_deg) for h in (acid, base))
        turning = circular_range(middle, 0.0)
        outer = (base_band, acid_band) if direction == "base-to-acid" else (acid_band, base_band)
        return Bands(outer[0], turning, outer[1], (low, high))

    def _hues(self, span: tuple[float, float]) -> FloatArray:
        grid, lab, u = self._grid()
        inside = (grid >= span[0] - 1e-9) & (grid <= span[1] + 1e-9)
        a, b = lab[inside, 1], lab[inside, 2]
        coloured = np.hypot(a, b) > 4.0 * np.maximum(u[inside], 1.0)
        if not coloured.any():
            raise InputError(
                f"{self.dye} is colourless at {self.variable} {span[0]:.1f} to {span[1]:.1f}: it "
                "has no hue there; watch the endpoint by its chroma or by eye."
            )
        return np.asarray(np.degrees(np.arctan2(b[coloured], a[coloured])) % 360.0)

    def _grid(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        from scipy.interpolate import PchipInterpolator

        ph = np.asarray(self.curve.ph)
        lab = np.column_stack([self.curve.lightness, self.curve.a, self.curve.b])
        count = max(2, round((ph[-1] - ph[0]) / _STEP_PH) + 1)
        grid = np.linspace(ph[0], ph[-1], count)
        return grid, np.asarray(PchipInterpolator(ph, lab)(grid)), np.interp(grid, ph, self.curve.u)


def circular_range(hues_deg: FloatArray, margin_deg: float) -> tuple[float, float]:
    """Smallest arc that holds all hues, widened at both ends; low > high if it runs through 0."""
    ordered = np.sort(np.asarray(hues_deg, dtype=float) % 360.0)
    gaps = np.diff(np.append(ordered, ordered[0] + 360.0))
    widest = int(np.argmax(gaps))
    if gaps[widest] <= 2.0 * margin_deg:
        return 0.0, 360.0
    low = ordered[(widest + 1) % len(ordered)] - margin_deg
    high = ordered[widest] + margin_deg
    return float(low % 360.0), float(high % 360.0)


_WORDS = (
    (20.0, "pink-red"), (50.0, "red"), (70.0, "orange"), (84.0, "orange-yellow"), (100.0, "yellow"),
    (120.0, "yellow-green"), (165.0, "green"), (210.0, "blue-green"), (290.0, "blue"),
    (325.0, "violet"), (345.0, "purple"), (360.0, "pink"),
)  # fmt: skip


def colour_word(a: float, b: float) -> str:
    """Name a colour by its CIELAB hue, for people."""
    if np.hypot(a, b) < 6.0:
        return "colourless"
    hue = float(np.degrees(np.arctan2(b, a)) % 360.0)
    return next((word for upper, word in _WORDS if hue < upper), "pink")


def _distance2(
    path: FloatArray, path_u: FloatArray, colour: tuple[float, float], u: float, dose_rel: float
) -> tuple[FloatArray, FloatArray]:
    """Squared distance in standard deviations from every point of the path, and log of the area.

    Along the chroma the deviation is larger, for the dye's strength is not known.
    """
    off = np.asarray(colour) - path
    chroma = np.maximum(np.hypot(path[:, 0], path[:, 1]), 1e-9)
    along = np.sum(off * path, axis=1) / chroma
    across2 = np.maximum(np.sum(off**2, axis=1) - along**2, 0.0)
    dose2 = (dose_rel * chroma) ** 2
    variance_along = u**2 + path_u**2 + dose2
    variance_across = u**2 + path_u**2 + _DOSE_TURNS**2 * dose2
    off2 = along**2 / variance_along + across2 / variance_across
    return np.asarray(off2), np.asarray(0.5 * np.log(variance_along * variance_across))


def _check_columns(table: Points | Curve) -> None:
    lengths = {name: len(getattr(table, name)) for name in type(table).model_fields}
    if len(set(lengths.values())) > 1:
        told = ", ".join(f"{name} {count}" for name, count in lengths.items())
        raise ValueError(f"the columns differ in length ({told})")
    if any(value < 0 for value in table.u):
        raise ValueError("u cannot be negative")
