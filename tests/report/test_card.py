"""The verdict card: words and shapes, any width, any console."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from huehold.core import Verdict
from huehold.report.card import print_card
from huehold.report.words import VERDICTS
from huehold.run import Run
from tests.report.factory import assay, make_run


def shown(
    run: Run,
    *,
    width: int = 80,
    encoding: str = "utf-8",
    colour: bool = False,
    terminal: bool = True,
) -> str:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, errors="strict", newline="")
    system = "truecolor" if colour else None
    console = Console(
        file=stream, width=width, color_system=system, force_terminal=terminal,
        legacy_windows=False, _environ={"TERM": "xterm"},
    )  # fmt: skip
    print_card(run, console)
    stream.flush()
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437"])
def test_consoles_without_unicode_get_plain_signs(run: Run, encoding: str) -> None:
    text = shown(run, encoding=encoding)
    assert "[#] ENDPOINT" in text
    assert "81.5 +/- 1.6 mg/mL" in text
    assert text.isascii()


@pytest.mark.parametrize("width", [24, 40, 80, 200])
def test_no_line_is_wider_than_the_console(run: Run, width: int) -> None:
    lines = shown(run, width=width).splitlines()
    assert lines
    assert max(len(line) for line in lines) <= width


@pytest.mark.parametrize("kind", list(VERDICTS))
def test_every_verdict_is_a_word_with_its_own_shape(kind: str) -> None:
    text = shown(make_run(length_s=90.0, count=2, kind=kind, pictures=0))
    words = VERDICTS[kind]  # type: ignore[index]
    assert f"{words.shape} {words.word.upper()}" in text


def test_verdicts_are_told_apart_without_colour() -> None:
    for marks in ("word", "shape", "plain_shape"):
        assert len({getattr(words, marks) for words in VERDICTS.values()}) == len(VERDICTS)


def test_colour_adds_nothing_that_words_do_not_say(run: Run) -> None:
    import re

    coloured = re.sub(r"\x1b\[[0-9;]*m", "", shown(run, colour=True))
    assert coloured == shown(run)


def test_result_decision_warnings_and_cautions_are_all_there(run: Run) -> None:
    text = " ".join(shown(run, width=200).replace("│", " ").split())
    for part in (
        "81.5 ± 1.6 mg/mL (k = 2)",
        "claims 1,200 mg per 15 mL: within 5 %.",
        "No white patch was found",
        "Wear eye protection",
        "Do not drink",
        "medical decision",
        "Follow local codes",
    ):
        assert part in text


def test_markup_in_names_is_text(run: Run) -> None:
    odd = replace(run, source=replace(run.source, name="[bold]run[/bold].mp4"))
    assert "[bold]run[/bold].mp4" in shown(odd)


def test_without_masses_no_result_is_shown(bare_run: Run) -> None:
    text = shown(bare_run)
    assert "Result" not in text
    assert "Titrant" not in text
    assert "Warnings" not in text


def test_figures_follow_the_verdict(bare_run: Run) -> None:
    verdict = Verdict("endpoint", ("Held.",), 61.26, 121.3, 64.0, 130.4, False)
    text = shown(replace(bare_run, verdict=verdict, assay=assay("syrup")))
    assert "1:01.3 (61.3 s from the first frame)" in text
    assert "64.0 s seen, 60 s asked, complete at 2:01.3" in text
    assert "yellow-green to green, hue 130°" in text
    assert "not clear" in text
    assert "The syrup claims" in text


def test_what_is_no_terminal_gets_a_fact_a_line_without_frame_or_wrapping(run: Run) -> None:
    lines = shown(run, width=40, terminal=False).splitlines()
    text = "\n".join(lines)
    assert not set(text) & set("│╭╮╰╯─")
    assert "■ ENDPOINT" in text
    assert any(line.startswith("Onset: ") for line in lines)
    assert all(line == line.rstrip() for line in lines)
    assert any(len(line) > 60 for line in lines)


def test_a_dumb_terminal_gets_plain_lines_too(run: Run) -> None:
    stream = io.StringIO()
    print_card(run, Console(file=stream, force_terminal=True, _environ={"TERM": "dumb"}))
    assert stream.getvalue() == shown(run, terminal=False)
