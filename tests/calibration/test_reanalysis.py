"""A run of the notebook gone through again with other calibrations."""

from __future__ import annotations

import json
from datetime import date

import pytest

from huehold.calibration.camera import CameraCalibration
from huehold.calibration.dropper import Weighing
from huehold.calibration.dropper import calibrate as dropper
from huehold.calibration.store import Store
from huehold.calibration.turbidity import calibrate as turbidity
from huehold.errors import UsageError
from huehold.notebook import Notebook
from huehold.past_runs import calibration_record, open_run, recalibrated
from huehold.report.html import report_html
from huehold.report.result import result_dict
from tests.cli.calling import outcome
from tests.page.story import HOLD_S, METHOD, observations

MADE = date(2026, 11, 1)
OLD = dropper([Weighing(20, 0.96)], name="old", made=MADE)
NEW = dropper([Weighing(20, 1.02)], name="new", made=MADE)
CURVE = turbidity([(0.0, 0.1), (0.5, 0.7), (1.0, 0.9)], name="series", made=MADE)
CAMERA = CameraCalibration(
    name="phone", date=MADE, remind_after=None, matrix=((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    white=(0.8, 0.8, 0.8), chart="chart",
)  # fmt: skip


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """A run of the notebook that was watched with a dropper and a camera's calibration."""
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path))
    path = tmp_path / "notebook.sqlite3"
    with Notebook(path) as book:
        number = book.begin(
            method=METHOD.model_dump_json(by_alias=True), settings={"hold_s": HOLD_S},
            source={"name": "story"},
            calibrations=[calibration_record(known) for known in (OLD, CAMERA)],
        )  # fmt: skip
        book.append(number, observations())
        book.set_inputs(number, {"sample_mass": "0.61 g", "titrant_mass": "2.4 g"})
        yield book, number


def test_a_cameras_cannot_be_exchanged(kept):
    book, number = kept
    with pytest.raises(UsageError, match="review a recording"):
        recalibrated(book.run(number), [CAMERA])


def test_one_takes_the_place_of_another_of_its_kind(kept):
    book, number = kept
    record = book.run(number)
    refs = [c.ref for c in recalibrated(record, [NEW, CURVE])]
    assert refs == ["dropper/new@1", "camera/phone@1", "turbidity/series@1"]
    assert [c.ref for c in recalibrated(record, [CURVE], alone=True)] == [
        "camera/phone@1", "turbidity/series@1",
    ]  # fmt: skip


def test_the_record_stands_and_the_result_is_the_others(kept):
    book, number = kept
    before = open_run(book, number)
    after = open_run(book, number, calibrations=recalibrated(book.run(number), [NEW, CURVE]))
    assert before.calibrations == ("dropper/old@1", "camera/phone@1")
    assert after.calibrations == ("dropper/new@1", "camera/phone@1", "turbidity/series@1")
    assert result_dict(after)["calibrations"] == list(after.calibrations)
    for ref in after.calibrations:
        assert ref in report_html(after)
    assert (
        result_dict(after)["assay"] != result_dict(before)["assay"]
    )  # half a drop is in its budget
    seen = [o.turbidity for o in observations()]
    assert list(before.trace.turbidity) == pytest.approx(seen, nan_ok=True)
    assert list(after.trace.turbidity) != pytest.approx(seen, nan_ok=True)
    assert open_run(book, number).calibrations == before.calibrations


def test_the_command(kept, capsys, tmp_path):
    book, number = kept
    Store().save(NEW)
    command = ["runs", "--notebook", str(book.path), "show", str(number), "--json", "-"]
    code, out, _ = outcome(capsys, *command, "--calibration", "dropper/new")
    assert code == 0
    assert json.loads(out)["calibrations"] == ["dropper/new@1", "camera/phone@1"]
    code, out, _ = outcome(capsys, *command, "--calibration", "none")
    assert json.loads(out)["calibrations"] == ["camera/phone@1"]
    code, out, err = outcome(capsys, *command, "--calibration", "dropper/none-such")
    assert (code, out) == (2, "")
    assert "There is no calibration" in err
