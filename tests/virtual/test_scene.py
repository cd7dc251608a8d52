"""The view, the cup, the liquid and the hands, in linear light."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from huehold.core import Ellipse
from huehold.virtual.presets import Scenario
from huehold.virtual.presets_model import BalanceOn, Cup, Ground, Light, People, Sight
from huehold.virtual.scene import Scene
from huehold.virtual.scene_view import ellipse_distance_px, pixel_grid, place_view
from huehold.virtual.simulate_story import Act, Portion, Story

_ORANGE = [0.50, 0.16, 0.05, 0.02, 0.01, 0.01, 0.0, 20.0]
_GREEN = [0.01, 0.02, 0.01, 0.15, 0.55, 0.08, 1.0, 0.0]
_SMALL = {"width_px": 200, "height_px": 150}


def story(*, look=(_ORANGE, _GREEN), portions=(), acts=(), length=20.0) -> Story:
    """Turn from the first look to the second in the middle of the run."""
    time = np.array([0.0, 0.5 * length, 0.5 * length + 0.1, length])
    first, second = (np.array(each, dtype=float) for each in look)
    looks = np.vstack([first, first, second, second])
    plume = np.tile(np.array(_GREEN), (4, 1))
    left = np.array([0.5, 0.5, 0.0, 0.0])
    return Story(
        time, np.array([10.0, 10.0, 6.0, 6.0]), left, np.zeros(4), looks, plume,
        portions=portions, acts=acts, onset_s=0.5 * length,
    )  # fmt: skip


def scenario(**changes) -> Scenario:
    base = {
        "sight": Sight(**_SMALL),
        "light": Light(highlights=0.0),
        "cup": Cup(bubbles=0),
        "balance": BalanceOn(shown=False),
    }
    return Scenario(**{**base, **changes})


def middle(picture, ellipse: Ellipse, share: float = 0.45):
    """Median colour of the inner part of an ellipse."""
    xs, ys = pixel_grid(picture.shape[1], picture.shape[0])
    inner = replace(
        ellipse,
        semi_major_px=share * ellipse.semi_major_px,
        semi_minor_px=share * ellipse.semi_minor_px,
    )
    return np.median(picture[ellipse_distance_px(inner, xs, ys) < 0], axis=0)


def on_ellipse(points, ellipse: Ellipse):
    """Value of the ellipse's equation at points; 1 on it."""
    angle = np.radians(ellipse.angle_deg)
    dx, dy = points[:, 0] - ellipse.x_px, points[:, 1] - ellipse.y_px
    u = (np.cos(angle) * dx + np.sin(angle) * dy) / ellipse.semi_major_px
    v = (np.cos(angle) * dy - np.sin(angle) * dx) / ellipse.semi_minor_px
    return np.hypot(u, v)


@settings(max_examples=40, deadline=None)
@given(tilt=st.floats(0.5, 45.0), roll=st.floats(-170.0, 170.0), z=st.floats(0.0, 8.0))
def test_circle_projects_to_the_ellipse_its_points_lie_on(tilt, roll, z):
    view = place_view(
        (320, 240), tilt_deg=tilt, roll_deg=roll, cup_px=110, cup_radius_cm=3.9,
        target_cm=(0.0, 0.0, 3.0),
    )  # fmt: skip
    turn = np.linspace(0, 2 * np.pi, 25)
    points = np.column_stack([3.0 * np.cos(turn) + 0.7, 3.0 * np.sin(turn), np.full(25, z)])
    ellipse = view.circle(0.7, 0.0, z, 3.0)
    assert ellipse.semi_major_px >= ellipse.semi_minor_px > 0
    np.testing.assert_allclose(on_ellipse(view.project(points), ellipse), 1.0, atol=1e-6)


