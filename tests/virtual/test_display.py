"""The balance's display and its reading."""

from __future__ import annotations

import numpy as np
import pytest

from huehold.virtual.display import SEGMENTS, display_picture, display_text
from huehold.virtual.display_reading import ShownMass
from huehold.virtual.presets_model import BalanceOn
from huehold.virtual.simulate_story import Act, Story

# The usual codes of common seven-segment drivers, bits a (lowest) to g: hexadecimal digits 0-9
# as in the data sheet of the 7447's successors.
_CODES = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F)


@pytest.mark.parametrize(("digit", "code"), list(enumerate(_CODES)))
def test_segments_of_the_digits(digit, code):
    lit = {"abcdefg"[bit] for bit in range(7) if code >> bit & 1}
    assert set(SEGMENTS[str(digit)]) == lit


@pytest.mark.parametrize(
    ("mass", "step", "text"),
    [
        (0.0, 0.01, "   0.00"),
        (-0.001, 0.01, "   0.00"),
        (12.346, 0.01, "  12.35"),
        (-3.2, 0.1, "   -3.2"),
        (7.6, 1.0, "     8"),
        (1234.567, 0.01, "1234.57"),
    ],
)
def test_mass_is_written_as_the_balance_shows_it(mass, step, text):
    assert display_text(mass, step) == text


def test_each_digit_lights_its_share_of_segments():
    dark = display_picture("      ", "lcd").min(axis=2)
    for digit in "0123456789":
        picture = display_picture(f"     {digit}", "lcd").min(axis=2)
        lit = (dark - picture > 0.1).sum()
        eight = (dark - display_picture("     8", "lcd").min(axis=2) > 0.1).sum()
        assert lit / eight == pytest.approx(len(SEGMENTS[digit]) / 7, abs=0.06)


def test_led_is_bright_on_dark_and_lcd_dark_on_bright():
    led, lcd = display_picture("     8", "led"), display_picture("     8", "lcd")
    assert np.median(led) < 0.05 < led.max()
    assert np.median(lcd) > 0.2 > lcd.min()


def _story(acts=()) -> Story:
    time = np.array([0.0, 4.999, 5.0, 30.0])
    titrant = np.array([0.0, 0.0, 1.5, 1.5])
    blank = np.zeros((4, 8))
    return Story(time, titrant, titrant, titrant, blank, blank, acts=acts)


def test_reading_follows_late_and_settles_on_the_mass():
    shown = ShownMass(_story(), BalanceOn(settling_s=0.8), np.random.default_rng(1))
    assert shown.at(4.0) == 0.0
    assert 0.0 < shown.at(5.6) < 1.5
    assert shown.at(15.0) == pytest.approx(1.5, abs=0.005)


def test_reading_keeps_to_the_balance_step():
    shown = ShownMass(_story(), BalanceOn(readability_g=0.1), np.random.default_rng(1))
    values = np.array([shown.at(t) for t in np.arange(0.0, 20.0, 0.25)])
    np.testing.assert_allclose(values / 0.1, np.round(values / 0.1), atol=1e-6)


def test_hand_on_the_cup_disturbs_the_reading():
    acts = (Act(10.0, 13.0, "swirl"),)
    shown = ShownMass(_story(acts), BalanceOn(), np.random.default_rng(1))
    values = [shown.at(t) for t in np.arange(10.2, 13.0, 0.25)]
    assert np.ptp(values) > 5.0
    assert shown.at(25.0) == pytest.approx(1.5, abs=0.011)
