"""One frame to one observation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse, Frame, Observation, Rect
from huehold.errors import InputError
from huehold.vision.colour import LabColour, lab_with_uncertainty
from huehold.vision.condition import Condition
from huehold.vision.geometry import half_extent, resized, resized_rect
from huehold.vision.guide import Guidance, Guide
from huehold.vision.keeping import Holding, VesselKeeper
from huehold.vision.liquid import Liquid, measure_liquid, strip_of
from huehold.vision.picture import Patch, WorkPicture, cut, reduce_frame
from huehold.vision.surroundings import Around, Surroundings
from huehold.vision.trust import weigh
from huehold.vision.turbidity import TurbidityScale
from huehold.vision.white import White, WhiteKeeper, find_white

__all__ = ["Observer", "Sight"]

_PATCH_PX = 96  # samples across the vessel
_WHITE_SEARCH_S = 1.0
_COVERED = 0.10  # share of the ring around the vessel that tells a hand


Correction = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Sight:
    """How the last observation came about, for `huehold.vision.draw`.

    Attributes
    ----------
    white : White or None
        The white that was used.
    patch : Patch or None
        Samples around the vessel.
    liquid : Liquid or None
        What was made of them.
    """

    white: White | None = None
    patch: Patch | None = None
    liquid: Liquid | None = None


class Observer:
    """Watch one run: frames in time order, one observation each.

    Parameters
    ----------
    vessel : Ellipse or None
        Outline of the liquid in pixels of the frames; found in the picture when None.
    white : Rect or None
        A white or grey patch in pixels of the frames; found, or assumed, when None.
    guide : Guide or None
        Knows something in the picture, such as a printed card; see `huehold.vision.guide`.
    correction : callable or None
        A calibration of this camera: from linear red, green, blue against the white, and that
        white, each of shape (3,), to what a camera that keeps to sRGB would have given.

    Notes
    -----
    Work and memory per frame do not depend on how long the run is. The same frames give
    the same observations.
    """

    def __init__(
        self,
        vessel: Ellipse | None = None,
        white: Rect | None = None,
        *,
        guide: Guide | None = None,
        correction: Correction | None = None,
    ) -> None:
        _check_given(vessel, white)
        self._guide, self._correction = guide, correction
        self._given = vessel
        self._keeper: VesselKeeper | None = None
        self._surroundings = Surroundings()
        self._white = WhiteKeeper(white)
        self._white_search_s = self._measured_s = -np.inf
        self._turbidity = TurbidityScale()
        self._condition = Condition()
        self._covered = False
        self._sight = Sight()
        self._shape: tuple[int, ...] | None = None

    @property
    def sight(self) -> Sight:
        """How the last observation came about."""
        return self._sight

    def place_vessel(self, vessel: Ellipse | None) -> None:
        """Take the user's word on where the vessel is; None lets it be found anew.

        The scale of turbidity goes on: it is the same liquid.

        Raises
        ------
        InputError
            If the outline makes no sense or lies outside the picture.
        """
        _check_given(vessel, None)
        if self._shape is not None:
            _check_inside(self._shape, vessel, None)
        self._given, self._shape, self._covered = vessel, None, False
        self._surroundings = Surroundings()

    def place_white(self, white: Rect | None) -> None:
        """Take the user's word on where the white patch is; None lets it be found anew.

        Raises
        ------
        InputError
            If the patch makes no sense or reaches outside the picture.
        """
        _check_given(None, white)
        if self._shape is not None:
            _check_inside(self._shape, None, white)
        self._white = WhiteKeeper(white)
        self._white_search_s = -np.inf

    @property
    def turbidity_basis(self) -> str:
        """What turbidity was last read from; see `TurbidityScale.basis`."""
        return self._turbidity.basis

    def observe(self, frame: Frame) -> Observation:
        """Measure the next frame.

        Parameters
        ----------
        frame : Frame
            Later than the one before.

        Returns
        -------
        Observation
            Numbers are NaN and trust is 0 where there is no vessel.

        Raises
        ------
        InputError
            If the picture is not 8-bit RGB, or a given vessel or patch lies outside it.
        """
        work = reduce_frame(frame)
        self._begin(frame, work)
        assert self._keeper is not None
        guidance = self._guide.look(frame) if self._guide is not None else None
        if guidance is not None and guidance.place is not None:
            self._keeper.expect(resized(guidance.place, 1.0 / work.scale))
        held = self._keeper.look(work.image, frame.time_s, covered=self._covered)
        if held.ellipse is None:
            return self._nothing(frame, work, held)
        around = self._surroundings.look(work.image, held.ellipse, frame.time_s)
        self._follow_knock(around, work.scale)
        white = self._guided_white(guidance, around, held.ellipse, work.scale)
        if white is None:
            self._seek_white(frame, work, held.ellipse)
            white = self._white_at(frame, around, held.ellipse, work.scale)
        vessel = resized(held.ellipse, work.scale)
        patch = cut(frame.image, vessel, 1.0, _PATCH_PX)
        liquid = measure_liquid(patch, vessel)
        self._sight = Sight(white, patch, liquid)
        self._covered = around.near_changed > _COVERED
        if liquid is None:
            return self._nothing(frame, work, held)
        return self._report(frame, work, held, around, white, patch, liquid)

    def _white_at(self, frame: Frame, around: Around, vessel: Ellipse, scale: float) -> White:
        """Look at the white, brought to the light of the rows the liquid lies in."""
        rect = self._white.rect
        here = around.band(vessel.y_px, 0.7 * half_extent(vessel)[1])
        there = here
        if rect is not None:
            half = 0.5 * rect.height_px / scale
            there = around.band(rect.y_px / scale + half, half)
        white = self._white.look(frame.image, around.gain * there, around.gain_known)
        return replace(white, linear=white.linear * (here / there))

    def _guided_white(
        self, guidance: Guidance | None, around: Around, vessel: Ellipse, scale: float
    ) -> White | None:
        """White as the guide says, brought to the light of the rows the liquid lies in."""
        if guidance is None or guidance.white is None or self._white.given:
            return None
        here = around.band(vessel.y_px, 0.7 * half_extent(vessel)[1])
        there = here
        if (extent := guidance.extent) is not None:
            half = 0.5 * extent.height_px / scale
            there = around.band(extent.y_px / scale + half, half)
        white = self._white.take(
            guidance.white, guidance.white_rel_sd, guidance.extent, around.gain * there
        )
        return replace(white, linear=white.linear * (here / there))

    def _begin(self, frame: Frame, work: WorkPicture) -> None:
        if self._shape == frame.image.shape:
            return
        _check_inside(frame.image.shape, self._given, self._white.rect)
        self._shape = frame.image.shape
        given = None if self._given is None else resized(self._given, 1.0 / work.scale)
        self._keeper = VesselKeeper(given)

    def _follow_knock(self, around: Around, scale: float) -> None:
        dx, dy = around.shift_px
        if dx or dy:
            self._white.shift(dx * scale, dy * scale)

    def _seek_white(self, frame: Frame, work: WorkPicture, vessel: Ellipse) -> None:
        due = frame.time_s - self._white_search_s >= _WHITE_SEARCH_S
        if not (due and self._white.searching) or self._covered:
            return
        self._white_search_s = frame.time_s
        rect = find_white(work.image, vessel)
        if rect is not None:
            self._white.adopt(resized_rect(rect, work.scale))

    def _nothing(self, frame: Frame, work: WorkPicture, held: Holding) -> Observation:
        self._sight = Sight()
        severities = {"vessel_lost" if held.state == "lost" else "no_vessel": 1.0}
        severities |= self._condition.of_picture(frame.time_s, work.image)
        _, reasons = weigh(severities)
        nan = float("nan")
        return Observation(frame.time_s, nan, nan, nan, nan, nan, nan, nan, None, 0.0, reasons)

    def _report(
        self, frame: Frame, work: WorkPicture, held: Holding, around: Around, white: White,
        patch: Patch, liquid: Liquid,
    ) -> Observation:  # fmt: skip
        assert held.ellipse is not None
        vessel = resized(held.ellipse, work.scale)
        severities = self._condition.of_picture(frame.time_s, work.image)
        severities |= self._condition.of_measure(frame.time_s, held, around, white, liquid)
        trust, reasons = weigh(severities)
        colour = _colour(liquid, white, self._correction)
        passed_s = min(frame.time_s - self._measured_s, 10.0)
        self._measured_s = frame.time_s
        cloudy = self._turbidity.update(
            patch, vessel, white.linear, sound=trust > 0.6, passed_s=passed_s
        )
        return Observation(
            frame.time_s, colour.lightness, colour.a, colour.b, colour.hue_deg, colour.chroma,
            colour.hue_sd_deg, cloudy, vessel, trust,
            reasons, strip_of(patch, vessel),
        )  # fmt: skip


def _colour(liquid: Liquid, white: White, correction: Correction | None) -> LabColour:
    level = np.maximum(white.linear, 1e-3)
    linear, deviation = liquid.linear, liquid.linear_sd
    if correction is not None:
        ratio = np.maximum(linear / level, 1e-4)
        change = correction(ratio, level) / ratio
        linear, deviation = linear * change, deviation * np.maximum(change, 1.0)
    return lab_with_uncertainty(linear, level, linear_sd=deviation, white_rel_sd=white.rel_sd)


def _check_given(vessel: Ellipse | None, white: Rect | None) -> None:
    if vessel is not None:
        numbers = (vessel.x_px, vessel.y_px, vessel.semi_major_px, vessel.semi_minor_px)
        if not np.all(np.isfinite([*numbers, vessel.angle_deg])) or min(numbers[2:]) < 2.0:
            raise InputError(
                f"The vessel given as {vessel} makes no sense; give a centre and a radius of at "
                "least 2 pixels."
            )
    if white is not None:
        sides = (white.x_px, white.y_px, white.width_px, white.height_px)
        if not np.all(np.isfinite(sides)) or min(sides[2:]) < 2.0:
            raise InputError(
                f"The white patch given as {white} makes no sense; give left, top, width and "
                "height of at least 2 pixels."
            )


def _check_inside(shape: tuple[int, ...], vessel: Ellipse | None, white: Rect | None) -> None:
    height, width = shape[:2]
    if vessel is not None and not (0 <= vessel.x_px < width and 0 <= vessel.y_px < height):
        raise InputError(
            f"The vessel's centre ({vessel.x_px:g}, {vessel.y_px:g}) lies outside the picture of "
            f"{width} x {height} pixels; give it in pixels of the recording."
        )
    if white is not None and not (
        white.x_px >= 0 and white.y_px >= 0
        and white.x_px + white.width_px <= width and white.y_px + white.height_px <= height
    ):  # fmt: skip
        raise InputError(
            f"The white patch {white} reaches outside the picture of {width} x {height} pixels; "
            "give it in pixels of the recording."
        )
