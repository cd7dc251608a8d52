"""Which reading is the titrant at the endpoint, and which bounds it from below."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from huehold.balance.additions import align, masses_of_additions, rises
from huehold.balance.bracket import check_within, titrant_bracket
from huehold.core import Reading
from huehold.errors import InputError


def readings(*pairs):
    return tuple(Reading(float(t), float(m), "typed") for t, m in pairs)


ADDED = (20.0, 50.0, 80.0, 110.0)
TYPED = readings((0, 0), (24, 1.0), (55, 1.5), (86, 1.9), (114, 2.0))


def test_typed_some_seconds_after_each_addition():
    found = titrant_bracket(TYPED, 80.3, ADDED)
    assert (found.before_g, found.after_g, found.mass_g) == (1.5, 1.9, 1.9)
    assert found.warnings == ()


def test_last_addition_brings_the_endpoint():
    found = titrant_bracket(TYPED, 110.1, ADDED)
    assert (found.before_g, found.after_g) == (1.9, 2.0)


@pytest.mark.parametrize("shift_s", [-1.5, -0.3, 0.0, 0.3, 10.0])
def test_written_at_the_addition_while_the_camera_sees_it_later_or_earlier(shift_s):
    written = readings(
        *((t + shift_s, m) for t, m in zip(ADDED, (1.0, 1.5, 1.9, 2.0), strict=True))
    )
    found = titrant_bracket(written, 80.0, ADDED)
    assert (found.before_g, found.after_g, found.warnings) == (1.5, 1.9, ())


def test_colour_noticed_a_moment_before_the_addition():
    assert titrant_bracket(TYPED, 79.6, ADDED).after_g == 1.9


def test_first_addition_is_bounded_by_nothing_added():
    found = titrant_bracket(readings((25, 1.0)), 20.5, [20.0])
    assert (found.before_g, found.after_g, found.warnings) == (0.0, 1.0, ())


def test_sparse_readings_widen_the_bracket_and_say_so():
    found = titrant_bracket(readings((0, 0), (24, 1.0), (86, 1.9)), 80.3, ADDED)
    assert (found.before_g, found.after_g) == (1.0, 1.9)
    assert "spans 2 additions" in found.warnings[0]


def test_mass_read_only_after_a_later_addition():
    found = titrant_bracket(readings((0, 0), (55, 1.5), (114, 2.0)), 80.3, ADDED)
    assert (found.before_g, found.after_g) == (1.5, 2.0)
    assert "includes 1 more" in found.warnings[0]


def test_nothing_read_before():
    found = titrant_bracket(readings((86, 1.9)), 80.3, ADDED)
    assert found.before_g is None
    assert "not known" in found.warnings[0]


def test_nothing_read_after_is_refused():
    with pytest.raises(InputError, match=r"after the addition at 80\.0 s.*1\.5 g at 55 s"):
        titrant_bracket(TYPED[:3], 80.3, ADDED[:3])


def test_no_readings_is_refused():
    with pytest.raises(InputError, match="no masses"):
        titrant_bracket((), 80.3, ADDED)


def test_balance_that_did_not_move():
    found = titrant_bracket(readings((0, 0), (55, 1.5), (86, 1.5)), 80.3, ADDED[1:3])
    assert "did not change" in found.warnings[0]


def test_mass_that_rose_unseen_is_told():
    found = titrant_bracket(readings((0, 0), (24, 1.0), (40, 1.2), (55, 1.5)), 50.2, ADDED[:2])
    assert (found.before_g, found.after_g) == (1.2, 1.5)
    assert "without an addition being seen (read at 40 s)" in found.warnings[0]


def test_more_titrant_long_after_the_endpoint_does_not_count():
    found = titrant_bracket((*TYPED[:4], *readings((160, 2.6))), 80.3, ADDED[:3])
    assert found.after_g == 1.9


def test_streaming_balance_is_taken_when_it_has_settled():
    stream = readings(
        *((0.2 * i, 0.0) for i in range(100)),
        (20.0, 0.0), (20.4, 0.0), (20.8, 0.3), (21.2, 0.9), (21.6, 1.0),
        *((21.8 + 0.2 * i, 1.0) for i in range(50)),
    )  # fmt: skip
    found = titrant_bracket(stream, 20.1, [20.0])
    assert (found.before_g, found.after_g) == (0.0, 1.0)


def test_without_additions_seen_the_times_decide():
    found = titrant_bracket(TYPED, 80.0, [])
    assert (found.before_g, found.after_g) == (1.9, 2.0)  # typed 34 s after: within the hold
    assert "time alone" in found.warnings[0]
    assert titrant_bracket(TYPED, 80.0, [110.0]).after_g == 1.9


def test_without_additions_and_without_early_readings():
    with pytest.raises(InputError, match="long after the endpoint"):
        titrant_bracket(readings((300, 1.0)), 80.0, [])


@pytest.mark.parametrize("time_s", [-10.0, 200.0])
def test_times_outside_the_recording(time_s):
    with pytest.raises(InputError, match=r"outside the recording \(0 to 150\.0 s\)"):
        titrant_bracket((Reading(time_s, 1.0, "file"),), 80.0, ADDED, duration_s=150.0)
    check_within(TYPED, 113.0)


# --- Masses of additions ------------------------------------------------------------------


def test_masses_of_additions():
    found = masses_of_additions(TYPED, ADDED)
    assert [a.cumulative_g for a in found] == [1.0, 1.5, 1.9, 2.0]
    assert [a.mass_g for a in found] == pytest.approx([1.0, 0.5, 0.4, 0.1])


def test_unread_additions_have_no_mass():
    found = masses_of_additions(readings((24, 1.0), (86, 1.9), (114, 2.0)), ADDED)
    assert [a.cumulative_g for a in found] == [1.0, None, 1.9, 2.0]
    assert [a.mass_g for a in found] == pytest.approx([1.0, None, None, 0.1])


def test_no_readings_no_masses():
    assert [a.mass_g for a in masses_of_additions((), ADDED)] == [None] * 4
    assert masses_of_additions(TYPED, ()) == ()


@given(
    st.lists(st.tuples(st.floats(5, 60), st.floats(0.03, 2)), min_size=1, max_size=20),
    st.floats(-1.9, 4.5),
    st.data(),
)
def test_any_run_with_one_reading_per_addition(steps, delay_s, data):
    """Whatever the delay of the readings, each addition gets its own mass."""
    time_s = mass_g = 0.0
    added, read = [], [Reading(0.0, 0.0, "file")]
    for wait, portion in steps:
        time_s, mass_g = time_s + wait, mass_g + portion
        added.append(time_s)
        read.append(Reading(time_s + delay_s, mass_g, "file"))
    aligned = align(read, added)
    assert aligned.counts == tuple(range(len(added) + 1))
    assert aligned.unexplained == ()
    which = data.draw(st.integers(1, len(added)))
    found = titrant_bracket(read, added[which - 1] + 0.2, added)
    assert (found.before_g, found.after_g) == (read[which - 1].mass_g, read[which].mass_g)


# --- what only the masses tell --------------------------------------------------------------


def test_additions_that_changed_no_colour_open_the_bracket():
    seen_alone = titrant_bracket(TYPED, 110.3, ADDED)
    opened = titrant_bracket(TYPED, 110.3, ADDED, unseen_s=[110.0])
    assert opened.after_g == seen_alone.after_g
    assert opened.before_g == titrant_bracket(TYPED, 80.3, ADDED).before_g
    assert any("changed no colour" in text for text in opened.warnings)


def test_an_unseen_addition_before_a_seen_one_changes_nothing():
    assert titrant_bracket(TYPED, 80.3, ADDED, unseen_s=[50.0]) == titrant_bracket(
        TYPED, 80.3, ADDED
    )


@pytest.mark.parametrize(
    ("shown", "at_s"),
    [
        ((), []),
        (((5, 0.0), (20, 0.0)), []),
        (((5, 0.5), (20, 0.5), (40, 0.55)), [5, 40]),
        (((5, 0.5), (20, 0.51), (40, 0.5), (60, 0.51)), [5]),  # a last digit that flickers
        (((5, 0.1), (6, 0.3), (7, 0.48), (8, 0.5), (30, 0.5)), [8]),  # a stream that climbs
        (((5, 0.01), (20, 0.02), (40, 0.03)), [20]),  # creep adds up to a drop in the end
    ],
)
def test_only_a_rise_at_rest_speaks_of_titrant(shown, at_s):
    assert [reading.time_s for reading in rises(readings(*shown))] == at_s
