"""Printing: laid out for a terminal of any width, plain lines for everything else."""

import io

import pytest
from rich.console import Console

from huehold.report.terminal import Pairs, Rows, print_out

_LONG = "a value of many words that go on and on until no terminal has room for them in one line"


def printed(renderable, *, width=80, terminal=True, term="xterm", encoding="utf-8"):
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, errors="strict", newline="")
    console = Console(file=stream, width=width, force_terminal=terminal, color_system=None,
                      _environ={"TERM": term}, legacy_windows=False)  # fmt: skip
    print_out(renderable, console)
    stream.flush()
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize(("terminal", "term"), [(False, "xterm"), (True, "dumb")])
def test_plain_lines_hold_a_fact_each(terminal, term):
    text = printed(Pairs([("Onset", _LONG), ("Hold", "60 s")]), terminal=terminal, term=term)
    assert text == f"Onset: {_LONG}\nHold: 60 s\n"


def test_a_terminal_has_labels_beside_values_and_a_narrow_one_above():
    wide = printed(Pairs([("Hold", "60 s")])).splitlines()
    assert wide[0].split() == ["Hold", "60", "s"]
    narrow = [line.rstrip() for line in printed(Pairs([("Hold", "60 s")]), width=40).splitlines()]
    assert narrow == ["Hold", "  60 s"]


def test_rows_are_sentences_where_a_table_would_be_cut():
    rows = Rows((">run", "verdict", "result"), [("7", "endpoint", ""), ("8", "overshoot", "1.2 g")])
    narrow = [line.rstrip() for line in printed(rows, width=40).splitlines()]
    assert narrow == ["run 7: verdict endpoint", "run 8: verdict overshoot, result 1.2 g"]
    assert printed(rows).splitlines()[0].split() == ["run", "verdict", "result"]


@pytest.mark.parametrize("width", [24, 40, 80])
def test_nothing_is_cut_or_wider_than_the_terminal(width):
    for shown in (Pairs([("Label", _LONG)]), Rows(("name", "value"), [("x", _LONG)])):
        text = printed(shown, width=width)
        assert max(map(len, text.splitlines())) <= width
        assert "…" not in text
        assert _LONG.split()[-1] in text


def test_signs_are_spelled_where_the_console_lacks_them():
    assert printed(Pairs([("Hue", "60° ± 2°")]), terminal=False, encoding="ascii") == (
        "Hue: 60 deg +/- 2 deg\n"
    )
