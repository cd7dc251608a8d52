"""The whole bench in linear light: everything that stands, moves and is poured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from huehold.core import Ellipse
from huehold.virtual.camera_faults import shake_margin_px
from huehold.virtual.cup import build_layers, outline_cup, raised_cm
from huehold.virtual.cup_liquid import LiquidPainter, LiquidState, spread
from huehold.virtual.cup_moved import MovedLayers
from huehold.virtual.display_placed import PlacedDisplay
from huehold.virtual.presets import Scenario
from huehold.virtual.scene_ground import paint_bench, standing_cm
from huehold.virtual.scene_hands import Sprite, hand_sprite, lay_over
from huehold.virtual.scene_motion import Motion, Pose, active_blobs, poses, stray_acts
from huehold.virtual.scene_view import View, place_view
from huehold.virtual.simulate_story import Story

__all__ = ["Scene", "scene_view"]

Field = NDArray[np.float32]
_HAND_SCALE = 1.22  # hands are nearer the lens than the table


def scene_view(scenario: Scenario, margin_px: int = 0) -> View:
    """Place the scenario's camera over its bench, seeing a margin more on each side."""
    sight, cup = scenario.sight, scenario.cup
    height = standing_cm(scenario.balance) + max(cup.liquid_cm, 0.2)
    short = min(sight.width_px, sight.height_px)
    return place_view(
        (sight.width_px + 2 * margin_px, sight.height_px + 2 * margin_px),
        tilt_deg=sight.tilt_deg,
        roll_deg=sight.roll_deg,
        cup_px=sight.cup_fraction * short,
        cup_radius_cm=cup.radius_cm,
        target_cm=(0.0, 0.0, height),
        offset_px=(sight.right * sight.width_px, sight.down * sight.height_px),
    )


