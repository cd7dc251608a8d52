"""Runs of the notebook gone through again: the record is read, never changed."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from pydantic import ConfigDict, TypeAdapter, with_config

from huehold import __version__
from huehold.calibration.files import model_of
from huehold.calibration.model import Calibration, checked
from huehold.capture.live import LiveSource
from huehold.core import Ellipse, Reading, SourceInfo
from huehold.errors import HueholdError, InputError, UsageError
from huehold.masses import MassInputs
from huehold.methods import Method
from huehold.notebook import Notebook, Outline, RunRecord, is_claimed
from huehold.recorder import scaled_vessel, scaled_white
from huehold.run import Run, Settings
from huehold.session import Session
from huehold.watching import Watch

__all__ = [
    "calibration_record",
    "calibrations_of",
    "cut_off_run",
    "method_of",
    "open_run",
    "recalibrated",
    "resume",
    "resume_watch",
    "settings_of",
]

_SETTINGS = TypeAdapter(with_config(ConfigDict(allow_inf_nan=False))(Settings))
_GO_ON_WITHIN = timedelta(hours=1)


def settings_of(record: RunRecord) -> Settings:
    """Return the settings a run was watched with.

    Raises
    ------
    InputError
        If they were damaged.
    """
    values = record.settings
    try:
        found = _SETTINGS.validate_python(dict(values))
    except ValueError as error:
        raise InputError(_damaged(record, "settings")) from error
    if not (found.hold_s is None or found.hold_s > 0.0) or not found.rate_hz > 0.0:
        raise InputError(_damaged(record, "settings"))
    return found


def method_of(record: RunRecord) -> Method:
    """Return the method a run was watched with, as it was then.

    Raises
    ------
    InputError
        If it was damaged.
    """
    try:
        return Method.model_validate_json(record.method)
    except ValueError as error:
        raise InputError(_damaged(record, "method")) from error


def scale_of(record: RunRecord) -> float:
    """Return the pixels of a frame of a run for one pixel of its source.

    Raises
    ------
    InputError
        If that was damaged.
    """
    scale = record.source.get("scale", 1.0)
    if not isinstance(scale, float | int) or not 0.0 < scale <= 1.0:
        raise InputError(_damaged(record, "scale"))
    return float(scale)


def _placed(outlines: Sequence[Outline], scale: float) -> dict[str, Any]:
    """Return what was outlined by hand as it stood at the end, in pixels of the source."""
    found: dict[str, Any] = {}
    for said in outlines:
        shape = said.placed
        to_source = scaled_vessel if isinstance(shape, Ellipse) else scaled_white
        found[said.what] = to_source(shape, 1.0 / scale)  # type: ignore[arg-type]
    return found


def _damaged(record: RunRecord, what: str) -> str:
    return (
        f"The {what} of run {record.id} cannot be understood: the notebook was damaged or changed "
        "by hand; restore a backup with `huehold runs restore`."
    )


def calibration_record(known: Calibration) -> dict[str, Any]:
    """Return a calibration as the notebook keeps it: its name and all it says."""
    return {"name": known.ref, "content": known.model_dump(mode="json", by_alias=True)}


def calibrations_of(record: RunRecord) -> tuple[Calibration, ...]:
    """Return the calibrations a run was watched with, as they were then.

    Raises
    ------
    InputError
        If they were damaged.
    """
    try:
        return tuple(
            checked(model_of(kept["content"]["kind"]), kept["content"], str(kept["name"]))
            for kept in record.calibrations
        )
    except (KeyError, TypeError, HueholdError) as error:
        raise InputError(_damaged(record, "calibrations")) from error


def recalibrated(
    record: RunRecord, named: Sequence[Calibration], *, alone: bool = False
) -> tuple[Calibration, ...]:
    """Return the calibrations of a run, others in the place of those of their kind.

    Parameters
    ----------
    record : RunRecord
    named : sequence of Calibration
        What it is to be gone through with.
    alone : bool
        Leave out the record's, except the camera's.

    Raises
    ------
    UsageError
        If a camera's is named: colours were corrected by it as the run was watched.
    """
    if any(known.kind == "camera" for known in named):
        raise UsageError(
            "The notebook keeps colours as the camera's calibration made them, so that one cannot "
            "be exchanged afterwards; review a recording of the run with it instead."
        )
    kept = [known for known in calibrations_of(record) if not alone or known.kind == "camera"]
    return tuple({known.kind: known for known in (*kept, *named)}.values())


def resume(
    notebook: Notebook,
    number: int,
    settings: Settings | None = None,
    calibrations: Sequence[Calibration] | None = None,
    source: LiveSource | None = None,
) -> Session:
    """Return a session that has taken all observations of a run so far, and its outlines by hand.

    Parameters
    ----------
    notebook : Notebook
        Where the run is kept.
    number : int
        The run.
    settings : Settings, optional
        Others than those of the record, to see what they would have given.
    calibrations : sequence of Calibration, optional
        Others than those of the record; see `recalibrated`.
    source : LiveSource, optional
        Where further frames are to come from.

    Raises
    ------
    InputError
        If there is no such run, or its record was damaged.
    """
    record = notebook.run(number)
    scale = scale_of(record)
    device = (record.source if source is None else source.info.detail).get("device", "")
    session = Session(
        method_of(record),
        replace(settings or settings_of(record), **_placed(notebook.outlines(number), scale)),
        scale=scale if source is None else source.scale,
        calibrations=calibrations_of(record) if calibrations is None else calibrations,
        device=str(device),
    )
    # As in the live run: each mass as it was first typed, between the same observations.
    typed = deque(m for m in notebook.masses(number, history=True) if m.revision == 1)
    for observation in notebook.observations(number):
        while typed and typed[0].time_s < observation.time_s:
            entry = typed.popleft()
            session.note_mass(entry.time_s, entry.mass_g)
        session.take(observation)
    return session


def open_run(
    notebook: Notebook,
    number: int,
    *,
    settings: Settings | None = None,
    inputs: MassInputs | None = None,
    calibrations: Sequence[Calibration] | None = None,
) -> Run:
    """Go through a run of the notebook again and return it as if it had just ended.

    Parameters
    ----------
    notebook, number, settings, calibrations
        As for `resume`.
    inputs : MassInputs, optional
        What was weighed, where it differs from the record.

    Raises
    ------
    InputError
        If there is no such run, or its masses make no sense.
    """
    record = notebook.run(number)
    session = resume(notebook, number, settings, calibrations)
    given = inputs or MassInputs.from_mapping(record.inputs, session.method)
    readings = tuple(
        Reading(entry.time_s, entry.mass_g, entry.source) for entry in notebook.masses(number)
    )
    time_s = session.trace().time_s
    end_s = float(time_s[-1]) if len(time_s) else 0.0
    seen = record.source  # what only the pictures told is kept with the run
    source = SourceInfo(
        str(seen.get("name", "camera")), int(seen.get("width_px", 0)), int(seen.get("height_px", 0))
    )
    told = [str(sentence) for sentence in seen.get("warnings", ())]
    if record.program != __version__:
        told.append(
            f"Watched with huehold {record.program}, gone through again with {__version__}."
        )
    run = session.finish(
        source,
        masses=replace(given, readings=readings).dated_by(end_s),
        warnings=told,
    )
    return replace(
        run,
        source=replace(run.source, detail={**run.source.detail, **seen.get("detail", {})}),
        turbidity_basis=str(seen.get("turbidity_basis", run.turbidity_basis)),
        pictures=notebook.pictures(number),
    )


def cut_off_run(notebook: Notebook, now: datetime | None = None) -> RunRecord | None:
    """Return the newest run if it was cut off, saw something, and that not long ago.

    One that is being watched just now, by whichever program, was not cut off.
    """
    now = now or datetime.now(UTC)
    for record in notebook.runs()[:1]:
        seen_s = notebook.seen_until_s(record.id)
        if record.finished_at is not None or seen_s is None:
            continue
        if is_claimed(notebook.path, record.id):
            continue
        seen = datetime.fromisoformat(record.started_at) + timedelta(seconds=seen_s)
        if now - seen < _GO_ON_WITHIN:
            return record
    return None


def resume_watch(
    notebook: Notebook,
    record: RunRecord,
    source: LiveSource,
    *,
    summarise: Callable[[Run], Mapping[str, Any]] | None = None,
) -> Watch:
    """Go on watching a run that was cut off; the time that passed stays a gap in the trace.

    Parameters
    ----------
    notebook, record
        The run.
    source : LiveSource
        Where frames come from now.
    summarise : callable, optional
        As for `Watch`.
    """
    session = resume(notebook, record.id, source=source)
    trace = session.trace()
    started = datetime.fromisoformat(record.started_at)
    passed_s = (datetime.now(UTC) - started).total_seconds()
    begin_s = max(passed_s, float(trace.time_s[-1]) + 1.0)
    watch = Watch(
        source,
        session,
        notebook=notebook,
        run_id=record.id,
        begin_s=begin_s,
        summarise=summarise,
    )
    entries = {e.entry: e for e in notebook.masses(record.id, history=True)}  # the latest of each
    watch.adopt_masses(tuple(entries.values()))
    watch.set_inputs(MassInputs.from_mapping(record.inputs, session.method))
    return watch