def test_view_from_above_has_the_asked_scale_and_middle():
    view = place_view(
        (320, 240), tilt_deg=0.0, roll_deg=0.0, cup_px=120, cup_radius_cm=4.0,
        target_cm=(0.0, 0.0, 3.0),
    )  # fmt: skip
    circle = view.circle(0.0, 0.0, 3.0, 4.0)
    assert circle.semi_major_px == pytest.approx(60.0, abs=1e-6)
    assert circle.semi_minor_px == pytest.approx(60.0, abs=1e-6)
    assert (circle.x_px, circle.y_px) == pytest.approx((159.5, 119.5))
    assert view.pixels_per_cm(3.0) == pytest.approx(15.0)
    # Away from the person is up in the picture; what is nearer the lens is larger.
    assert view.project(np.array([[0.0, 1.0, 3.0]]))[0, 1] < 119.5
    assert view.pixels_per_cm(8.0) > view.pixels_per_cm(0.0)


def test_world_coordinates_undo_the_projection():
    view = place_view(
        (64, 48), tilt_deg=30.0, roll_deg=10.0, cup_px=20, cup_radius_cm=4.0,
        target_cm=(0.0, 0.0, 1.0),
    )  # fmt: skip
    x, y = view.world(1.0)
    point = np.array([[x[10, 20], y[10, 20], 1.0]])
    np.testing.assert_allclose(view.project(point), [[20.0, 10.0]], atol=1e-3)


def test_ellipse_distance_is_signed_and_in_pixels():
    xs, ys = np.array([50.0, 50.0, 80.0, 50.0]), np.array([40.0, 60.0, 40.0, 45.0])
    distance = ellipse_distance_px(Ellipse(50, 40, 30, 20), xs, ys)
    assert distance[0] < 0
    assert distance[3] < 0
    np.testing.assert_allclose(distance[1:3], 0.0, atol=1e-6)
    outside = ellipse_distance_px(Ellipse(50, 40, 30, 20), np.array([82.0]), np.array([40.0]))
    assert outside[0] == pytest.approx(2.0, rel=0.05)


@pytest.mark.parametrize("tilt", [0.0, 20.0, 42.0])
@pytest.mark.parametrize("time_s", [2.0, 15.0])
def test_liquid_has_the_colour_of_its_look_over_its_ground(tilt, time_s):
    ground = Ground(pattern="none", paper_cm=14.0)
    scene = Scene(scenario(ground=ground, sight=Sight(**_SMALL, tilt_deg=tilt)), story())
    look = scene.story.at(time_s)[0]
    paper = 0.80 * np.array([1.0, 0.99, 0.96])
    tint = np.array(scene.scenario.cup.tint)
    seen = middle(scene.draw(time_s), scene.vessel(time_s), share=0.35)
    np.testing.assert_allclose(seen, tint * (look[:3] + look[3:6] * paper), rtol=0.12, atol=0.004)


