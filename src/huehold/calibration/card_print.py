"""The bench card as a page to print, at true scale: SVG and PDF from one list of shapes."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from huehold.calibration.card import (
    HALFTONE_MM,
    MARKER_MM,
    CardLayout,
    Field,
    card_layout,
)
from huehold.errors import InputError, UsageError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "PAPERS",
    "Bar",
    "Page",
    "Ring",
    "Words",
    "card_pdf",
    "card_svg",
    "draw_page",
    "write_card",
]

PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Name of a paper -> its width and height in mm (ISO 216; ANSI/ASME Y14.1)."""

_TITLE = "huehold bench card"  # by which a file is known to be one
_TOP_MM = 14.0  # from the page's upper edge to the card's
_SLATE = "#3b4a54"  # of words and ring; only black, white and halftone are ever measured


@dataclass(frozen=True, slots=True)
class Bar:
    """A filled rectangle: left, top, width, height in mm on the page."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    colour: str = "#000000"


@dataclass(frozen=True, slots=True)
class Ring:
    """A circle's line: middle, radius and width of the line in mm on the page."""

    x_mm: float
    y_mm: float
    radius_mm: float
    line_mm: float
    colour: str = _SLATE


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text: where its baseline begins (or has its middle), and its size in mm."""

    x_mm: float
    y_mm: float
    size_mm: float
    text: str
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False
    colour: str = _SLATE


Shape = Bar | Ring | Words


@dataclass(frozen=True, slots=True)
class Page:
    """A page's size in mm and what is on it, and where the card's origin lies."""

    width_mm: float
    height_mm: float
    origin_mm: tuple[float, float]
    shapes: tuple[Shape, ...]


def draw_page(layout: CardLayout, paper: str = "a4") -> Page:
    """Lay the card and its instructions out on a page.

    Parameters
    ----------
    layout : CardLayout
    paper : str
        One of `PAPERS`.

    Raises
    ------
    UsageError
        If there is no such paper.
    """
    if paper not in PAPERS:
        raise UsageError(f"The paper {paper!r} is not known; choose from {', '.join(PAPERS)}.")
    width, height = PAPERS[paper]
    origin = (width / 2.0, _TOP_MM + layout.half_mm)
    card = tuple(_moved(shape, *origin) for shape in _card(layout))
    below = origin[1] + layout.half_mm + 11.0
    return Page(width, height, origin, card + tuple(_instructions(layout, width, below)))


def _moved(shape: Shape, dx: float, dy: float) -> Shape:
    return replace(shape, x_mm=shape.x_mm + dx, y_mm=shape.y_mm + dy)


def _card(layout: CardLayout) -> Iterator[Shape]:
    yield from _cut_line(layout)
    for index, number in enumerate(layout.marker_ids):
        yield from _marker(number, *layout.marker_corners(index)[0])
    for field in layout.fields:
        yield from _halftone(field)
    yield from (Bar(*bar) for bar in layout.bars)
    yield from _place_of_cup(layout)
    yield from _white_frame(layout.white_field)
    length = 50 if layout.free_mm > 33.0 else 40
    yield from _ruler(-length / 2.0, layout.half_mm - 4.0, length)
    yield from _heading(layout)


def _marker(number: int, left: float, top: float) -> Iterator[Shape]:
    """Black cells as runs along both axes, so that no viewer shows seams between rows."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    black = np.asarray(cv2.aruco.generateImageMarker(dictionary, number, 6)) == 0
    cell = MARKER_MM / 6.0
    for line in range(6):
        for start, stop in _runs(black[line]):
            yield Bar(left + start * cell, top + line * cell, (stop - start) * cell, cell)
        for start, stop in _runs(black[:, line]):
            yield Bar(left + line * cell, top + start * cell, cell, (stop - start) * cell)


def _runs(flags: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    yield from ((int(a), int(b)) for a, b in edges.reshape(-1, 2))


def _halftone(field: Field) -> Iterator[Shape]:
    if field.coverage >= 1.0:
        yield Bar(field.x_mm, field.y_mm, field.width_mm, field.height_mm)
        return
    for i in range(int(field.height_mm / HALFTONE_MM)):
        top = field.y_mm + i * HALFTONE_MM
        yield Bar(field.x_mm, top, field.width_mm, field.coverage * HALFTONE_MM)


def _place_of_cup(layout: CardLayout) -> Iterator[Shape]:
    radius = layout.ring_mm + 0.4
    yield Ring(0.0, 0.0, radius, 0.8)
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):  # ticks help to centre the cup by eye
        along, across = 3.4, 0.8
        width, height = (along, across) if dx else (across, along)
        x, y = dx * (radius + along / 2.0), dy * (radius + along / 2.0)
        yield Bar(x - width / 2.0, y - height / 2.0, width, height, _SLATE)


