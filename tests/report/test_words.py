from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.report.words import clock, grams, hue_word, reason_words, sentence


@pytest.mark.parametrize(
    ("time_s", "digits", "text"),
    [
        (None, 1, "–"),
        (0.0, 1, "0:00.0"),
        (59.96, 1, "1:00.0"),
        (187.44, 1, "3:07.4"),
        (3600.0, 0, "60:00"),
        (-1.25, 2, "-0:01.25"),
        (-0.01, 1, "0:00.0"),
    ],
)
def test_times_carry_into_minutes(time_s: float | None, digits: int, text: str) -> None:
    assert clock(time_s, digits) == text


@given(st.floats(0, 1e5))
def test_seconds_never_read_sixty(time_s: float) -> None:
    minutes, seconds = clock(time_s).split(":")
    assert float(seconds) < 60
    assert int(minutes) * 60 + float(seconds) == pytest.approx(time_s, abs=0.0501)


# CIELAB hue angles of sRGB primaries and of chart patches, recomputed with colour-science:
# red 40, yellow 102.9, green 136.0, blue 306.3.
@pytest.mark.parametrize(
    ("hue", "word"),
    [
        (40.0, "red-orange"),
        (102.9, "yellow"),
        (136.0, "green"),
        (306.3, "purple"),
        (400.0, "red-orange"),
    ],
)
def test_hues_have_common_names(hue: float, word: str) -> None:
    assert hue_word(hue) == word


def test_reasons_are_words() -> None:
    assert reason_words("white_lost") == "white lost"


@pytest.mark.parametrize(
    ("clause", "text"), [("no blank", "No blank."), ("5 % read.", "5 % read."), ("", ".")]
)
def test_clauses_become_sentences(clause: str, text: str) -> None:
    assert sentence(clause) == text


@pytest.mark.parametrize(
    ("mass_g", "text"),
    [
        (15.22, "15.22 g"),
        (9.0, "9.00 g"),
        (0.0, "0.00 g"),
        (15.2205, "15.2205 g"),
        (10.1 + 5.12, "15.22 g"),
        (4.573, "4.573 g"),
    ],
)
def test_masses_have_the_digits_of_a_balance_and_no_invented_ones(mass_g: float, text: str) -> None:
    assert grams(mass_g) == text


@pytest.mark.parametrize(
    ("clause", "whole"),
    [
        ("no strength was given", "No strength was given."),
        ("masses.csv has no column", "masses.csv has no column."),
        ("pH is wrong", "pH is wrong."),
        ("--claim is missing", "--claim is missing."),
        ("did you mean it?", "Did you mean it?"),
    ],
)
def test_clauses_become_sentences_and_names_stay_as_they_are(clause: str, whole: str) -> None:
    assert sentence(clause) == whole
