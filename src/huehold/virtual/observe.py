"""Observations of a virtual run without pictures: what an analysed frame would have said.

The liquid's colour comes from the optics, as a camera on a white card would have it; noise,
drift, plumes, hands and swirls are added here. It is made for many runs, and harder than life:
some hands are not noticed, and colour noise keeps a memory as coded video has it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse, Observation
from huehold.errors import InputError
from huehold.virtual.bench import Bench
from huehold.virtual.checks import demand_finite
from huehold.virtual.optics import Appearance, LiquidOptics
from huehold.virtual.truth import Disturbance, Truth

__all__ = ["View", "observe"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class View:
    """How well the liquid is seen; the sizes of noise and drift are invented, not measured.

    Attributes
    ----------
    rate_hz : float
        Observations per second, > 0.
    jitter_s : float
        Standard deviation of the spacing of frames, >= 0.
    illuminant : str
        A light from `huehold.virtual.spectra.ILLUMINANTS`.
    ground : tuple of float
        Linear reflectance of the ground, red, green, blue, 0 to 1.
    noise : float
        Standard deviation of L, a and b from frame to frame, >= 0.
    wander : float
        Standard deviation of the part of the noise that lasts, >= 0.
    wander_s : float
        How long that part remembers, > 0.
    white_drift_per_min : float
        Relative drift of each channel's white reference in a minute, a random walk, >= 0.
    exposure : float
        Factor on the light that the white reference misses, > 0.
    turbidity_noise : float
        Standard deviation of the turbidity, >= 0.
    unnoticed : float
        Share of a hand's frames that keep their trust, 0 to 1.
    lost_per_min : float
        Stalls of the camera in a minute, >= 0; each loses 0.5 to 3 s of frames.
    precipitation : bool
        Whether over-acidified dye falls out.
    seed : int
        Of everything random here.
    """

    rate_hz: float = 10.0
    jitter_s: float = 0.004
    illuminant: str = "D65"
    ground: tuple[float, float, float] = (0.80, 0.79, 0.76)
    noise: float = 0.5
    wander: float = 0.5
    wander_s: float = 8.0
    white_drift_per_min: float = 0.002
    exposure: float = 1.0
    turbidity_noise: float = 0.02
    unnoticed: float = 0.05
    lost_per_min: float = 0.0
    precipitation: bool = False
    seed: int = 0

    def __post_init__(self) -> None:
        demand_finite("view", self)
        for name in ("rate_hz", "wander_s", "exposure"):
            if not getattr(self, name) > 0.0:
                raise InputError(
                    f"The view's {name} is {getattr(self, name)}; it must be greater than 0."
                )
        for name in _NOT_NEGATIVE:
            if not getattr(self, name) >= 0.0:
                raise InputError(
                    f"The view's {name} is {getattr(self, name)}; it cannot be negative."
                )


_NOT_NEGATIVE = (
    "jitter_s",
    "noise",
    "wander",
    "white_drift_per_min",
    "turbidity_noise",
    "unnoticed",
    "lost_per_min",
    "seed",
)


@dataclass(frozen=True, slots=True)
class _Trouble:
    """What a kind of disturbance does: covering colour and share, shake, trust left, reason."""

    cover: tuple[float, float, float]
    share: float
    shake: float
    trust: float
    reason: str


# Invented: how much of the liquid a hand or a glint covers, and how far an analysis would trust
# what is left, are set to be harder than life, not measured.
_TROUBLES: Mapping[str, _Trouble] = {
    "hand": _Trouble((0.42, 0.24, 0.17), 0.55, 1.0, 0.15, "hand"),
    "wave": _Trouble((0.42, 0.24, 0.17), 0.65, 1.0, 0.10, "hand"),
    "dropper": _Trouble((0.35, 0.27, 0.22), 0.12, 0.6, 0.60, "hand"),
    "swirl": _Trouble((0.80, 0.80, 0.80), 0.06, 2.0, 0.45, "motion"),
    "knock": _Trouble((0.80, 0.80, 0.80), 0.10, 3.0, 0.30, "motion"),
    "shift": _Trouble((0.55, 0.45, 0.35), 0.15, 1.0, 0.40, "vessel_moved"),
    "glare": _Trouble((1.00, 1.00, 0.98), 0.25, 0.5, 0.45, "glare"),
    "dark": _Trouble((0.00, 0.00, 0.00), 0.93, 0.5, 0.05, "dark"),
    "white_lost": _Trouble((0.80, 0.80, 0.80), 0.00, 1.5, 0.40, "white_lost"),
}


def observe(
    truth: Truth, bench: Bench, view: View | None = None, optics: LiquidOptics | None = None
) -> list[Observation]:
    """Look at a run.

    Parameters
    ----------
    truth : Truth
        The run.
    bench : Bench
        What it was run on.
    view : View, optional
        How it is seen.
    optics : LiquidOptics, optional
        By default made from the bench and the view.

    Returns
    -------
    list of Observation
        In time order.
    """
    seen = view or View()
    rng = np.random.default_rng([bench.seed, seen.seed, 2])
    liquid = optics or bench.optics(seen.illuminant, precipitation=seen.precipitation)
    time = _frame_times(truth.duration_s, seen, rng)
    clean = _mixture(truth, liquid, time, seen)
    trouble = _troubles(truth.disturbances, time, seen, rng)
    rgb = _disturbed(clean, trouble, time, seen, rng)
    lab = _noisy(_lab(rgb), trouble.shake, seen, rng)
    turbidity = _turbidity(truth, liquid, time)
    unsteady = seen.turbidity_noise * (1.0 + trouble.shake)
    turbidity = turbidity + unsteady * rng.standard_normal(len(time))
    return _observations(time, lab, turbidity, trouble, seen)


def _frame_times(duration_s: float, view: View, rng: np.random.Generator) -> FloatArray:
    count = max(int(duration_s * view.rate_hz), 2)
    time = np.arange(count) / view.rate_hz + view.jitter_s * rng.standard_normal(count)
    time = np.maximum.accumulate(time - time[0]) + np.arange(count) * 1e-6
    keep = np.ones(count, dtype=bool)
    for start in rng.uniform(0.0, duration_s, rng.poisson(view.lost_per_min * duration_s / 60.0)):
        keep &= (time < start) | (time > start + rng.uniform(0.5, 3.0))
    return np.asarray(time[keep & (time <= duration_s)])


def _look(truth: Truth, liquid: LiquidOptics, time: FloatArray, column: str) -> Appearance:
    return liquid.fast(
        truth.at(column, time), truth.at("solid_g_per_l", time), truth.at("dye_left", time)
    )


def _mixture(truth: Truth, liquid: LiquidOptics, time: FloatArray, view: View) -> FloatArray:
    """Linear RGB of the liquid as a robust centre would give it, shape (n, 3)."""
    share = truth.at("plume_fraction", time)[:, None]
    # A centre that holds off outliers follows the plume only once it is much of the surface.
    weight = share**2 / (share**2 + (1.0 - share) ** 2)
    bulk = _look(truth, liquid, time, "ph").over(view.ground)
    plume = _look(truth, liquid, time, "plume_ph").over(view.ground)
    return np.asarray(bulk + weight * (plume - bulk))


def _turbidity(truth: Truth, liquid: LiquidOptics, time: FloatArray) -> FloatArray:
    """Half from the ground's lost contrast, half from the veil, each 1 at the start."""
    look = _look(truth, liquid, time, "ph")
    first = liquid.fast(truth.ph[0], truth.solid_g_per_l[0])
    contrast_lost = look.blur / max(float(first.blur), 1e-6)
    veil = look.veil.sum(axis=1) / max(float(first.veil.sum()), 1e-6)
    return np.asarray(0.5 * contrast_lost + 0.5 * veil)


