"""The camera: from linear light to encoded pixels."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.virtual.camera_faults import Gains, Shake, flicker_rows, moved_ellipse
from huehold.virtual.presets import Scenario
from huehold.virtual.simulate_story import Story

__all__ = ["CameraModel", "tone_table"]

Field = NDArray[np.float32]
Floats = NDArray[np.float64]
_STEPS = 16384  # entries of the tone table
_FOLLOW_S = 0.8  # time constant of the automatics
_REC709_LUMA = np.array([0.2126, 0.7152, 0.0722])


def tone_table(contrast: float, levels: int) -> NDArray[np.uint16]:
    """Table from linear light (0 to 1 in equal steps) to coded values.

    The sRGB transfer function (IEC 61966-2-1), then an S shape as phones add it.

    Parameters
    ----------
    contrast : float
        0 leaves sRGB, 1 is a full smoothstep.
    levels : int
        Number of coded values, 256 or 1024.
    """
    x = np.arange(_STEPS) / (_STEPS - 1)
    coded = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
    bent = coded * coded * (3.0 - 2.0 * coded)
    mixed = (1.0 - 0.5 * contrast) * coded + 0.5 * contrast * bent
    return np.round(mixed * (levels - 1)).astype(np.uint16)


class CameraModel:
    """Exposes linear pictures in time order.

    Parameters
    ----------
    scenario : Scenario
    story : Story
        Its length, the moment faults are counted from, and its dark spells.

    Notes
    -----
    Automatic exposure and white balance remember the last frames: call `expose` in time order.
    """

    def __init__(self, scenario: Scenario, story: Story) -> None:
        self._scenario, self._story = scenario, story
        rng = np.random.default_rng([scenario.seed, 11])
        size = (scenario.sight.width_px, scenario.sight.height_px)
        self._gains = Gains(scenario.camera, scenario.light, story.duration_s, rng)
        knocks = [act.start_s for act in story.acts if act.kind == "knock"]
        self._shake = Shake(scenario.camera, knocks, scenario.faults.knock_px, size, rng)
        self._field = _light_field(scenario, rng)
        self._noise = _noise_bank(size, rng)
        self._rng = np.random.default_rng([scenario.seed, 12])
        levels = 256 if scenario.recording.bits == 8 else 1024
        table = tone_table(scenario.camera.contrast, levels)
        self._table = table.astype(np.uint8) if levels == 256 else table * 64
        self._metered = np.ones(3)
        self._before_s: float | None = None
        self._anchor_means: Floats | None = None

    def vessel(self, ellipse: Ellipse, time_s: float) -> Ellipse:
        """Where the shaken camera sees an ellipse of the steady view."""
        return moved_ellipse(ellipse, self._shake.matrix(time_s))

    def expose(self, scene: Field, time_s: float) -> NDArray[np.uint8] | NDArray[np.uint16]:
        """Turn linear light into a picture.

        Parameters
        ----------
        scene : ndarray of float32, shape (height_px + 2 m, width_px + 2 m, 3)
            With any margin m; may be changed.
        time_s : float

        Returns
        -------
        ndarray, shape (height_px, width_px, 3)
            uint8 sRGB-like values, or uint16 (ten bits, times 64) for ten-bit recordings.
        """
        camera = self._scenario.camera
        scene = self._framed(scene, self._shake.matrix(time_s))
        colour = self._colour_matrix(scene, time_s)
        light = cv2.multiply(scene, self._rows(time_s))
        light = cv2.transform(light, colour.astype(np.float32))
        if camera.blur_px > 0.15:
            light = cv2.GaussianBlur(light, (0, 0), camera.blur_px)
        return self._develop(self._noisy(np.asarray(light)))

    def _framed(self, scene: Field, matrix: Floats | None) -> Field:
        """Cut the picture out of a scene drawn with a margin, as the shaken camera sees it."""
        h, w = self._field.shape[:2]
        margin = (scene.shape[1] - w) // 2
        if matrix is None:
            return scene[margin : margin + h, margin : margin + w]
        from_margin = matrix.copy()
        from_margin[:, 2] -= matrix[:, :2] @ [margin, margin]
        return np.asarray(
            cv2.warpAffine(scene, from_margin, (w, h), borderMode=cv2.BORDER_REFLECT),
            dtype=np.float32,
        )

    def _rows(self, time_s: float) -> Field:
        rows = flicker_rows(
            self._scenario.light, self._scenario.camera, time_s, self._field.shape[0]
        )
        if rows is None:
            return self._field
        # Over flat rows: broadcasting along a last axis of three is many times slower.
        flat = self._field.reshape(len(rows), -1) * rows.astype(np.float32)[:, None]
        return np.asarray(flat.reshape(self._field.shape))

    def _colour_matrix(self, scene: Field, time_s: float) -> Floats:
        gains = self._gains.at(time_s) * self._follow(scene, time_s)
        gains = gains * (1.0 - 0.85 * self._story.during("dark", time_s, ease_s=0.3))
        amount = self._scenario.camera.saturation
        mix = amount * np.eye(3) + (1.0 - amount) * np.tile(_REC709_LUMA, (3, 1))
        return np.asarray(mix * gains)

    def _follow(self, scene: Field, time_s: float) -> Floats:
        """Gains of automatic exposure and white balance that answer to the scene itself."""
        camera = self._scenario.camera
        means = np.asarray(cv2.mean(scene[::8, ::8])[:3])
        if self._anchor_means is None:
            self._anchor_means = means
        change = np.maximum(means, 1e-4) / np.maximum(self._anchor_means, 1e-4)
        grey = float(change @ _REC709_LUMA)
        wanted = grey**-camera.exposure_metering * (change / grey) ** -camera.white_metering
        step_s = 0.0 if self._before_s is None else time_s - self._before_s
        self._before_s = time_s
        share = 1.0 - float(np.exp(-step_s / _FOLLOW_S))
        self._metered = self._metered + share * (wanted - self._metered)
        return self._metered

    def _noisy(self, light: Field) -> Field:
        camera = self._scenario.camera
        h, w = light.shape[:2]
        oy, ox = (
            self._rng.integers(0, self._noise.shape[0] - h),
            self._rng.integers(0, self._noise.shape[1] - w),
        )
        noise = self._noise[oy : oy + h, ox : ox + w]
        variance = np.maximum(light, 0.0)
        variance *= np.float32(camera.shot_noise**2)
        variance += np.float32(camera.read_noise**2)
        return np.asarray(cv2.add(light, cv2.multiply(cv2.sqrt(variance), noise)))

    def _develop(self, light: Field) -> NDArray[np.uint8] | NDArray[np.uint16]:
        light *= np.float32(_STEPS - 1)
        index = np.clip(light, 0, _STEPS - 1, out=light).astype(np.uint16)
        return np.asarray(np.take(self._table, index))


def _light_field(scenario: Scenario, rng: np.random.Generator) -> Field:
    """Vignette and uneven light over the picture, shape (h, w, 3), 1 in the middle."""
    w, h = scenario.sight.width_px, scenario.sight.height_px
    u, v = np.meshgrid(np.linspace(-1, 1, w), np.linspace(-1, 1, h))
    corner = 1.0 - scenario.camera.vignette * 0.5 * (u * u + v * v)
    way = rng.uniform(0.0, 2.0 * np.pi)
    slope = 1.0 + 0.5 * scenario.light.gradient * (np.cos(way) * u + np.sin(way) * v)
    return np.repeat((corner * slope).astype(np.float32)[..., None], 3, axis=2)


def _noise_bank(size: tuple[int, int], rng: np.random.Generator) -> Field:
    """Noise of standard deviation 1 with the short correlation that demosaicing leaves."""
    w, h = size
    raw = rng.standard_normal((h + 97, w + 131, 3), dtype=np.float32)
    soft = cv2.GaussianBlur(raw, (0, 0), 0.55)
    return np.asarray(soft / soft.std(), dtype=np.float32)
