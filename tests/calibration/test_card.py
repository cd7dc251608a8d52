"""The card's geometry and the page it is printed on."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from huehold.calibration.card import (
    COVERAGES,
    CUP_SIZES_MM,
    DOT_MM,
    HALFTONE_MM,
    MARKER_MM,
    card_layout,
    layout_of_marker,
)
from huehold.calibration.card_print import PAPERS, Bar, Words, card_svg, draw_page, write_card
from huehold.cli import run
from huehold.errors import InputError, UsageError


@pytest.mark.parametrize("cup_mm", [0, 40, 72, 105, -75])
def test_a_cup_without_a_card_is_refused_with_the_sizes_there_are(cup_mm: int) -> None:
    with pytest.raises(UsageError, match="multiple of 5 from 45 to 100"):
        card_layout(cup_mm)


@pytest.mark.parametrize(
    ("name", "paper", "message"),
    [
        ("card.png", "a4", "written as .pdf or .svg"),
        ("card", "a4", "written as .pdf or .svg"),
        ("card.svg", "a5", "choose from a4, letter"),
        ("nowhere/card.svg", "a4", "there is no folder"),
        ("folder.pdf", "a4", "cannot be written"),
        ("letter.pdf", "a4", "exists and is no bench card; it is left as it is"),
    ],
)
def test_a_page_that_cannot_be_is_refused(
    tmp_path: Path, name: str, paper: str, message: str
) -> None:
    (tmp_path / "folder.pdf").mkdir()
    (tmp_path / "letter.pdf").write_bytes(b"%PDF-1.4 a letter to somebody")
    kind = InputError if "cannot be written" in message or "no folder" in message else UsageError
    with pytest.raises(kind, match=message):
        write_card(tmp_path / name, paper=paper)
    assert (tmp_path / "letter.pdf").read_bytes() == b"%PDF-1.4 a letter to somebody"


@pytest.mark.parametrize("number", [48, 49, 50, 1000, -1])
def test_a_foreign_marker_belongs_to_no_card(number: int) -> None:
    assert layout_of_marker(number) is None


def test_every_card_has_four_markers_of_its_own() -> None:
    owners = [layout_of_marker(n) for n in range(48)]
    assert {(o[0].cup_mm, o[1]) for o in owners if o} == {
        (cup, corner) for cup in CUP_SIZES_MM for corner in range(4)
    }


@pytest.mark.parametrize("cup_mm", CUP_SIZES_MM)
def test_nothing_on_the_card_touches_anything_else(cup_mm: int) -> None:
    layout = card_layout(cup_mm)
    cell = MARKER_MM / 6.0
    boxes = [(*(layout.marker_corners(i)[0] - cell), *(layout.marker_corners(i)[2] + cell))
             for i in range(4)]  # with their quiet zones  # fmt: skip
    boxes += [(f.x_mm, f.y_mm, f.x_mm + f.width_mm, f.y_mm + f.height_mm) for f in layout.fields]
    reach = layout.ring_mm + 0.8
    boxes.append((-reach, -reach, reach, reach))
    white = layout.white_field
    boxes.append(
        (white.x_mm, white.y_mm, white.x_mm + white.width_mm, white.y_mm + white.height_mm)
    )
    for one, other in combinations(boxes, 2):
        apart = max(one[0] - other[2], other[0] - one[2], one[1] - other[3], other[1] - one[3])
        corner = np.hypot(layout.free_mm, layout.free_mm) > reach  # the ring is no square
        assert apart > 0 or (corner and reach in one + other)


@pytest.mark.parametrize("cup_mm", [45, 75, 100])
def test_white_spots_lie_on_blank_paper(cup_mm: int) -> None:
    layout = card_layout(cup_mm)
    page = draw_page(layout)
    for spot in layout.white_spots + page.origin_mm:
        for shape in page.shapes:
            if isinstance(shape, Bar):
                nearest = np.clip(
                    spot, [shape.x_mm, shape.y_mm],
                    [shape.x_mm + shape.width_mm, shape.y_mm + shape.height_mm],
                )  # fmt: skip
                assert np.hypot(*(spot - nearest)) > layout.spot_mm, shape
            elif isinstance(shape, Words):
                assert abs(spot[1] - shape.y_mm) > layout.spot_mm or abs(spot[0] - shape.x_mm) > 20
        assert np.hypot(*(spot - page.origin_mm)) > layout.ring_mm + 0.8 + layout.spot_mm


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("cup_mm", [45, 75, 100])
def test_everything_fits_on_the_paper(paper: str, cup_mm: int) -> None:
    page = draw_page(card_layout(cup_mm), paper)
    for shape in page.shapes:
        if isinstance(shape, Bar):
            assert shape.x_mm > 5
            assert shape.x_mm + shape.width_mm < page.width_mm - 5
            assert shape.y_mm > 5
            assert shape.y_mm + shape.height_mm < page.height_mm - 5


def test_lines_of_the_halftone_are_whole_dots_of_a_plain_printer() -> None:
    for coverage in COVERAGES:
        dots = coverage * HALFTONE_MM / DOT_MM
        assert dots == pytest.approx(round(dots))


def test_the_pattern_leaves_more_than_half_of_the_ring_bare() -> None:
    for cup_mm in CUP_SIZES_MM:
        layout = card_layout(cup_mm)
        inked = sum(width * height for _, _, width, height in layout.bars)
        assert 0.15 < inked / (np.pi * (cup_mm / 2) ** 2) < 0.5


def test_rulers_are_as_long_as_they_say() -> None:
    page = draw_page(card_layout(75))
    ticks = [s for s in page.shapes if isinstance(s, Bar) and s.width_mm == pytest.approx(0.2)
             and s.height_mm == pytest.approx(4.0)]  # fmt: skip
    rows = {round(t.y_mm, 3) for t in ticks}
    lefts = [[t.x_mm for t in ticks if round(t.y_mm, 3) == row] for row in rows]
    spans = sorted(max(row) - min(row) for row in lefts)
    assert spans == pytest.approx([50.0, 100.0])


@pytest.mark.parametrize(
    ("paper", "size"), [("a4", ("210mm", "297mm")), ("letter", ("215.9mm", "279.4mm"))]
)
def test_svg_is_well_formed_and_of_the_paper_s_size(paper: str, size: tuple[str, str]) -> None:
    root = ET.fromstring(card_svg(draw_page(card_layout(75), paper)))
    assert (root.get("width"), root.get("height")) == size
    assert root.get("viewBox") == " ".join(part.removesuffix("mm") for part in ("0", "0", *size))


@pytest.mark.parametrize(
    ("paper", "points"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))]
)
def test_pdf_is_of_the_paper_s_size_and_the_same_every_time(
    tmp_path: Path, paper: str, points: tuple[float, float]
) -> None:
    files = [tmp_path / "one.pdf", tmp_path / "two.pdf"]
    for file in files:
        write_card(file, paper=paper)
    content = files[0].read_bytes()
    assert content == files[1].read_bytes()
    box = re.search(rb"/MediaBox \[\s*([\d. ]+)\]", content)
    assert box is not None
    assert [float(v) for v in box[1].split()] == pytest.approx([0, 0, *points], abs=0.1)


def test_the_command_writes_the_card(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "card.svg"
    assert run(["card", "--cup-mm", "60", "--paper", "Letter", "--out", str(target)]) == 0
    assert "up to 60 mm wide" in target.read_text()
    assert "132 x 132 mm" in capsys.readouterr().err
    assert run(["card", "--cup-mm", "65", "--out", str(target)]) == 0  # a card over a card
    assert "up to 65 mm wide" in target.read_text()
    assert run(["card", "--cup-mm", "61", "--out", str(target)]) == 2
    assert run(["card", "--out", str(tmp_path / "none" / "card.pdf")]) == 3
    assert "Create it or choose another place" in capsys.readouterr().err
    assert run(["card", "--paper", "a5"]) == 2
