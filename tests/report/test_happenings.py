"""The events as reports need them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from huehold.core import Event, Reading, Verdict
from huehold.masses import MassInputs, assay_of
from huehold.report.figures import key_figures
from huehold.report.happenings import bracket, broken_holds, hold_span, onset_addition
from huehold.report.html.tables import event_rows, number_rows
from huehold.run import Run
from tests.report.factory import make_run


def test_without_an_onset_there_is_neither_bracket_nor_hold(bare_run: Run) -> None:
    assert bracket(bare_run) is None
    assert hold_span(bare_run) is None


def test_bracket_is_the_masses_around_the_addition_before_the_onset(run: Run) -> None:
    events = tuple(Event(t, "addition") for t in (10.0, 20.0, 90.0))
    readings = tuple(Reading(t, g, "typed") for t, g in ((11.0, 1.0), (21.0, 1.5), (91.0, 1.6)))
    verdict = Verdict("endpoint", onset_s=20.5, confirmed_s=80.5, hold_s=60.0)
    found = bracket(replace(run, events=events, readings=readings, verdict=verdict))
    assert found is not None
    assert (found.before_g, found.after_g) == (1.0, 1.5)
    assert onset_addition(replace(run, events=events, verdict=verdict)) == 2


def test_without_masses_there_is_no_bracket_but_the_addition_is_known(run: Run) -> None:
    bare = replace(run, readings=())
    assert bracket(bare) is None
    assert onset_addition(bare) is not None


def test_without_an_addition_seen_the_report_states_the_mass_the_assay_used(run: Run) -> None:
    readings = tuple(Reading(t, g, "typed") for t, g in ((11.0, 9.0), (21.0, 10.0), (91.0, 10.6)))
    verdict = Verdict("endpoint", onset_s=20.5, confirmed_s=80.5, hold_s=60.0)
    blind = replace(run, events=(), readings=readings, verdict=verdict)
    inputs = MassInputs(readings, {"sample_mass": "5.0", "strength": "5.0 %"})
    assay, _ = assay_of(run.method, verdict, (), inputs, 100.0)
    assert assay is not None
    stated = dict(key_figures(blind))["Titrant"]
    assert stated.startswith(f"{float(assay.given['titrant_mass']):.2f} g at the onset")
    assert onset_addition(blind) is None


def test_a_last_addition_that_added_nothing_leaves_a_result(run: Run) -> None:
    events = tuple(Event(t, "addition") for t in (10.0, 20.0))
    readings = tuple(Reading(t, g, "typed") for t, g in ((11.0, 10.0), (21.0, 10.0)))
    verdict = Verdict("endpoint", onset_s=20.5, confirmed_s=80.5, hold_s=60.0)
    inputs = MassInputs(readings, {"sample_mass": "5.0", "strength": "5.0 %"})
    assay, told = assay_of(run.method, verdict, events, inputs, 100.0)
    assert assay is not None
    assert told


def test_broken_holds_are_paired_with_their_starts(run: Run) -> None:
    kinds = (
        (1.0, "hold_started"), (4.0, "hold_broken"), (6.0, "hold_broken"), (8.0, "hold_started"),
    )  # fmt: skip
    events = tuple(Event(t, kind) for t, kind in kinds)  # type: ignore[arg-type]
    assert broken_holds(replace(run, events=events)) == [(1.0, 4.0), (6.0, 6.0)]


def test_details_are_said_with_their_units(run: Run) -> None:
    detail = {"reason": "foreign_colour", "lasted_s": 2.854, "hue_deg": 131.0, "note": None}
    rows = event_rows(replace(run, events=(Event(5.0, "hold_broken", detail=detail),)))
    assert rows[0].detail == "reason foreign colour, lasted 2.85 s, hue 131°, note unknown"


@pytest.mark.parametrize(("length_s", "step_s"), [(90.0, 1.0), (900.0, 5.0), (5400.0, 30.0)])
def test_the_table_of_numbers_keeps_to_a_readable_length(length_s: float, step_s: float) -> None:
    run = make_run(length_s=length_s, rate_hz=2.0, count=3, pictures=0)
    step, rows = number_rows(run)
    assert step == step_s
    assert 80 <= len(rows) <= 181
    assert rows[0].clock == "0:00.0"