@dataclass(frozen=True, slots=True)
class _Troubles:
    """Disturbances on the frames: cover colour and share, shake, trust, reasons."""

    cover: FloatArray
    share: FloatArray
    shake: FloatArray
    trust: FloatArray
    reasons: list[tuple[str, ...]]


def _troubles(
    disturbances: tuple[Disturbance, ...], time: FloatArray, view: View, rng: np.random.Generator
) -> _Troubles:
    count = len(time)
    out = _Troubles(
        np.zeros((count, 3)), np.zeros(count), np.zeros(count), np.ones(count), [()] * count
    )
    for item in disturbances:
        trouble = _TROUBLES[item.kind]
        # A swirl calms down over a second after it ended.
        calm = 1.0 if item.kind in ("swirl", "knock") else 0.0
        hit = (time >= item.start_s) & (time <= item.end_s + calm)
        ease = np.clip((item.end_s + calm - time[hit]) / max(calm, 0.3), 0.0, 1.0)
        ease *= np.clip((time[hit] - item.start_s) / 0.3, 0.0, 1.0)
        share = trouble.share * ease * rng.uniform(0.6, 1.2)
        stronger = share > out.share[hit]
        where = np.flatnonzero(hit)
        out.cover[where[stronger]] = trouble.cover
        out.share[hit] = np.minimum(np.maximum(out.share[hit], share), 0.97)
        out.shake[hit] += trouble.shake * ease
        noticed = rng.random(len(where)) >= view.unnoticed
        trust = 1.0 - (1.0 - trouble.trust) * ease * noticed
        out.trust[hit] = np.minimum(out.trust[hit], trust)
        for index in where[trust < 0.98]:
            if trouble.reason not in out.reasons[index]:
                out.reasons[index] = (*out.reasons[index], trouble.reason)
    return out


