"""White, liquid, turbidity, tracking and drawing, each alone."""

from __future__ import annotations

import ast
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.stats import spearmanr

import huehold.vision
from huehold.core import Ellipse, Frame, Rect
from huehold.vision import Observer
from huehold.vision.draw import draw
from huehold.vision.geometry import moved, normalised_radius
from huehold.vision.liquid import measure_liquid
from huehold.vision.picture import WORK_PX, cut, reduce_frame
from huehold.vision.tracking import RingTracker
from huehold.vision.trust import REASONS
from huehold.vision.turbidity import TurbidityScale
from huehold.vision.white import WhiteKeeper, find_white, measure_patch

from .painter import GREEN, ORANGE, Picture

SMALL = Picture(width_px=320, height_px=240)
FRAME_S = 1.0 / 12.0
ONE = np.ones(3)


@pytest.mark.parametrize("table", ["wood", "green", "blue", "black", "orange"])
def test_no_white_on_a_coloured_table(table):
    p = SMALL.but(card=False, table=table, wall=(0.5, 0.5, 0.5))
    assert find_white(p.frame().image, p.ellipse) is None


@pytest.mark.parametrize("table", ["wood", "green", "blue", "grey", "white"])
@pytest.mark.parametrize("gain", [(1.0, 1.0, 1.0), (1.1, 1.0, 0.85), (0.35, 0.35, 0.35)])
def test_finds_the_white_card(table, gain):
    p = SMALL.but(table=table, gain=gain)
    rect = find_white(p.frame().image, p.ellipse)
    card = p.card_rect
    assert rect is not None
    assert card.x_px <= rect.x_px
    assert rect.x_px + rect.width_px <= card.x_px + card.width_px
    assert card.y_px <= rect.y_px
    assert rect.y_px + rect.height_px <= card.y_px + card.height_px


def test_clipped_patch_is_told():
    image = np.full((40, 40, 3), 255, np.uint8)
    assert measure_patch(image, Rect(5, 5, 20, 20))[2] == 1.0


def test_patch_that_left_the_picture_is_no_white():
    keeper = WhiteKeeper(Rect(900, 900, 20, 20))
    assert keeper.look(np.full((40, 40, 3), 180, np.uint8), ONE, True).basis == "assumed"


def test_changed_patch_is_believed_in_the_end():
    keeper = WhiteKeeper(Rect(5, 5, 20, 20))
    first, other = (np.full((40, 40, 3), v, np.uint8) for v in (200, 120))
    keeper.look(first, ONE, True)
    bases = [keeper.look(other, ONE, True).basis for _ in range(60)]
    assert bases[0] == "carried"
    assert bases[-1] == "patch"


def test_liquid_of_nothing_is_none():
    image = np.zeros((60, 60, 3), np.uint8)
    ellipse = Ellipse(30, 30, 2.5, 2.5)
    assert measure_liquid(cut(image, ellipse, 1.0, 96), ellipse) is None


@pytest.mark.parametrize("share", [0.1, 0.25, 0.4])
def test_glare_is_counted_and_left_out(share):
    p = SMALL.but(glare=share)
    liquid = measure_liquid(cut(p.frame().image, p.ellipse, 1.0, 96), p.ellipse)
    assert liquid is not None
    assert liquid.glare == pytest.approx((share / 0.84) ** 2, rel=0.25)
    np.testing.assert_allclose(liquid.linear, ORANGE, atol=0.02)


def test_uncertainty_of_the_mean_covers_the_noise():
    means = []
    for seed in range(30):
        p = SMALL.but(noise=8.0, seed=seed)
        means.append(measure_liquid(cut(p.frame().image, p.ellipse, 1.0, 96), p.ellipse))
    spread = np.std([m.linear for m in means], axis=0)
    assert (spread < 2 * means[0].linear_sd).all()


def test_reduced_frame_keeps_places():
    p = Picture(width_px=1283, height_px=721)
    work = reduce_frame(p.frame())
    assert max(work.image.shape[:2]) <= WORK_PX
    assert work.image.shape[1] * work.scale == pytest.approx(1283, abs=2 * work.scale)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (7.3, -4.6), (-12.0, 9.0)])
def test_tracker_lands_within_a_pixel(shift):
    start = SMALL.but(check=0.5)
    tracker = RingTracker(start.frame().image, start.ellipse)
    there = start.but(x=0.5 + shift[0] / 320, y=0.5 + shift[1] / 240, liquid=GREEN, seed=4)
    step = tracker.step(there.frame().image, FRAME_S, learn=True)
    true = moved(start.ellipse, *shift)
    assert np.hypot(step.ellipse.x_px - true.x_px, step.ellipse.y_px - true.y_px) < 1.2
    assert step.likeness > 0.5


