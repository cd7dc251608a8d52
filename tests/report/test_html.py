"""The HTML report: self-contained, escaped, readable without colour, script or sight."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from huehold.core import SourceInfo, Trace, Verdict
from huehold.errors import InputError
from huehold.report.html import report_html, write_report
from huehold.report.html.data import MOST_POINTS, embedded_json, run_data, thinned
from huehold.report.words import VERDICTS
from huehold.run import Run
from tests.report.factory import assay, make_run, real_assay

NASTY = "</script><script>alert(1)</script><img src=x onerror=alert(2)>&amp;\u2028.mp4"
VOID = {"meta", "img", "input", "br", "rect", "link", "hr", "mspace"}


class Page(HTMLParser):
    """Collects elements, texts, and whether every tag is closed by its own."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.inside: dict[str, list[str]] = {}
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open:
            self.inside.setdefault(self.open[-1], []).append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.elements if name == tag]


@pytest.fixture(scope="module")
def text(run: Run) -> str:
    return report_html(run)


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    return Page(text)


def embedded(text: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="run-data">(.*?)</script>', text, re.S)
    assert found is not None
    return json.loads(found.group(1))  # type: ignore[no-any-return]


def test_a_missing_folder_is_one_sentence(run: Run, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        write_report(run, tmp_path / "no" / "report.html")


def test_names_cannot_break_out_of_the_page(run: Run) -> None:
    source = SourceInfo(NASTY, 640, 480, 120.0, {"codec": NASTY})
    verdict = replace(run.verdict, reasons=(NASTY,))
    nasty = replace(run, source=source, warnings=(NASTY,), verdict=verdict, assay=assay(NASTY))
    text = report_html(nasty)
    page = Page(text)
    assert len(page.all("script")) == 2
    assert not any("onerror" in attrs for _, attrs in page.elements)
    assert embedded(text)["duration_s"] > 0


def test_json_in_a_script_element_cannot_end_it() -> None:
    value = {"a": "</script><!--", "b": "\u2028", "c": "&lt;"}
    written = embedded_json(value)
    assert not set("<>&\u2028") & set(written)
    assert json.loads(written) == value


def test_nan_never_reaches_the_page() -> None:
    with pytest.raises(ValueError, match="JSON"):
        embedded_json({"a": float("nan")})


def test_the_page_asks_for_nothing_from_elsewhere(text: str, page: Page) -> None:
    for _, attrs in page.elements:
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            value = attrs.get(name)
            assert value is None or value.startswith(("#", "data:")), value
    assert not page.all("link")
    assert "@import" not in text
    assert not re.search(r"\burl\(|fetch\(|XMLHttpRequest|WebSocket|import\(", text)


def test_the_policy_allows_exactly_the_inline_style_and_script(text: str, page: Page) -> None:
    policy = next(m["content"] for m in page.all("meta") if "http-equiv" in m)
    assert policy is not None
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    style = re.search(r"<style>(.*?)</style>", text, re.S)
    script = re.search(r"<script>(.*?)</script>", text, re.S)
    assert style is not None
    assert script is not None
    for part in (style.group(1), script.group(1)):
        digest = base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert not any("style" in attrs for _, attrs in page.elements)
    assert not any(name.startswith("on") for _, attrs in page.elements for name in attrs)


def test_every_element_is_closed_and_ids_are_unique(page: Page) -> None:
    assert page.open == []
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in page.elements:
        for name in ("aria-labelledby", "aria-describedby"):
            assert attrs.get(name, ids[0]) in ids


def test_every_id_the_script_uses_is_there(text: str, page: Page) -> None:
    script = text[text.rindex("<script>") :]
    wanted = set(re.findall(r'\$\("([a-z-]+)"\)', script)) | set(
        re.findall(r'"(r-[a-z]+)":', script)
    )
    ids = {attrs.get("id") for _, attrs in page.elements}
    assert len(wanted) > 15
    assert wanted <= ids


def test_pictures_have_texts_and_controls_have_names(page: Page) -> None:
    assert all("alt" in attrs for attrs in page.all("img"))
    assert len(page.all("label")) == len(page.all("input")) > 6
    assert all(attrs.get("type") for attrs in page.all("button"))
    assert all(attrs.get("scope") for attrs in page.all("th"))
    (chart,) = (attrs for attrs in page.all("div") if attrs.get("id") == "chart")
    assert chart["role"] == "slider"
    assert chart["tabindex"] == "0"
    assert any(attrs.get("aria-live") == "polite" for attrs in page.all("p"))


def test_headings_do_not_skip_a_level(page: Page) -> None:
    levels = [int(tag[1]) for tag, _ in page.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


@pytest.mark.parametrize("kind", list(VERDICTS))
def test_every_verdict_stands_as_word_and_shape(kind: str) -> None:
    text = report_html(make_run(length_s=90.0, count=2, kind=kind, pictures=1))
    words = VERDICTS[kind]  # type: ignore[index]
    assert f"<title>{words.word} –" in text
    assert f'aria-hidden="true">{words.shape}</span> {words.word}</h1>' in text


def test_result_working_budget_and_cautions_are_there(text: str, run: Run) -> None:
    for part in (
        "81.5 ± 1.6 mg/mL (k = 2)", "<mfrac>", "titrant strength", "71.5 %",
        "Do not drink", "medical decision", "Follow local codes", "eye protection",
        *run.warnings, run.method.cautions[0][:20],
    ):  # fmt: skip
        assert part in text


def test_a_computed_assay_is_shown_whole(run: Run) -> None:
    made = real_assay()
    page = Page(report_html(replace(run, assay=made)))
    shown = " ".join(text for texts in page.inside.values() for text in texts)
    for _, value in made.summary:
        assert value in shown
    for row in made.budget:
        assert row.name in shown
    assert made.decision in shown
    assert f"Rounded once: {made.working.result}" in shown
    assert page.open == []
    assert not any("style" in attrs for _, attrs in page.elements)


def test_without_masses_and_pictures_the_page_has_no_empty_parts(bare_run: Run) -> None:
    text = report_html(bare_run)
    for part in ("Working, step by step", "Warnings</h2>", 'id="picture"', 'id="see-hold"'):
        assert part not in text
    assert Page(text).open == []


def test_an_empty_run_still_gives_a_page(run: Run) -> None:
    empty = replace(
        run, trace=Trace.of([]), events=(), readings=(), assay=None, pictures=(),
        verdict=Verdict("unreadable", ("No frame could be read.",)),
    )  # fmt: skip
    text = report_html(empty)
    assert "No frame could be read." in text
    assert "No events were noted." in text
    assert embedded(text)["time_s"] == []


def test_events_table_has_a_jump_for_every_event(page: Page, run: Run) -> None:
    times = [float(b["data-time"] or "nan") for b in page.all("button") if "data-time" in b]
    assert times == pytest.approx([event.time_s for event in run.events], abs=1e-6)


def test_columns_of_the_data_agree(run: Run) -> None:
    data = run_data(run)
    names = ("hue_deg", "hue_sd_deg", "chroma", "turbidity", "trust", "reasons")
    assert {len(data[name]) for name in names} == {len(data["time_s"])}
    hand = data["reason_sets"].index("hand")
    assert data["reasons"].count(hand) == sum(r == ("hand",) for r in run.trace.reasons)


def test_thinning_keeps_extremes_order_and_ends() -> None:
    trace = make_run(length_s=900.0, count=30, pictures=0).trace
    kept = thinned(trace)
    assert len(kept) <= MOST_POINTS
    assert (np.diff(kept) > 0).all()
    assert (kept[0], kept[-1]) == (0, len(trace) - 1)
    for column in (trace.hue_deg, trace.turbidity):
        assert np.nanmax(column[kept]) == np.nanmax(column)
        assert np.nanmin(column[kept]) == np.nanmin(column)
    assert trace.trust[kept].min() == trace.trust.min()


def test_a_quarter_of_an_hour_stays_under_five_megabytes() -> None:
    run = make_run(length_s=900.0, count=40, pictures=400)
    heavy = tuple(replace(p, jpeg=p.jpeg + bytes(14_000 - len(p.jpeg) % 100)) for p in run.pictures)
    assert len(report_html(replace(run, pictures=heavy)).encode()) < 5_000_000


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2)."""
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(first: str, second: str) -> float:
    high, low = sorted((luminance(first), luminance(second)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula_gives_the_published_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("theme", [0, 1])
def test_inks_reach_wcag_aa(text: str, theme: int) -> None:
    blocks = re.findall(r":root(?:, #paper)? \{\s*(--page.*?)\}", text, re.S)[:2]
    inks = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", blocks[theme]))
    for name in ("ink", "muted", "accent"):
        for ground in ("page", "card", "panel", "band"):
            assert contrast(inks[name], inks[ground]) >= 4.5, (name, ground)
    assert contrast(inks["ink"], inks["warn"]) >= 4.5
    for name in ("hue", "chroma", "turbidity", "mass", "trust", "hold-edge", "fade-edge"):
        assert contrast(inks[name], inks["panel"]) >= 3.0, name
    for name in ("hold", "fade", "disturbed"):
        assert contrast(inks["ink"], inks[name]) >= 4.5, name
    assert contrast(inks["edge"], inks["card"]) >= 3.0
