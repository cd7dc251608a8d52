"""The result file: the schema of the contract, no NaN, whole or not at all."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from huehold.core import Event, Reading, Trace, Verdict
from huehold.errors import InputError
from huehold.report.result import result_dict, result_text, write_result
from huehold.report.schema import check_result
from huehold.run import Run
from tests.report.factory import make_run, real_assay

CONTRACT = {
    "source": {"name", "duration_s", "frames_seen", "frames_used", "width_px", "height_px"},
    "endpoint": {"onset_s", "confirmed_s", "hold_s", "hue_deg", "cleared"},
    "trace": {"time_s", "hue_deg", "chroma", "lightness", "turbidity", "trust"},
}
LISTS = {
    "additions": {"time_s", "mass_g", "cumulative_g"},
    "fade_backs": {"peak_s", "back_s"},
    "disturbances": {"start_s", "end_s", "kind"},
    "vessel": {"time_s", "x_px", "y_px", "semi_major_px", "semi_minor_px", "angle_deg"},
    "readings": {"time_s", "mass_g", "source"},
}


def parsed(run: Run) -> dict[str, Any]:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(result_text(run), parse_constant=refuse)


@pytest.mark.parametrize(
    ("place", "value", "message"),
    [
        ("schema", "huehold.run/2", "schema"),
        ("verdict", "maybe", "verdict"),
        ("endpoint", None, "exactly when"),
        ("additions", [{"time_s": 1.0}], r"additions\.0\.mass_g"),
        ("vessel", [{"time_s": 1.0}], r"vessel\.0\.x_px"),
        ("trace", {"time_s": [0.0]}, r"trace\.hue_deg"),
        ("source", {"name": "a", "duration_s": float("nan")}, r"source\.duration_s"),
        ("readings", [{"time_s": "1", "mass_g": 1.0, "source": "typed"}], r"readings\.0\.time_s"),
        ("assay", "none", "assay"),
    ],
)
def test_a_file_that_breaks_the_contract_is_named_by_place(
    run: Run, place: str, value: object, message: str
) -> None:
    broken = {**parsed(run), place: value}
    with pytest.raises(InputError, match=message):
        check_result(broken)


def test_columns_of_different_length_are_refused(run: Run) -> None:
    broken = parsed(run)
    broken["trace"]["hue_deg"].pop()
    with pytest.raises(InputError, match="differ in length"):
        check_result(broken)


def test_time_that_runs_backwards_is_refused(run: Run) -> None:
    broken = parsed(run)
    broken["trace"]["time_s"].reverse()
    with pytest.raises(InputError, match="backwards"):
        check_result(broken)


@pytest.mark.parametrize("gone", sorted({*CONTRACT, *LISTS, "method", "verdict", "warnings"}))
def test_every_field_of_the_contract_is_required(run: Run, gone: str) -> None:
    broken = parsed(run)
    del broken[gone]
    with pytest.raises(InputError, match=gone):
        check_result(broken)


@pytest.mark.parametrize(
    "kind", ["endpoint", "not_reached", "overshoot", "no_start_colour", "unreadable"]
)
def test_every_verdict_gives_a_file_that_follows_the_contract(kind: str) -> None:
    run = make_run(length_s=90.0, count=2, kind=kind, pictures=0)
    result = parsed(run)
    check_result(result)
    assert result["verdict"] == kind
    assert (result["endpoint"] is not None) == (kind == "endpoint")


def test_names_are_those_of_the_contract(run: Run) -> None:
    result = parsed(run)
    assert result["method"] == "magnesium-hydroxide-by-vinegar"
    for place, names in CONTRACT.items():
        assert names <= set(result[place])
    for place, names in LISTS.items():
        assert all(set(item) == names for item in result[place])
        assert result[place]


def test_unseen_values_are_null(run: Run) -> None:
    result = parsed(run)
    unseen = int(np.isnan(run.trace.hue_deg).sum())
    assert unseen > 0
    assert result["trace"]["hue_deg"].count(None) == unseen
    assert result["assay"]["u_mg_per_ml"] is None


def test_warnings_of_the_assay_are_warnings_of_the_run(run: Run) -> None:
    assert parsed(run)["warnings"] == [*run.warnings, "The label is read as 5 g per 100 mL."]


def test_a_computed_assay_computed_again_from_the_file_is_the_same(run: Run) -> None:
    made = real_assay()
    result = parsed(replace(run, assay=made))
    check_result(result)
    again = made.from_json(result["assay"])
    assert again.main.value == pytest.approx(made.main.value, rel=1e-6)
    assert again.main.u == pytest.approx(made.main.u, rel=1e-6)


def test_an_empty_run_is_a_valid_file() -> None:
    run = make_run(length_s=90.0, count=2, pictures=0)
    empty = replace(
        run, trace=Trace.of([]), events=(), readings=(), assay=None, frames_used=0,
        verdict=Verdict("unreadable", ("No frame could be read.",)),
        source=replace(run.source, duration_s=None),
    )  # fmt: skip
    result = parsed(empty)
    check_result(result)
    assert result["source"]["duration_s"] is None
    assert result["trace"]["time_s"] == []


def test_masses_of_additions_come_from_the_readings_between_them(run: Run) -> None:
    events = tuple(Event(t, "addition") for t in (10.0, 20.0, 30.0))
    readings = (Reading(12.0, 0.5, "typed"), Reading(35.0, 1.25, "typed"))
    made = result_dict(replace(run, events=events, readings=readings))["additions"]
    assert made == [
        {"time_s": 10.0, "mass_g": 0.5, "cumulative_g": 0.5},
        {"time_s": 20.0, "mass_g": None, "cumulative_g": None},
        {"time_s": 30.0, "mass_g": None, "cumulative_g": 1.25},
    ]


def test_masses_an_event_carries_go_first(run: Run) -> None:
    event = Event(10.0, "addition", detail={"mass_g": 0.04, "cumulative_g": 1.9})
    made = result_dict(replace(run, events=(event,)))["additions"]
    assert made == [{"time_s": 10.0, "mass_g": 0.04, "cumulative_g": 1.9}]


def test_a_hold_cut_short_is_told_without_an_endpoint(bare_run: Run) -> None:
    verdict = Verdict("not_reached", onset_s=60.0, hold_s=38.5)
    result = parsed(replace(bare_run, verdict=verdict))
    check_result(result)
    assert result["endpoint"] is None
    assert result["hold"] == {"start_s": 60.0, "end_s": 98.5}


def test_writing_replaces_the_file_and_leaves_nothing_beside_it(run: Run, tmp_path: Path) -> None:
    target = tmp_path / "run.json"
    target.write_text("old")
    write_result(run, target)
    check_result(json.loads(target.read_text(encoding="utf-8")))
    assert [path.name for path in tmp_path.iterdir()] == ["run.json"]


def test_a_missing_folder_is_one_sentence(run: Run, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"folder .*nowhere does not exist"):
        write_result(run, tmp_path / "nowhere" / "run.json")


def test_a_folder_in_place_of_a_file_is_one_sentence(run: Run, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"):
        write_result(run, tmp_path)


def test_a_failed_write_keeps_the_old_file(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "run.json"
    target.write_text("old")

    def refuse(self: Path, other: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(InputError, match="No space left"):
        write_result(run, target)
    assert target.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["run.json"]