def test_tracker_does_not_creep():
    tracker = RingTracker(SMALL.frame().image, SMALL.ellipse)
    for seed in range(150):
        step = tracker.step(SMALL.but(seed=seed).frame().image, FRAME_S, learn=True)
    off = np.hypot(step.ellipse.x_px - SMALL.ellipse.x_px, step.ellipse.y_px - SMALL.ellipse.y_px)
    assert off < 1.0


def test_tracker_knows_when_the_cup_is_gone():
    tracker = RingTracker(SMALL.frame().image, SMALL.ellipse)
    assert tracker.step(SMALL.but(cup=False).frame().image, FRAME_S, learn=True).likeness < 0.35


def _turbidities(pictures):
    scale, values = TurbidityScale(), []
    for p in pictures:
        for seed in range(6):
            image = p.but(seed=seed).frame().image
            patch = cut(image, p.ellipse, 1.0, 96)
            value = scale.update(patch, p.ellipse, np.full(3, 0.7), sound=True)
        values.append(value)
    return np.array(values)


def _suspension(undissolved, colour):
    """Light of dye alone plus light scattered back; the pattern shows as the solid goes."""
    dye = np.array(colour)
    light = tuple(float(v) for v in 0.2 * dye + undissolved * (0.6 * dye + 0.04))
    return SMALL.but(liquid=light, clear=float((1 - undissolved) ** 3), check=0.7, table="grey")


def test_turbidity_follows_the_solid_through_changes_of_colour():
    undissolved = np.linspace(1.0, 0.0, 21)
    colours = [GREEN if i % 4 == 3 else ORANGE for i in range(21)]
    values = _turbidities([_suspension(u, c) for u, c in zip(undissolved, colours, strict=True)])
    assert values[0] == 1.0
    assert values[-1] < 0.15
    assert spearmanr(undissolved, values).statistic > 0.95


def test_view_behind_the_liquid_ignores_how_dark_the_dye_is():
    cloudy = _suspension(1.0, ORANGE)
    clear = _suspension(0.0, ORANGE)
    darker = clear.but(liquid=tuple(0.5 * v for v in clear.liquid))
    values = _turbidities([cloudy, clear, darker])
    assert values[2] <= values[1] + 0.02


def test_turbidity_of_a_pale_dye_over_plain_paper_is_not_claimed():
    pale = SMALL.but(liquid=(0.60, 0.55, 0.45), table="white", card=False)
    assert np.isnan(_turbidities([pale])).all()


def test_drawing_shows_outline_white_and_words():
    observer = Observer()
    for i in range(8):
        frame = SMALL.but(seed=i, glare=0.3).frame(i / 12)
        seen = observer.observe(frame)
    picture = draw(frame, seen, observer.sight)
    assert picture.dtype == np.uint8
    assert picture.shape[1] == 320
    assert picture.shape[0] > 240
    assert picture.shape[0] % 2 == 0
    changed = np.abs(picture[:240].astype(int) - frame.image).max(axis=2) > 25
    rows, columns = np.mgrid[:240, :320]
    on = np.abs(normalised_radius(seen.vessel, columns, rows) - 1.0) < 0.02
    assert changed[on].mean() > 0.8
    assert picture[240:].max() > 200


def test_drawing_of_an_unseen_vessel_and_odd_sizes():
    frame = Frame(1.0, np.zeros((241, 321, 3), np.uint8))
    picture = draw(frame, Observer().observe(frame))
    assert picture.shape[0] % 2 == 0
    assert picture.shape[1] % 2 == 0


def test_vision_imports_nothing_above_it():
    folder = Path(huehold.vision.__file__).parent
    for path in folder.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("huehold"):
                parts = node.module.split(".")
                assert len(parts) == 1 or parts[1] in {"vision", "core", "errors"}, path


def test_cv2_reads_the_same_ellipse():
    """The angle convention of core.Ellipse is that of OpenCV's drawing."""
    mask = np.zeros((120, 160), np.uint8)
    cv2.ellipse(mask, (80, 60), (50, 20), 30, 0, 360, 255, -1)
    rows, columns = np.mgrid[:120, :160]
    inside = normalised_radius(Ellipse(80, 60, 50, 20, 30), columns, rows) < 1
    assert (inside == (mask > 0)).mean() > 0.99


def test_documented_reasons_are_the_ones_in_use():
    page = Path(__file__).parents[2] / "docs" / "vision.md"
    text = page.read_text(encoding="utf-8")
    for name, (left, meaning) in REASONS.items():
        assert f"| `{name}` | {left:g} | {meaning} |" in text
