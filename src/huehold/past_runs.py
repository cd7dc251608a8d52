"""Runs of the notebook gone through again: the record is read, never changed."""

from __future__ import annotations

from dataclasses import replace

from huehold import __version__
from huehold.core import Ellipse, Reading, Rect, SourceInfo
from huehold.masses import MassInputs
from huehold.methods import Method
from huehold.notebook import Notebook, RunRecord
from huehold.run import Run, Settings
from huehold.session import Session

__all__ = ["method_of", "open_run", "resume", "settings_of"]


def settings_of(record: RunRecord) -> Settings:
    """Return the settings a run was watched with."""
    values = dict(record.settings)
    vessel, white = values.pop("vessel", None), values.pop("white", None)
    return Settings(
        **values,
        vessel=Ellipse(**vessel) if vessel else None,
        white=Rect(**white) if white else None,
    )


def method_of(record: RunRecord) -> Method:
    """Return the method a run was watched with, as it was then."""
    return Method.model_validate_json(record.method)


def resume(notebook: Notebook, number: int, settings: Settings | None = None) -> Session:
    """Return a session that has taken all observations of a run so far.

    Parameters
    ----------
    notebook : Notebook
        Where the run is kept.
    number : int
        The run.
    settings : Settings, optional
        Others than those of the record, to see what they would have given.

    Raises
    ------
    InputError
        If there is no such run.
    """
    record = notebook.run(number)
    session = Session(method_of(record), settings or settings_of(record))
    for entry in notebook.masses(number):
        session.detector.note_addition(entry.time_s)
    for observation in notebook.observations(number):
        session.take(observation)
    return session


def open_run(
    notebook: Notebook,
    number: int,
    *,
    settings: Settings | None = None,
    inputs: MassInputs | None = None,
) -> Run:
    """Go through a run of the notebook again and return it as if it had just ended.

    Parameters
    ----------
    notebook, number, settings
        As for `resume`.
    inputs : MassInputs, optional
        What was weighed, where it differs from the record.

    Raises
    ------
    InputError
        If there is no such run, or its masses make no sense.
    """
    record = notebook.run(number)
    session = resume(notebook, number, settings)
    given = inputs or MassInputs.from_mapping(record.inputs, session.method)
    readings = tuple(
        Reading(entry.time_s, entry.mass_g, entry.source) for entry in notebook.masses(number)
    )
    source = SourceInfo(
        str(record.source.get("name", "camera")),
        int(record.source.get("width_px", 0)),
        int(record.source.get("height_px", 0)),
    )
    other = record.program != __version__
    run = session.finish(
        source,
        masses=replace(given, readings=readings),
        warnings=[f"Watched with huehold {record.program}, gone through again with {__version__}."]
        * other,
    )
    return replace(run, pictures=notebook.pictures(number))