class Scene:
    """A bench that can be drawn at any moment of its story.

    Parameters
    ----------
    scenario : Scenario
    story : Story

    Notes
    -----
    Linear light, 1 is a perfect white diffuser under the scene's light; mirrored light may
    exceed it. The same scenario and story always give the same picture.
    """

    def __init__(self, scenario: Scenario, story: Story) -> None:
        self.scenario = scenario
        self.story = story = replace(
            story, acts=story.acts + stray_acts(story, scenario.people, scenario.faults)
        )
        knocks = sum(act.kind == "knock" for act in story.acts)
        self._margin = shake_margin_px(scenario.camera, knocks, scenario.faults.knock_px)
        self.view = view = scene_view(scenario, self._margin)
        cup = scenario.cup
        self._stand_cm = stand = standing_cm(scenario.balance)
        self._scale = view.pixels_per_cm(stand + cup.liquid_cm)
        self.bench, self.under = paint_bench(
            view, scenario.ground, scenario.card, scenario.balance,
            raised_cm(cup) if cup.kind != "none" else 0.0, self._rng(1),
        )  # fmt: skip
        self._motion = Motion(story, scenario.faults, self._rng(2))
        self._display = PlacedDisplay(view, scenario.balance) if scenario.balance.shown else None
        self._hands = {
            held: hand_sprite(
                self._scale * _HAND_SCALE, scenario.people.skin, scenario.people.sleeve,
                dropper=held, rng=self._rng(3),
            )
            for held in (False, True)
        }  # fmt: skip
        if cup.kind != "none":
            self._set_cup()

    def _rng(self, part: int) -> np.random.Generator:
        return np.random.default_rng([self.scenario.seed, part])

    def _set_cup(self) -> None:
        cup = self.scenario.cup
        self.outline = outline_cup(self.view, cup, self._stand_cm)
        self._layers = build_layers(
            self.view, cup, self.outline, self._rng(4),
            highlights=self.scenario.light.highlights, pad_px=int(1.6 * self._scale) + 4,
        )  # fmt: skip
        self._liquid = LiquidPainter(
            self._layers, self.outline, self.under, self._scale, self._rng(5)
        )
        self._moved = MovedLayers(self._layers)

    def shift_px(self, time_s: float) -> tuple[float, float]:
        """How far the cup stands from its first place, in pixels of the unshaken view."""
        x, y = self._motion.place_cm(time_s)
        z = self._stand_cm + max(self.scenario.cup.liquid_cm, 0.2)
        ends = self.view.project(np.array([[0.0, 0.0, z], [x, y, z]]))
        return float(ends[1, 0] - ends[0, 0]), float(ends[1, 1] - ends[0, 1])

    def vessel(self, time_s: float) -> Ellipse | None:
        """Outline of the liquid (of the bottom of an empty cup) at a moment, or None."""
        if self.scenario.cup.kind == "none":
            return None
        dx, dy = self.shift_px(time_s)
        surface = self.outline.surface
        dx, dy = dx - self._margin, dy - self._margin
        return replace(surface, x_px=surface.x_px + dx, y_px=surface.y_px + dy)

    def draw(self, time_s: float, shown_g: float = 0.0) -> Field:
        """Draw the bench.

        Parameters
        ----------
        time_s : float
        shown_g : float
            What the balance shows.

        Returns
        -------
        ndarray of float32, shape (height_px + 2 m, width_px + 2 m, 3)
            With a margin m on each side where the camera may be knocked, else 0.
        """
        picture = self.bench.copy()
        if self._display is not None:
            self._display.lay(picture, shown_g)
        if self.scenario.cup.kind != "none":
            self._lay_cup(picture, time_s)
            self._lay_glare(picture, time_s)
        self._lay_hands(picture, time_s)
        return picture

    def _lay_cup(self, picture: Field, time_s: float) -> None:
        shift = self.shift_px(time_s)
        moved = self._moved.at(shift)
        part = picture[self._layers.window]
        part *= moved.shadow
        shine = moved.shine
        if self.scenario.cup.liquid_cm > 0:
            state = self._liquid_state(time_s)
            liquid = self._liquid.paint(state, moved.optics, shift)
            liquid -= part
            liquid *= moved.wet
            part += liquid
            shine = shine + self._liquid.glint(state, shift)
        part *= moved.wall
        part += spread(shine)

    def _lay_glare(self, picture: Field, time_s: float) -> None:
        """Add a broad reflection, as of a door that opens, over part of the liquid."""
        level = self.story.during("glare", time_s, ease_s=0.4)
        if level > 0.0:
            surface = self.outline.surface
            part = picture[self._layers.window]
            h, w = part.shape[:2]
            y, x = np.ogrid[:h, :w]
            reach = 0.6 * surface.semi_major_px
            u = (x - (surface.x_px - self._layers.x_px) - 0.3 * reach) / reach
            v = (y - (surface.y_px - self._layers.y_px) + 0.4 * reach) / (0.6 * reach)
            part += np.float32(1.6 * level) * np.exp(-(u * u + v * v)).astype(np.float32)[..., None]

    def ground_mean(self) -> NDArray[np.float64] | None:
        """Mean linear colour of the ground behind the liquid, shape (3,), or None."""
        if self.scenario.cup.kind == "none":
            return None
        wet = self._layers.optics
        weight = wet[..., 0] * (1.0 - wet[..., 1])
        behind = self.under[self._layers.window] * wet[..., 3:4]
        return np.asarray((behind * weight[..., None]).sum(axis=(0, 1)) / max(weight.sum(), 1e-9))

    def _liquid_state(self, time_s: float) -> LiquidState:
        story, motion = self.story, self._motion
        look, plume = story.at(time_s)
        left = float(np.interp(time_s, story.time_s, story.undissolved))
        settled = min(1.0, motion.since_stir_s(time_s) / 30.0) * min(1.0, 4.0 * left)
        return LiquidState(
            look=look,
            plume=plume,
            blobs=active_blobs(story, motion, time_s),
            turn_rad=motion.spin_rad(time_s),
            ripple_px=motion.ripple(time_s) * 0.022 * self.outline.surface.semi_major_px,
            phase_rad=11.0 * time_s,
            sediment=settled,
        )

    def _lay_hands(self, picture: Field, time_s: float) -> None:
        place = self._motion.place_cm(time_s)
        cup = self.scenario.cup
        for pose in poses(self.story.acts, time_s, self.scenario.people, place, cup.radius_cm):
            self._lay_hand(picture, pose)

    def _lay_hand(self, picture: Field, pose: Pose) -> None:
        z = self._stand_cm + self.scenario.cup.height_cm
        toward = np.radians(pose.arm_deg)
        tip = np.array([pose.x_cm, pose.y_cm, z])
        points = np.vstack([tip, tip + np.array([np.cos(toward), np.sin(toward), 0.0])])
        ends = self.view.project(points)
        turn = float(np.arctan2(ends[1, 1] - ends[0, 1], ends[1, 0] - ends[0, 0]))
        sprite: Sprite = self._hands[pose.dropper]
        lay_over(picture, sprite, (float(ends[0, 0]), float(ends[0, 1])), turn, mirror=pose.mirror)
