"""Finding the card at many poses, lights, blurs, scales and covers; never where there is none."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from huehold.calibration.card import CUP_SIZES_MM, card_layout
from huehold.calibration.card_find import CardSight, find_card
from huehold.calibration.card_guide import read_card
from huehold.calibration.card_print import draw_page, page_figure, write_card
from tests.calibration.card_scene import PX_PER_MM, Picture, Scene, render

POSE = 0.02  # of the cup's radius


def off(sight: CardSight, picture: Picture) -> float:
    """Largest error of place and axes, in units of the cup's radius."""
    found, true = sight.cup, picture.cup
    place = np.hypot(found.x_px - true.x_px, found.y_px - true.y_px)
    axes = (found.semi_major_px - true.semi_major_px, found.semi_minor_px - true.semi_minor_px)
    return float(max(place, *np.abs(axes)) / true.semi_major_px)


PHOTOGRAPHS = "coffee chelsea astronaut rocket page text brick grass camera coins moon"


@pytest.mark.parametrize("name", PHOTOGRAPHS.split())
def test_no_card_is_seen_in_real_photographs(name: str) -> None:
    data = pytest.importorskip("skimage.data")
    try:
        image = getattr(data, name)()
    except Exception:  # not every photograph comes with the wheel
        pytest.skip(f"{name} is not installed")
    colour = image if image.ndim == 3 else np.repeat(image[..., None], 3, axis=2)
    colour = np.ascontiguousarray(colour[..., :3], dtype=np.uint8)
    for size in (1.0, 2.0, 0.5):
        assert find_card(cv2.resize(colour, None, fx=size, fy=size), least_markers=2) is None


@pytest.mark.parametrize("seed", range(4))
def test_no_card_is_seen_in_noise(seed: int) -> None:
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 256, (90, 160, 1), dtype=np.uint8).repeat(3, axis=2)
    image = cv2.resize(coarse, (1280, 720), interpolation=cv2.INTER_NEAREST)
    assert find_card(image) is None


def test_a_card_seen_from_behind_is_none() -> None:
    image = np.ascontiguousarray(render(Scene()).image[:, ::-1])
    assert find_card(image) is None


def test_markers_of_other_cards_do_not_make_one() -> None:
    """Four right places, one foreign marker each of another card."""
    picture = render(Scene(hidden=(0, 2)))
    other = render(Scene(hidden=(1, 3), offset_px=(0.0, 0.0), turn_deg=90.0))
    image = np.where(np.arange(1280)[None, :, None] < 640, picture.image, other.image)
    assert find_card(image) is None


def test_two_markers_are_too_few_at_first_and_enough_to_follow() -> None:
    scene = Scene(hidden=(0, 1), tilt_deg=20)
    picture = render(scene)
    assert find_card(picture.image) is None
    followed = find_card(picture.image, card_layout(75), least_markers=2)
    assert followed is not None
    assert off(followed, picture) < 0.05


def test_another_size_than_the_known_one_is_not_taken_for_it() -> None:
    assert find_card(render(Scene()).image, card_layout(80)) is None


@pytest.mark.parametrize(
    "scene",
    [
        Scene(tilt_deg=45, turn_deg=10),
        Scene(tilt_deg=30, turn_deg=180),
        Scene(tilt_deg=20, turn_deg=120, blur_px=1.5, noise=0.02),
        Scene(tilt_deg=35, cup_px=120),
        Scene(size=(640, 360), cup_px=100, tilt_deg=30),
        Scene(size=(1920, 1080), cup_px=420, tilt_deg=15),
        Scene(light=(0.20, 0.15, 0.10)),
        Scene(light=(0.9, 0.6, 0.3), slope=(0.5, 0.4), tilt_deg=25),
        Scene(exponent=1.3, tilt_deg=25),
        Scene(exponent=0.8, tilt_deg=25),
        Scene(shadow=0.5),
        Scene(hidden=(0,), cup=(0.6, 0.3, 0.05), tilt_deg=35),
        Scene(hidden=(2,), cup=(0.1, 0.4, 0.1), tilt_deg=10),
        Scene(blur_px=2.5, hidden=(1,)),
        Scene(cup_mm=45, cup_px=160),
        Scene(cup_mm=100, cup_px=300, tilt_deg=30, size=(1280, 960)),
        Scene(table=(0.8, 0.8, 0.8)),
        Scene(table=(0.03, 0.03, 0.03)),
    ],
    ids=str,
)
def test_the_pose_is_right_within_two_percent_of_the_cup(scene: Scene) -> None:
    picture = render(scene)
    sight = find_card(picture.image)
    assert sight is not None
    assert sight.layout.cup_mm == scene.cup_mm
    assert off(sight, picture) < POSE
    assert sight.px_per_mm == pytest.approx(2 * picture.cup.semi_major_px / scene.cup_mm, rel=0.02)
    assert sight.tilt_deg == pytest.approx(scene.tilt_deg, abs=3.0)
    assert not sight.bent


@settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.generate])
@given(
    tilt=st.floats(0, 45), turn=st.floats(-180, 180), cup_mm=st.sampled_from(CUP_SIZES_MM),
    blur=st.floats(0.4, 1.6), noise=st.floats(0.0, 0.012), light=st.floats(0.25, 1.0),
    hidden=st.sampled_from([(), (0,), (1,), (2,), (3,)]), seed=st.integers(0, 1000),
)  # fmt: skip
def test_any_reasonable_view_gives_the_pose(
    tilt: float, turn: float, cup_mm: int, blur: float, noise: float, light: float,
    hidden: tuple[int, ...], seed: int,
) -> None:  # fmt: skip
    scene = Scene(
        tilt_deg=tilt, turn_deg=turn, cup_mm=cup_mm, cup_px=170.0 * cup_mm / 75.0, blur_px=blur,
        noise=noise, light=(light, 0.95 * light, 0.85 * light), hidden=hidden, seed=seed,
        size=(960, 640),
    )  # fmt: skip
    picture = render(scene)
    sight = find_card(picture.image)
    assert sight is not None
    assert off(sight, picture) < POSE


@pytest.mark.parametrize("scale", [0.94, 1.0, 1.06])
def test_a_print_at_another_scale_has_the_same_pose(scale: float) -> None:
    """Fitted to the page, everything shrinks alike: the outline in pixels is the print's own."""
    picture = render(Scene(cup_px=240 * scale, tilt_deg=20))
    sight = find_card(picture.image)
    assert sight is not None
    assert off(sight, picture) < POSE


@pytest.mark.parametrize("bend_mm", [4.0, 8.0, -6.0])
def test_a_bent_card_is_told(bend_mm: float) -> None:
    reading = read_card(render(Scene(bend_mm=bend_mm, tilt_deg=10)).image)
    assert reading is not None
    assert any("does not lie flat" in fault for fault in reading.faults)


def test_the_card_is_followed_through_a_shift() -> None:
    first, then = Scene(tilt_deg=25), Scene(tilt_deg=25, turn_deg=7, offset_px=(60, -35))
    for scene in (first, then, replace(then, hidden=(3,))):
        picture = render(scene)
        sight = find_card(picture.image, card_layout(75), least_markers=2)
        assert sight is not None
        assert off(sight, picture) < POSE


@pytest.mark.parametrize(("paper", "cup_mm"), [("a4", 75), ("letter", 75), ("letter", 100)])
def test_the_printed_page_rasterised_at_300_dpi_is_found_and_measured(
    tmp_path: Path, paper: str, cup_mm: int
) -> None:
    image = _raster_of_pdf(tmp_path, paper, cup_mm)
    layout = card_layout(cup_mm)
    left, top = (o - layout.half_mm for o in draw_page(layout, paper).origin_mm)
    side = 2 * layout.half_mm
    box = np.rint(np.array([left, top, left + side, top + side]) * PX_PER_MM).astype(int)
    card = image[box[1] : box[3], box[0] : box[2]]
    raster = 0.04 + 0.81 * card.astype(np.float32) / 255.0
    picture = render(Scene(cup_mm=cup_mm, tilt_deg=30, turn_deg=5, raster=raster))
    reading = read_card(picture.image)
    assert reading is not None
    assert off(reading.sight, picture) < POSE
    assert reading.light is not None
    assert reading.light.white == pytest.approx(picture.white, rel=0.02)
    assert reading.ramp is not None
    assert reading.tone is not None
    assert not reading.ramp.broken
    assert reading.tone.exponent == pytest.approx(1.0, abs=0.1)
    assert reading.faults == ()


def _raster_of_pdf(folder: Path, paper: str, cup_mm: int) -> NDArray[np.uint8]:
    """Grey raster of the page at 300 dpi: of the PDF if the tool is there, else of its drawing."""
    if shutil.which("pdftoppm"):
        write_card(folder / "card.pdf", cup_mm=cup_mm, paper=paper)
        subprocess.run(
            ["pdftoppm", "-r", "300", "-gray", "-singlefile", "card.pdf", "card"],
            cwd=folder, check=True,
        )  # fmt: skip
        return np.asarray(cv2.imread(str(folder / "card.pgm"), cv2.IMREAD_GRAYSCALE))
    figure = page_figure(draw_page(card_layout(cup_mm), paper))
    figure.savefig(folder / "card.png", dpi=300)
    return np.asarray(cv2.imread(str(folder / "card.png"), cv2.IMREAD_GRAYSCALE))
