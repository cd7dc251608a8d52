"""The liquid in the cup: colour, cloud, ground seen through it, plumes, ripples, reflections."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.virtual.cup import CupLayers, CupOutline
from huehold.virtual.scene_ground import noise_tile

__all__ = ["Blob", "LiquidPainter", "LiquidState", "spread"]

Field = NDArray[np.float32]
Floats = NDArray[np.float64]
_COARSE = 4  # plumes are worked out on every fourth pixel


def spread(field: Field) -> Field:
    """Repeat a field of shape (h, w) for the three channels, shape (h, w, 3)."""
    return np.asarray(cv2.merge([field, field, field]), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Blob:
    """Fresh titrant not yet mixed in: place and width in radii of the surface, strength 0 to 1."""

    x: float
    y: float
    width: float
    strength: float


@dataclass(frozen=True, slots=True)
class LiquidState:
    """What the liquid looks like at one moment.

    Attributes
    ----------
    look, plume : ndarray, shape (8,)
        See `Story`.
    blobs : tuple of Blob
    turn_rad : float
        How far the cloud has turned so far.
    ripple_px : float
        Height of the ripples as the shift they give to what is seen through them.
    phase_rad : float
        Phase of the ripples.
    sediment : float
        Share of solid that lies on the bottom, 0 to 1.
    """

    look: Floats
    plume: Floats
    blobs: tuple[Blob, ...]
    turn_rad: float
    ripple_px: float
    phase_rad: float
    sediment: float


class LiquidPainter:
    """Paints the liquid over the window of the cup's layers.

    Parameters
    ----------
    layers : CupLayers
    outline : CupOutline
    under : ndarray, shape (height, width, 3)
        The ground as seen through clear liquid, whole picture.
    pixels_per_cm : float
    rng : numpy Generator
    """

    def __init__(
        self,
        layers: CupLayers,
        outline: CupOutline,
        under: Field,
        pixels_per_cm: float,
        rng: np.random.Generator,
    ) -> None:
        self._per_mm = pixels_per_cm / 10.0
        self._outline = outline
        self._layers = layers
        h, w = layers.shadow.shape
        surface = outline.surface
        self._centre = (surface.x_px - layers.x_px, surface.y_px - layers.y_px)
        self._xs, self._ys = np.meshgrid(
            np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32)
        )
        self._levels_px, self._levels = _blurred(under, layers, surface.semi_major_px)
        size = 256
        broad = noise_tile(rng, size, (9.0, 9.0)) + 0.5 * noise_tile(rng, size, (3.5, 3.5))
        self._cloud = np.asarray(broad / broad.std(), dtype=np.float32)
        self._heap = np.clip(noise_tile(rng, size, (16.0, 16.0)) + 0.2, 0, 2).astype(np.float32)
        self._seen_aside = float(layers.optics[..., 1].max()) > 0.05
        self._waves = self._wave_phases(surface.semi_major_px)

    def _wave_phases(self, radius_px: float) -> tuple[Field, Field]:
        dx, dy = self._xs - self._centre[0], self._ys - self._centre[1]
        wave = 2.0 * np.pi / (0.42 * radius_px)
        ring = np.hypot(dx - 0.2 * radius_px, dy + 0.1 * radius_px) * wave
        slant = (0.8 * dx + 0.6 * dy) * wave * 1.37
        return ring.astype(np.float32), slant.astype(np.float32)

    def paint(self, state: LiquidState, optics: Field, shift: tuple[float, float]) -> Field:
        """Colour of every pixel of the window as if it were all liquid.

        Parameters
        ----------
        state : LiquidState
        optics : ndarray, shape (h, w, 4)
            The layer of that name, already moved by `shift`.
        shift : (x, y)
            Where the cup stands now against its first place, pixels.

        Returns
        -------
        ndarray of float32, shape (h, w, 3)
        """
        ground = self._ground(state, optics)
        path = np.ascontiguousarray(optics[..., 2])
        mix = self._mix(state, shift)
        # Thin layers at the wall scatter less, but never much less than the eye expects.
        share = (0.45 + 0.55 * np.minimum(path, 1.0)) * self._cloudiness(state, shift)
        veil = _blend(np.asarray(share, dtype=np.float32), state.look[:3], state.plume[:3], mix)
        depth = _blend(path, _log(state.look[3:6]), _log(state.plume[3:6]), mix)
        through = cv2.multiply(cv2.exp(depth), ground)
        return np.asarray(cv2.add(through, veil), dtype=np.float32)

    def glint(self, state: LiquidState, shift: tuple[float, float]) -> Field:
        """Reflections on the surface, torn by ripples, shape (h, w)."""
        map_x, map_y = self._rippled(7.0 * state.ripple_px, state.phase_rad)
        map_x = map_x - np.float32(shift[0])
        map_y = map_y - np.float32(shift[1])
        return np.asarray(cv2.remap(self._layers.glint, map_x, map_y, cv2.INTER_LINEAR))

    def _rippled(self, amplitude_px: float, phase: float) -> tuple[Field, Field]:
        if amplitude_px < 0.05:
            return self._xs, self._ys
        ring, slant = self._waves
        size = np.float32(amplitude_px)
        across = size * np.sin(ring - np.float32(phase))
        along = size * np.sin(slant + np.float32(0.7 * phase))
        return self._xs + across + 0.4 * along, self._ys + along - 0.3 * across

    def _ground(self, state: LiquidState, optics: Field) -> Field:
        """Return the ground behind: sharp share plus blurred share, bent by ripples."""
        sharp = float(state.look[6])
        ground = sharp * self._levels[0] + (1.0 - sharp) * self._at_blur(float(state.look[7]))
        if state.ripple_px >= 0.05:
            maps = self._rippled(state.ripple_px, state.phase_rad)
            ground = cv2.remap(ground, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
        if self._seen_aside:
            ground += spread(optics[..., 1]) * (self._levels[3] - ground)
        return np.asarray(cv2.multiply(ground, spread(optics[..., 3])), dtype=np.float32)

    def _at_blur(self, blur_mm: float) -> Field:
        sigma = blur_mm * self._per_mm
        k = int(np.clip(np.searchsorted(self._levels_px, sigma), 1, len(self._levels) - 1))
        low, high = self._levels_px[k - 1], self._levels_px[k]
        f = float(np.clip((sigma - low) / (high - low), 0.0, 1.0))
        return np.asarray((1.0 - f) * self._levels[k - 1] + f * self._levels[k])

    def _mix(self, state: LiquidState, shift: tuple[float, float]) -> Field | None:
        """Share of fresh titrant over the window, or None if it is mixed in."""
        blobs = [b for b in state.blobs if b.strength > 0.01]
        if not blobs:
            return None
        surface = self._outline.surface
        xs, ys = self._xs[::_COARSE, ::_COARSE], self._ys[::_COARSE, ::_COARSE]
        u = (xs - self._centre[0] - shift[0]) / surface.semi_major_px
        v = (ys - self._centre[1] - shift[1]) / surface.semi_minor_px
        cloud = self._turned(self._cloud, state.turn_rad, shift)[::_COARSE, ::_COARSE]
        swirl = np.maximum(1.0 + 0.35 * cloud, 0.3)
        total = np.zeros_like(u)
        for blob in blobs:
            away = ((u - blob.x) ** 2 + (v - blob.y) ** 2) / (2.0 * blob.width**2)
            total += np.float32(blob.strength) * np.exp(-away * swirl)
        h, w = self._xs.shape
        return np.asarray(cv2.resize(np.minimum(total, 1.0), (w, h)), dtype=np.float32)

    def _cloudiness(self, state: LiquidState, shift: tuple[float, float]) -> Field:
        strength = 0.055 * (1.0 - float(state.look[6]))
        cloud = 1.0 + strength * self._turned(self._cloud, state.turn_rad, shift)
        if state.sediment > 0.01:
            heap = self._turned(self._heap, 0.15 * state.turn_rad, shift)
            cloud = cloud * (1.0 + 0.22 * state.sediment * heap)
        return np.asarray(cloud, dtype=np.float32)

    def _turned(self, tile: Field, turn_rad: float, shift: tuple[float, float]) -> Field:
        """Turn a tile about the middle of the cup, over the window."""
        c, s = np.cos(turn_rad), np.sin(turn_rad)
        cx, cy = self._centre[0] + shift[0], self._centre[1] + shift[1]
        unit = 110.0 / self._outline.surface.semi_major_px  # tile pixels per pixel
        turn = np.array([[c, s], [-s, c]]) * unit
        middle = np.array([128.0, 128.0]) - turn @ [cx, cy]
        h, w = self._xs.shape
        return np.asarray(
            cv2.warpAffine(
                tile, np.column_stack([turn, middle]), (w, h),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REFLECT,
            )
        )  # fmt: skip


def _log(through: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(through, 1e-6)))


def _blend(field: Field, bulk: Floats, fresh: Floats, mix: Field | None) -> Field:
    """Spread a colour over a field, turning to another where fresh titrant is mixed in.

    Channel by channel: much quicker than broadcasting over a last axis of three.
    """
    if mix is None:
        channels = [field * np.float32(b) for b in bulk]
    else:
        channels = [
            field * (np.float32(b) + mix * np.float32(f - b))
            for b, f in zip(bulk, fresh, strict=True)
        ]
    return np.asarray(cv2.merge(channels), dtype=np.float32)


def _blurred(under: Field, layers: CupLayers, radius_px: float) -> tuple[list[float], list[Field]]:
    """Blur the ground over the window more and more."""
    sigmas = [0.0, *(radius_px * f for f in (0.015, 0.03, 0.06, 0.12, 0.25, 0.5))]
    levels = [under]
    for sigma in sigmas[1:]:
        levels.append(_soft(under, sigma))
    return sigmas, [np.ascontiguousarray(level[layers.window]) for level in levels]


def _soft(image: Field, sigma: float) -> Field:
    """Gaussian blur; wide ones on a reduced picture."""
    if sigma < 6.0:
        return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma))
    h, w = image.shape[:2]
    small = cv2.resize(image, (max(1, w // 4), max(1, h // 4)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / 4.0)
    return np.asarray(cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR))
