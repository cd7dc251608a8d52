"""What the camera does over time: gains that wander and hunt, flicker, knocks and sway."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.virtual.presets_model import Camera, Light

__all__ = ["Gains", "Shake", "flicker_rows", "moved_ellipse", "shake_margin_px"]

Floats = NDArray[np.float64]
_HUNT_EVERY_S = 14.0


@dataclass(frozen=True)
class _Swing:
    """A slow aperiodic swing between -1 and 1: three sines of unrelated periods."""

    periods_s: tuple[float, float, float]
    phases: tuple[float, float, float]

    @classmethod
    def drawn(cls, rng: np.random.Generator, period_s: float) -> _Swing:
        """Draw one whose slowest swing takes about `period_s`."""
        periods = period_s * np.array([1.0, 0.43, 0.19]) * rng.uniform(0.8, 1.25, 3)
        phases = rng.uniform(0.0, 2.0 * np.pi, 3)
        return cls(tuple(periods.tolist()), tuple(phases.tolist()))

    def at(self, time_s: float) -> float:
        """Return the swing at a time, within -1 to 1."""
        weights = (0.6, 0.28, 0.12)
        return float(
            sum(
                w * np.sin(2.0 * np.pi * time_s / period + phase)
                for w, period, phase in zip(weights, self.periods_s, self.phases, strict=True)
            )
        )


@dataclass(frozen=True)
class _Hunt:
    """Jumps at random moments that ring and settle; -1 to about 1."""

    starts_s: Floats
    sizes: Floats

    @classmethod
    def drawn(cls, rng: np.random.Generator, duration_s: float) -> _Hunt:
        """Draw the moments and sizes of the hunts of a run."""
        count = max(2, int(duration_s / _HUNT_EVERY_S))
        starts = np.sort(rng.uniform(2.0, max(duration_s, 4.0), count))
        return cls(starts, rng.choice([-1.0, 1.0], count) * rng.uniform(0.5, 1.0, count))

    def at(self, time_s: float) -> float:
        """Return the sum of the hunts under way at a time."""
        age = time_s - self.starts_s
        on = age >= 0.0
        age = np.where(on, age, 0.0)
        rise = 1.0 - np.exp(-age / 0.25)
        ring = np.exp(-age / 2.2) * (0.75 + 0.5 * np.cos(2.0 * np.pi * age / 1.1))
        return float(np.sum(np.where(on, self.sizes * rise * ring, 0.0)))


class Gains:
    """Red, green and blue gain of the camera over time, without metering.

    Parameters
    ----------
    camera : Camera
    light : Light
    duration_s : float
    rng : numpy Generator
    """

    def __init__(
        self, camera: Camera, light: Light, duration_s: float, rng: np.random.Generator
    ) -> None:
        self._camera = camera
        self._base = light.level * np.asarray(light.colour) * np.asarray(camera.white_error)
        self._white, self._exposure = _Swing.drawn(rng, 70.0), _Swing.drawn(rng, 45.0)
        self._tint = _Swing.drawn(rng, 55.0)
        self._white_hunt, self._exposure_hunt = (_Hunt.drawn(rng, duration_s) for _ in range(2))

    def at(self, time_s: float) -> Floats:
        """Gains at a moment, shape (3,)."""
        c = self._camera
        warm = c.white_drift * self._white.at(time_s)
        warm += c.white_hunting * self._white_hunt.at(time_s)
        green = 0.3 * c.white_drift * self._tint.at(time_s)
        stops = c.exposure_drift * self._exposure.at(time_s)
        stops += c.exposure_hunting * self._exposure_hunt.at(time_s)
        return np.asarray(self._base * np.exp([stops + warm, stops + green, stops - warm]))


def flicker_rows(light: Light, camera: Camera, time_s: float, rows: int) -> Floats | None:
    """Gain of each row of a rolling shutter under lamps that flicker, or None if steady.

    The exposure time averages the light: what is left of a sine of frequency f over a time T
    is sin(pi f T) / (pi f T) of its depth.
    """
    if light.flicker_hz == 0.0 or light.flicker_depth == 0.0:
        return None
    depth = light.flicker_depth * np.sinc(light.flicker_hz * camera.shutter_s)
    moments = time_s + camera.readout_s * np.arange(rows) / rows
    return np.asarray(1.0 + depth * np.cos(2.0 * np.pi * light.flicker_hz * moments))


def shake_margin_px(camera: Camera, knocks: int, knock_px: float) -> int:
    """Pixels to draw beyond each edge, so that a knocked camera sees bench and not nothing."""
    if knocks == 0 and camera.sway_px == 0.0:
        return 0
    return int(np.ceil(1.8 * knock_px * np.sqrt(knocks) + 1.5 * camera.sway_px)) + 2


class Shake:
    """Movement of the view: knocks with a lasting offset, and the sway of a loose stand.

    Parameters
    ----------
    camera : Camera
    starts_s : sequence of float
        Moments of the knocks.
    knock_px : float
        How far a knock moves the view for good.
    size_px : (width, height)
    rng : numpy Generator
    """

    def __init__(
        self,
        camera: Camera,
        starts_s: Sequence[float],
        knock_px: float,
        size_px: tuple[int, int],
        rng: np.random.Generator,
    ) -> None:
        self._sway = camera.sway_px
        self._swings = [_Swing.drawn(rng, 3.1) for _ in range(3)]
        self._starts = list(starts_s)
        count = len(self._starts)
        way = rng.uniform(0.0, 2.0 * np.pi, count)
        self._steps = knock_px * np.column_stack([np.cos(way), np.sin(way)])
        reach = knock_px / min(size_px)
        self._turns = rng.choice([-1.0, 1.0], count) * 0.8 * reach
        self._zooms = rng.choice([-1.0, 1.0], count) * 0.6 * reach
        self._middle = (np.asarray(size_px) - 1.0) / 2.0

    def matrix(self, time_s: float) -> Floats | None:
        """Affine map from the steady view to the shaken one, shape (2, 3); None if none."""
        began = [k for k, start in enumerate(self._starts) if time_s >= start]
        if not began and self._sway == 0.0:
            return None
        x, y, turn = (self._sway * swing.at(time_s) for swing in self._swings)
        turn, zoom = 0.002 * turn, 1.0
        for k in began:
            age = time_s - self._starts[k]
            level = 1.0 - np.exp(-age / 0.05) + np.exp(-age / 0.4) * np.sin(2 * np.pi * 5.5 * age)
            x += level * self._steps[k, 0]
            y += level * self._steps[k, 1]
            turn += level * self._turns[k]
            zoom += level * self._zooms[k]
        return self._similarity(x, y, turn, zoom)

    def _similarity(self, x: float, y: float, turn: float, zoom: float) -> Floats:
        c, s = zoom * np.cos(turn), zoom * np.sin(turn)
        linear = np.array([[c, -s], [s, c]])
        return np.column_stack([linear, self._middle + np.array([x, y]) - linear @ self._middle])


def moved_ellipse(ellipse: Ellipse, matrix: Floats | None) -> Ellipse:
    """Carry an ellipse through a similarity of the picture."""
    if matrix is None:
        return ellipse
    x, y = matrix[:, :2] @ [ellipse.x_px, ellipse.y_px] + matrix[:, 2]
    zoom = float(np.hypot(matrix[0, 0], matrix[1, 0]))
    turn = float(np.degrees(np.arctan2(matrix[1, 0], matrix[0, 0])))
    return Ellipse(
        float(x), float(y), ellipse.semi_major_px * zoom, ellipse.semi_minor_px * zoom,
        (ellipse.angle_deg + turn) % 180.0,
    )  # fmt: skip
