"""The trace plot: what is drawn, not how pretty it is."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread

from huehold.core import Event, Trace, Verdict
from huehold.errors import InputError, UsageError
from huehold.report.plot import plot_bytes, trace_figure, write_plot
from huehold.report.ribbon import ribbon
from huehold.run import Run
from tests.report.factory import make_run


def words(run: Run) -> str:
    svg = plot_bytes(run, "svg").decode("utf-8")
    return " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", svg))


@pytest.mark.parametrize("name", ["trace.jpg", "trace", "trace.txt"])
def test_other_endings_are_refused(run: Run, tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match=r"\.png or \.svg"):
        write_plot(run, tmp_path / name)


def test_a_missing_folder_is_one_sentence(run: Run, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        write_plot(run, tmp_path / "no" / "a.png")


def test_an_empty_trace_still_gives_a_picture(run: Run) -> None:
    empty = replace(
        run, trace=Trace.of([]), events=(), readings=(), assay=None,
        verdict=Verdict("unreadable", ("Nothing was read.",)),
    )  # fmt: skip
    assert plot_bytes(empty).startswith(b"\x89PNG")


@pytest.mark.parametrize("kind", ["not_reached", "overshoot", "no_start_colour", "unreadable"])
def test_every_verdict_can_be_drawn(kind: str) -> None:
    run = make_run(length_s=90.0, count=2, kind=kind, pictures=0)
    assert plot_bytes(run, "svg").startswith(b"<?xml")


def test_everything_is_said_in_words(run: Run) -> None:
    text = words(run)
    for part in (
        "Endpoint: onset", "additions", "fade-backs", "disturbances", "hold",
        "hue h / degrees", "chroma C*", "turbidity", "titrant / g", "liquid", "time / min:s",
        "bracket", "yellow-green to green", "CIELAB (CIE 15, D65)", "unfiltered", "hand",
    ):  # fmt: skip
        assert part in text


def test_without_readings_there_is_no_mass_panel(run: Run, bare_run: Run) -> None:
    assert len(trace_figure(run).axes) == 6
    assert len(trace_figure(bare_run).axes) == 5
    assert "titrant" not in words(bare_run)


def test_png_and_svg_are_the_same_bytes_each_time(run: Run) -> None:
    for kind in ("png", "svg"):
        assert plot_bytes(run, kind) == plot_bytes(run, kind)


def test_png_shows_the_liquids_own_colours(run: Run) -> None:
    picture = imread(io.BytesIO(plot_bytes(run)))[..., :3]
    strip = next(s for s in run.trace.strip if s is not None)
    near = np.abs(picture - strip[12] / 255.0).max(axis=2) < 0.03
    assert near.sum() > 100


def test_ribbon_columns_are_the_strip_of_their_moment(run: Run) -> None:
    image = ribbon(run.trace, 50, 24)
    end_s = run.trace.time_s[-1]
    kept = [i for i, strip in enumerate(run.trace.strip) if strip is not None]
    for column in (0, 20, 49):
        late_s = (column + 1) * end_s / 50
        last = max(i for i in kept if run.trace.time_s[i] <= late_s)
        np.testing.assert_array_equal(image[:, column, :3], run.trace.strip[last])


def test_ribbon_is_empty_where_the_liquid_was_not_seen(run: Run) -> None:
    hidden = tuple(
        None if 30 < t < 60 else strip
        for t, strip in zip(run.trace.time_s, run.trace.strip, strict=True)
    )
    image = ribbon(replace(run.trace, strip=hidden), 120, 8, (0.0, 120.0))
    assert (image[:, 33:59, 3] == 0).all()
    assert (image[:, 65:75, 3] == 255).all()
    assert not ribbon(replace(run.trace, strip=(None,) * len(run.trace)), 10, 4).any()


@pytest.mark.parametrize(("length_s", "count"), [(90.0, 2), (600.0, 30), (1200.0, 150)])
def test_numbers_do_not_touch_and_those_left_out_are_told(length_s: float, count: int) -> None:
    figure = trace_figure(make_run(length_s=length_s, count=count, pictures=0))
    FigureCanvasAgg(figure).draw()
    lane = figure.axes[0]
    texts = [text for text in lane.texts if text.get_text().isdigit()]
    boxes = [text.get_window_extent() for text in texts]
    assert all(after.x0 > before.x1 for before, after in pairwise(boxes))
    numbers = [int(text.get_text()) for text in texts]
    assert (numbers[0], numbers[-1]) == (1, count)
    note = " ".join(figure.texts[-1].get_text().split())
    told = f"{len(numbers)} of the {count} additions have their numbers"
    assert (told in note) == (len(numbers) < count)


def test_the_note_below_stays_on_the_picture(run: Run) -> None:
    odd = Event(5.0, "disturbance", 6.0, 6.0, {"kind": "a_name_longer_than_any_that_is_known"})
    others = [replace(odd, detail={"kind": f"kind_of_trouble_number_{n}"}) for n in range(4)]
    figure = trace_figure(replace(run, events=(*run.events, odd, *others)))
    FigureCanvasAgg(figure).draw()
    box = figure.texts[-1].get_window_extent()
    assert box.x1 < figure.bbox.x1
    assert box.y1 < min(ax.get_tightbbox().y0 for ax in figure.axes)