def _white_frame(field: Field) -> Iterator[Shape]:
    """Corner brackets around the white field."""
    long, thin = 4.0, 0.3
    right, bottom = field.x_mm + field.width_mm, field.y_mm + field.height_mm
    for x, inward in ((field.x_mm, 1), (right, -1)):
        for y in (field.y_mm, bottom - thin):
            yield Bar(min(x, x + inward * long), y, long, thin, _SLATE)
        side = x if inward > 0 else x - thin
        yield Bar(side, field.y_mm, thin, 2.0, _SLATE)
        yield Bar(side, bottom - 2.0, thin, 2.0, _SLATE)


def _ruler(left: float, base: float, length: int) -> Iterator[Shape]:
    """Ticks each millimetre, `length` of them between the middles of the first and the last."""
    for mm in range(length + 1):
        height = 4.0 if mm % 10 == 0 else 2.8 if mm % 5 == 0 else 1.8
        yield Bar(left + mm - 0.1, base - height, 0.2, height)
        if mm % 10 == 0:
            yield Words(left + mm, base - 4.8, 2.3, f"{mm}", "middle")
    yield Words(left + length + 3.2, base - 4.8, 2.3, "mm", "start")


def _cut_line(layout: CardLayout) -> Iterator[Shape]:
    half, thin = layout.half_mm, 0.25
    for at in np.arange(-half, half - 1.0, 4.0):
        long = min(2.0, half - at)
        for edge in (-half, half):
            yield Bar(float(at), edge - thin / 2.0, long, thin, _SLATE)
            yield Bar(edge - thin / 2.0, float(at), thin, long, _SLATE)


def _heading(layout: CardLayout) -> Iterator[Shape]:
    top = -layout.half_mm
    size = min(1.0, layout.free_mm / 35.0)  # words keep out of the markers' quiet zones
    yield Words(0.0, top + 8.5, 5.0 * size, "huehold bench card", "middle", bold=True)
    lines = (
        f"The cup, up to {layout.cup_mm} mm wide, stands in the ring.",
        "Keep all four corners in the picture.",
        "Lie flat, light even, this edge away from you.",
    )
    for i, line in enumerate(lines):
        yield Words(0.0, top + 13.2 + 3.4 * i, 2.45 * size, line, "middle")


def _instructions(layout: CardLayout, width: float, top: float) -> Iterator[Shape]:
    left = (width - 168.0) / 2.0
    for i, line in enumerate(_STEPS):
        text = line.format(cup=layout.cup_mm)
        yield Words(left, top + 4.9 * i, 3.3, text, bold=i == 0)
    yield from _ruler(left, top + 4.9 * len(_STEPS) + 8.0, 100)
    beside = left + 114.0
    yield Words(beside, top + 4.9 * len(_STEPS) + 5.0, 3.3, "From 0 to 100 must be 100 mm.")


_STEPS = (
    "How to use this page",
    "1  Print in black at 100 % (actual size, no fitting to the page) on plain matt white paper.",
    "2  Lay a ruler on the scale below. If it is off by more than 1 mm, print anew at 100 %.",
    "3  Cut along the dashed line. Lay the card flat on the table, or on the pan of the balance;",
    "    stiff card glued behind it keeps it from bending. Tare the balance with the card on it.",
    "4  Set the cup, {cup} mm or less, into the ring. Point the camera so that all corner squares",
    "    and both grey ladders are in the picture. Let no lamp mirror in it, no shadow cross it.",
    "5  Keep it dry: a stained or creased card measures wrongly. Print a new one, it costs little.",
)


def card_svg(page: Page) -> str:
    """Return the page as SVG, one user unit a millimetre."""
    size = f'width="{page.width_mm:g}mm" height="{page.height_mm:g}mm"'
    box = f'viewBox="0 0 {page.width_mm:g} {page.height_mm:g}"'
    body = "\n".join(_svg(shape) for shape in page.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>\n'
        f'<title>{_TITLE}</title>\n<rect width="100%" height="100%" fill="#ffffff"/>\n'
        f'<g shape-rendering="geometricPrecision" font-family="DejaVu Sans, Verdana, sans-serif">\n'
        f"{body}\n</g>\n</svg>\n"
    )


