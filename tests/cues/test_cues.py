"""Cues: told apart by ear, within bounds, played or excused in words."""

import itertools
import time

import numpy as np
import pytest

from huehold.core import Event
from huehold.cues import CUES, cue_for, samples
from huehold.cues.player import Player, SoundError
from huehold.cues.tones import SAMPLE_RATE_HZ


@pytest.mark.parametrize("cue", CUES.values(), ids=lambda cue: cue.name)
def test_a_cue_is_a_clean_sound(cue):
    sound = samples(cue).astype(float) / 32767
    assert 0.04 < len(sound) / SAMPLE_RATE_HZ < 2.0
    assert 0.15 < np.abs(sound).max() <= 1.0
    assert abs(sound[0]) < 0.01
    assert abs(sound[-1]) < 0.01
    assert np.abs(np.diff(sound)).max() < 0.2  # no clicks


@pytest.mark.parametrize("cue", CUES.values(), ids=lambda cue: cue.name)
def test_the_tones_are_where_they_are_said_to_be(cue):
    sound = samples(cue).astype(float)
    for note in cue.notes:
        start = round(note.start_s * SAMPLE_RATE_HZ)
        part = sound[start : start + round(note.duration_s * SAMPLE_RATE_HZ)]
        spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
        peak_hz = np.argmax(spectrum) * SAMPLE_RATE_HZ / len(part)
        assert peak_hz == pytest.approx(note.frequency_hz, abs=SAMPLE_RATE_HZ / len(part))


def test_no_two_cues_share_rhythm_and_tones():
    forms = [tuple((n.frequency_hz, n.duration_s) for n in cue.notes) for cue in CUES.values()]
    assert all(a != b for a, b in itertools.combinations(forms, 2))
    assert len({cue.words for cue in CUES.values()}) == len(CUES)
    assert len({cue.symbol for cue in CUES.values()}) == len(CUES)


def test_the_endpoint_lasts_longest_and_volume_scales():
    lengths = {name: len(samples(cue)) for name, cue in CUES.items()}
    assert max(lengths, key=lengths.__getitem__) == "endpoint"
    assert not samples(CUES["endpoint"], 0.0).any()
    full, half = samples(CUES["endpoint"]), samples(CUES["endpoint"], 0.5)
    assert np.abs(half).max() == pytest.approx(np.abs(full).max() / 2, abs=2)


def test_events_have_their_cues():
    assert cue_for(Event(1.0, "endpoint")) is CUES["endpoint"]
    assert cue_for(Event(1.0, "disturbance")) is None


def test_the_player_plays_the_whole_cue_into_a_device():
    import miniaudio

    with Player(backends=[miniaudio.Backend.NULL]) as player:
        player.play(CUES["addition"])
        wanted = len(samples(CUES["addition"]))
        deadline = time.monotonic() + 60
        while player.played < wanted and time.monotonic() < deadline:
            time.sleep(0.02)
        assert player.played == wanted
        player.muted = True
        player.play(CUES["endpoint"])
        time.sleep(0.1)
        assert player.played == wanted


def test_no_sound_device_is_one_sentence():
    import miniaudio

    class Nothing:
        value = -1

    with pytest.raises(SoundError, match="no sound device"):
        Player(backends=[miniaudio.Backend.CUSTOM, Nothing()])