@pytest.mark.parametrize("tilt", [0.0, 35.0])
def test_vessel_is_where_the_liquid_changes_colour(tilt):
    push = (Act(3.0, 3.35, "shift"),)
    scene = Scene(scenario(sight=Sight(**_SMALL, tilt_deg=tilt)), story(acts=push))
    changed = np.abs(scene.draw(15.0) - scene.draw(8.0)).max(axis=2) > 0.03
    contours, _ = cv2.findContours(
        changed.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    outline = max(contours, key=cv2.contourArea).reshape(-1, 2).astype(float)
    vessel = scene.vessel(15.0)
    moved = np.hypot(vessel.x_px - scene.vessel(0.0).x_px, vessel.y_px - scene.vessel(0.0).y_px)
    assert moved > 4.0
    # Seen obliquely the near wall shows liquid below the surface: judge the far half.
    far = outline[outline[:, 1] < vessel.y_px]
    xs, ys = far[:, 0], far[:, 1]
    assert np.abs(ellipse_distance_px(vessel, xs, ys)).max() < 2.5


def test_pattern_under_the_cup_shows_only_when_the_liquid_is_clear():
    scene = Scene(scenario(ground=Ground(pattern="checker")), story())

    def contrast(time_s):
        picture, vessel = scene.draw(time_s), scene.vessel(time_s)
        xs, ys = pixel_grid(picture.shape[1], picture.shape[0])
        inner = replace(vessel, semi_major_px=25.0, semi_minor_px=25.0)
        values = picture[ellipse_distance_px(inner, xs, ys) < 0][:, 1]
        return values.std() / values.mean()

    assert contrast(15.0) > 5.0 * contrast(2.0)


def test_fresh_titrant_shows_its_colour_where_it_falls_and_spreads():
    drop = Portion(3.0, 0.05, x=0.4, y=-0.3)
    scene = Scene(scenario(ground=Ground(pattern="none")), story(portions=(drop,)))
    vessel = scene.vessel(0.0)
    x = round(vessel.x_px + 0.4 * vessel.semi_major_px)
    y = round(vessel.y_px - 0.3 * vessel.semi_minor_px)

    def greenness(time_s, at):
        red, green, _ = scene.draw(time_s)[at]
        return green / red

    opposite = (round(2 * vessel.y_px - y), round(2 * vessel.x_px - x))
    before, after = greenness(2.9, (y, x)), greenness(3.4, (y, x))
    assert after > 2.5 * before
    assert greenness(3.4, opposite) < 1.3 * greenness(2.9, opposite)
    assert greenness(9.5, (y, x)) < 0.6 * after


def test_hand_covers_and_its_shadow_darkens_only_while_it_acts():
    act = Act(4.0, 6.0, "dropper", (0.3, 0.0))
    with_hand = Scene(scenario(), story(acts=(act,)))
    without = Scene(scenario(), story())
    assert np.array_equal(with_hand.draw(1.0), without.draw(1.0))
    difference = np.abs(with_hand.draw(5.0) - without.draw(5.0)).max(axis=2)
    assert (difference > 0.05).mean() > 0.05


def test_hand_comes_from_the_side_that_was_set():
    act = Act(4.0, 6.0, "swirl")
    changed = {}
    for side in (0.0, 180.0):
        people = People(side_deg=side, skin="dark")
        scene = Scene(scenario(people=people), story(acts=(act,)))
        calm = Scene(scenario(people=people), story())
        difference = np.abs(scene.draw(5.0) - calm.draw(5.0)).max(axis=2) > 0.1
        changed[side] = difference[:, :20].mean(), difference[:, -20:].mean()
    assert changed[0.0][1] > changed[0.0][0]
    assert changed[180.0][0] > changed[180.0][1]


def test_swirl_moves_cup_and_reflections():
    lit = scenario(light=Light(highlights=1.0))
    scene = Scene(lit, story(acts=(Act(4.0, 6.0, "swirl"),)))
    places = np.array([scene.shift_px(t) for t in (4.6, 4.75, 4.9, 5.05)])
    assert np.ptp(places, axis=0).min() > 2.0
    assert not np.array_equal(scene.draw(4.6), scene.draw(4.9))


def test_same_seed_same_picture_other_seed_another():
    first, again = (Scene(scenario(seed=5), story()).draw(2.0) for _ in range(2))
    other = Scene(scenario(seed=6), story()).draw(2.0)
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_display_shows_the_mass_on_the_balance():
    scene = Scene(scenario(balance=BalanceOn(), sight=Sight(width_px=320, height_px=240)), story())
    nothing, some = scene.draw(1.0, 0.0), scene.draw(1.0, 18.88)
    changed = np.abs(some - nothing).max(axis=2) > 0.05
    rows, columns = np.nonzero(changed)
    assert changed.any()
    assert rows.min() > scene.vessel(0.0).y_px  # in front of the cup, nearer the person
    assert np.ptp(columns) > 10


def test_without_a_cup_there_is_no_vessel():
    scene = Scene(scenario(cup=Cup(kind="none")), story())
    assert scene.vessel(1.0) is None
    assert np.array_equal(scene.draw(1.0), scene.draw(15.0))


def test_empty_cup_shows_walls_but_no_liquid():
    empty = Scene(scenario(cup=Cup(liquid_cm=0.0)), story())
    none = Scene(scenario(cup=Cup(kind="none")), story())
    assert np.array_equal(empty.draw(1.0), empty.draw(15.0))
    assert np.abs(empty.draw(1.0) - none.draw(1.0)).max() > 0.05


def test_glare_brightens_the_liquid_for_a_while():
    scene = Scene(scenario(), story(acts=(Act(12.0, 14.0, "glare"),)))
    assert scene.draw(13.0).max() > scene.draw(16.0).max() + 0.5