def _svg(shape: Shape) -> str:
    at = f'x="{shape.x_mm:.4f}" y="{shape.y_mm:.4f}"'
    if isinstance(shape, Bar):
        size = f'width="{shape.width_mm:.4f}" height="{shape.height_mm:.4f}"'
        return f'<rect {at} {size} fill="{shape.colour}"/>'
    if isinstance(shape, Ring):
        return (
            f'<circle cx="{shape.x_mm:.4f}" cy="{shape.y_mm:.4f}" r="{shape.radius_mm:.4f}" '
            f'fill="none" stroke="{shape.colour}" stroke-width="{shape.line_mm:.4f}"/>'
        )
    weight = ' font-weight="bold"' if shape.bold else ""
    return (
        f'<text {at} font-size="{shape.size_mm:g}" text-anchor="{shape.anchor}"{weight} '
        f'fill="{shape.colour}" xml:space="preserve">{escape(shape.text)}</text>'
    )


def card_pdf(page: Page) -> bytes:
    """Return the page as PDF, all of it vectors."""
    import matplotlib as mpl

    target = io.BytesIO()
    with mpl.rc_context({"pdf.fonttype": 42}):
        figure = page_figure(page)
        figure.savefig(target, format="pdf", metadata={"Title": _TITLE, "CreationDate": None})
    return target.getvalue()


def page_figure(page: Page) -> Figure:
    """Return the page as a figure of true size, axes in mm with y downwards."""
    from matplotlib.collections import PatchCollection
    from matplotlib.figure import Figure
    from matplotlib.patches import Circle, Rectangle

    figure = Figure(figsize=(page.width_mm / 25.4, page.height_mm / 25.4))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xlim=(0, page.width_mm), ylim=(page.height_mm, 0))
    axes.axis("off")
    bars = [s for s in page.shapes if isinstance(s, Bar)]
    boxes = [Rectangle((b.x_mm, b.y_mm), b.width_mm, b.height_mm) for b in bars]
    axes.add_collection(PatchCollection(boxes, facecolors=[b.colour for b in bars], linewidths=0))
    for shape in page.shapes:
        if isinstance(shape, Ring):
            line = shape.line_mm / 25.4 * 72.0
            centre = (shape.x_mm, shape.y_mm)
            axes.add_patch(Circle(centre, shape.radius_mm, fill=False, lw=line, ec=shape.colour))
        elif isinstance(shape, Words):
            axes.text(
                shape.x_mm, shape.y_mm, shape.text, fontsize=shape.size_mm / 25.4 * 72.0,
                ha={"start": "left", "middle": "center", "end": "right"}[shape.anchor],
                va="baseline", color=shape.colour, weight="bold" if shape.bold else "normal",
            )  # fmt: skip
    return figure


def write_card(path: Path, *, cup_mm: int = 75, paper: str = "a4") -> CardLayout:
    """Write the page to a file, PDF or SVG by its ending.

    Parameters
    ----------
    path : Path
        Ends in ``.pdf`` or ``.svg``.
    cup_mm : int
        Diameter of the cup where it is widest; one of `huehold.calibration.card.CUP_SIZES_MM`.
    paper : str
        One of `PAPERS`.

    Raises
    ------
    UsageError
        If size, paper or ending is not known, or another file, one that is no bench card, is in
        its place.
    InputError
        If the file cannot be written.
    """
    layout = card_layout(cup_mm)
    page = draw_page(layout, paper)
    kind = path.suffix.lower()
    if kind not in (".pdf", ".svg"):
        raise UsageError(f"A bench card is written as .pdf or .svg, not as {path.name!r}.")
    _check_place(path)
    content = card_pdf(page) if kind == ".pdf" else card_svg(page).encode()
    try:
        path.write_bytes(content)
    except OSError as error:
        raise InputError(f"The card cannot be written to {path}: {error.strerror}.") from None
    return layout


def _check_place(path: Path) -> None:
    if not path.parent.is_dir():
        raise InputError(
            f"The card cannot be written to {path}: there is no folder {path.parent}. Make it, or "
            "name another place."
        )
    try:
        foreign = path.exists() and _TITLE.encode() not in path.read_bytes()
    except OSError as error:
        raise InputError(f"The card cannot be written to {path}: {error.strerror}.") from None
    if foreign:
        raise UsageError(
            f"{path} exists and is no bench card; it is left as it is. Name another file."
        )