def _disturbed(
    rgb: FloatArray, trouble: _Troubles, time: FloatArray, view: View, rng: np.random.Generator
) -> FloatArray:
    """Cover part of the liquid, let the white reference walk, shift the exposure."""
    # The robust centre keeps most of a cover out until it is half of what is seen.
    leak = trouble.share**2 / (trouble.share**2 + (1.0 - trouble.share) ** 2)
    mixed = rgb + leak[:, None] * (trouble.cover - rgb)
    gaps = np.diff(time, prepend=0.0)
    steps = rng.standard_normal((len(time), 3)) * np.sqrt(np.maximum(gaps, 0.0) / 60.0)[:, None]
    gain = np.exp(np.cumsum(view.white_drift_per_min * steps, axis=0)) * view.exposure
    return np.asarray(np.clip(mixed * gain, 0.0, 1.0))


def _lab(rgb: FloatArray) -> FloatArray:
    """CIELAB (CIE 15, D65) of linear sRGB, shape (n, 3)."""
    import colour

    matrix = np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return np.asarray(colour.XYZ_to_Lab(rgb @ matrix.T, white))


def _noisy(lab: FloatArray, shake: FloatArray, view: View, rng: np.random.Generator) -> FloatArray:
    from scipy.signal import lfilter

    quick = rng.standard_normal(lab.shape) * (view.noise * (1.0 + shake))[:, None]
    keep = float(np.exp(-1.0 / (view.rate_hz * view.wander_s)))
    fresh = rng.standard_normal(lab.shape) * view.wander * np.sqrt(1.0 - keep**2)
    fresh[0] = view.wander * rng.standard_normal(3)
    slow = lfilter([1.0], [1.0, -keep], fresh, axis=0)
    noisy = lab + quick + slow
    noisy[:, 0] = np.clip(noisy[:, 0], 0.0, 100.0)
    return np.asarray(noisy)


def _observations(
    time: FloatArray, lab: FloatArray, turbidity: FloatArray, trouble: _Troubles, view: View
) -> list[Observation]:
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360.0
    sd = np.hypot(view.noise * (1.0 + trouble.shake), view.wander)
    hue_sd = np.minimum(np.degrees(sd / np.maximum(chroma, 1e-3)), 104.0)  # 104: any direction
    cup = Ellipse(320.0, 240.0, 150.0, 148.0, 0.0)
    columns = zip(
        time.tolist(),
        lab.tolist(),
        hue.tolist(),
        chroma.tolist(),
        hue_sd.tolist(),
        np.clip(turbidity, 0.0, 1.2).tolist(),
        np.clip(trouble.trust, 0.0, 1.0).tolist(),
        trouble.reasons,
        strict=True,
    )
    return [
        Observation(t, l_a_b[0], l_a_b[1], l_a_b[2], h, c, s, cloud, cup, trust, why)
        for t, l_a_b, h, c, s, cloud, trust, why in columns
    ]
