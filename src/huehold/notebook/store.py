"""What the notebook keeps of every run: written at once, read back as plain types."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, TypeVar

from huehold import __version__
from huehold.core import Event, Observation
from huehold.errors import InputError
from huehold.notebook import records
from huehold.notebook.file import NotebookFile
from huehold.notebook.records import MassEntry, Note, Outline, RunRecord
from huehold.run import Picture

__all__ = ["Notebook"]

T = TypeVar("T")


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Notebook(NotebookFile):
    """Runs on disk; see `NotebookFile` for the file itself.

    Every method that writes returns only when the data is on the disk, so what a caller
    was told is saved survives a crash of the program or of the machine.
    """

    # -- writing ---------------------------------------------------------------------

    def begin(
        self,
        *,
        method: str,
        settings: Mapping[str, Any],
        source: Mapping[str, Any],
        title: str = "",
        calibrations: Sequence[Mapping[str, Any]] = (),
    ) -> int:
        """Open a new run.

        Parameters
        ----------
        method : str
            The method as the text of its file.
        settings, source : mapping
            Plain values that JSON can hold.
        title : str
            A name for people.
        calibrations : sequence of mapping
            Those in use, each with name, version and content.

        Returns
        -------
        int
            The run's number.
        """
        with self._writing() as db:
            cursor = db.execute(
                "INSERT INTO run (started_at, title, program, method, settings, source, "
                "calibrations) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (_now(), title, __version__, method, json.dumps(dict(settings)),
                 json.dumps(dict(source)), json.dumps([dict(c) for c in calibrations])),
            )  # fmt: skip
            return int(cursor.lastrowid or 0)

    def append(
        self,
        run_id: int,
        observations: Sequence[Observation],
        events: Sequence[Event] = (),
        pictures: Sequence[Picture] = (),
    ) -> None:
        """Add what was seen since the last call; all of it or nothing."""
        marks = ", ".join("?" * (len(records.OBSERVATION_COLUMNS) + 1))
        columns = ", ".join(("run_id", *records.OBSERVATION_COLUMNS))
        with self._writing() as db:
            db.executemany(
                f"INSERT OR REPLACE INTO observation ({columns}) VALUES ({marks})",
                [(run_id, *records.observation_row(o)) for o in observations],
            )
            db.executemany(
                "INSERT INTO event (run_id, time_s, kind, end_s, told_s, detail) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                [(run_id, *records.event_row(event)) for event in events],
            )
            db.executemany(
                "INSERT OR REPLACE INTO picture VALUES (?, ?, ?)",
                [(run_id, picture.time_s, picture.jpeg) for picture in pictures],
            )

    def add_mass(
        self, run_id: int, time_s: float, mass_g: float, typed: str, source: str = "typed"
    ) -> MassEntry:
        """Write a titrant mass down and return it as saved."""
        with self._writing() as db:
            entry = 1 + self._number(
                "SELECT coalesce(max(entry), 0) FROM mass WHERE run_id = ?", run_id
            )
            return self._insert_mass(db, run_id, (entry, 1, time_s, mass_g, typed, source, False))

    def edit_mass(
        self, run_id: int, entry: int, mass_g: float, typed: str, *, struck: bool = False
    ) -> MassEntry:
        """Add a revision to an entry; the earlier ones stay readable.

        Raises
        ------
        InputError
            If the run has no such entry.
        """
        with self._writing() as db:
            old = self._latest_mass(run_id, entry)
            row = (entry, old.revision + 1, old.time_s, mass_g, typed, old.source, struck)
            return self._insert_mass(db, run_id, row)

    def strike_mass(self, run_id: int, entry: int) -> MassEntry:
        """Take an entry back; an edit brings it back again."""
        with self._lock:
            old = self._latest_mass(run_id, entry)
            return self.edit_mass(run_id, entry, old.mass_g, old.typed, struck=True)

    def _insert_mass(self, db: sqlite3.Connection, run_id: int, row: tuple[Any, ...]) -> MassEntry:
        entered_at = _now()
        db.execute(
            "INSERT INTO mass (run_id, entry, revision, time_s, mass_g, typed, source, struck, "
            "entered_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (run_id, *row, entered_at),
        )
        return records.mass_from((*row, entered_at))

    def add_note(self, run_id: int, time_s: float, text: str) -> None:
        """Write a remark down."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO note (run_id, time_s, text, entered_at) VALUES (?, ?, ?, ?)",
                (run_id, time_s, text, _now()),
            )

    def set_inputs(self, run_id: int, inputs: Mapping[str, Any]) -> None:
        """Keep what was typed for the assay: sample mass, density, label claim and such."""
        self._update(run_id, "inputs", json.dumps(dict(inputs)))

    def add_outline(
        self, run_id: int, time_s: float, what: str, shape: Mapping[str, float] | None
    ) -> None:
        """Write down where the user says that the liquid or the white is; see `Outline`."""
        with self._writing() as db:
            db.execute(
                "INSERT INTO outline (run_id, time_s, what, shape, entered_at) "
                "VALUES (?, ?, ?, ?, ?)",
                (run_id, time_s, what, json.dumps(dict(shape)) if shape else None, _now()),
            )

    def rename(self, run_id: int, title: str) -> None:
        """Give the run another title."""
        self._update(run_id, "title", title)

    def finish(
        self,
        run_id: int,
        verdict: Mapping[str, Any],
        result: Mapping[str, Any],
        source: Mapping[str, Any] | None = None,
    ) -> None:
        """Close the run with its verdict, its whole result, and what is known of the source now."""
        with self._writing() as db:
            if source is not None:
                db.execute(
                    "UPDATE run SET source = ? WHERE id = ?", (json.dumps(dict(source)), run_id)
                )
            db.execute(
                "UPDATE run SET finished_at = ?, verdict = ?, main_result = ? WHERE id = ?",
                (_now(), json.dumps(dict(verdict)), records.main_result(result), run_id),
            )
            db.execute(
                "INSERT OR REPLACE INTO result VALUES (?, ?)", (run_id, json.dumps(dict(result)))
            )

    def remove(self, run_id: int) -> None:
        """Put a run away; `bring_back` undoes it."""
        self._update(run_id, "removed_at", _now())

    def bring_back(self, run_id: int) -> None:
        """Undo `remove`."""
        self._update(run_id, "removed_at", None)

    def _update(self, run_id: int, column: str, value: object) -> None:
        self.run(run_id)
        with self._writing() as db:
            db.execute(f"UPDATE run SET {column} = ? WHERE id = ?", (value, run_id))

    # -- reading ---------------------------------------------------------------------

    def runs(self, *, removed: bool = False) -> tuple[RunRecord, ...]:
        """Return the runs, newest first; those put away only if asked for."""
        where = "removed_at IS NOT NULL" if removed else "removed_at IS NULL"
        rows = self._rows(f"SELECT * FROM run WHERE {where} ORDER BY id DESC")
        return tuple(self._understood(records.run_from, row) for row in rows)

    def run(self, run_id: int) -> RunRecord:
        """Return one run.

        Raises
        ------
        InputError
            If there is no run of that number.
        """
        rows = self._rows("SELECT * FROM run WHERE id = ?", run_id)
        if not rows:
            raise InputError(
                f"There is no run {run_id} in the notebook {self.path}; "
                "`huehold runs list` shows what there is."
            )
        return self._understood(records.run_from, rows[0])

    def result(self, run_id: int) -> Mapping[str, Any] | None:
        """Return the whole result of a run as it was when it was finished; None before."""
        rows = self._rows("SELECT content FROM result WHERE run_id = ?", run_id)
        return self._understood(records.result_from, rows[0]) if rows else None

    def outlines(self, run_id: int) -> tuple[Outline, ...]:
        """Return what the user said of liquid and white, in the order it was said."""
        rows = self._rows(
            "SELECT time_s, what, shape, entered_at FROM outline WHERE run_id = ? ORDER BY id",
            run_id,
        )
        return tuple(self._understood(records.outline_from, row) for row in rows)

    def observations(self, run_id: int) -> Iterator[Observation]:
        """Yield the observations of a run in time order, a few at a time."""
        columns = ", ".join(records.OBSERVATION_COLUMNS)
        last_s, more = -1e300, True
        while more:
            rows = self._rows(
                f"SELECT {columns} FROM observation WHERE run_id = ? AND time_s > ? "
                "ORDER BY time_s LIMIT 2000",
                run_id,
                last_s,
            )
            more = bool(rows)
            for row in rows:
                last_s = row[0]
                yield self._understood(records.observation_from, row)

    def seen_until_s(self, run_id: int) -> float | None:
        """Return the time of the last observation of a run; None without one."""
        rows = self._rows("SELECT max(time_s) FROM observation WHERE run_id = ?", run_id)
        return self._understood(records.time_from, rows[0])

    def events(self, run_id: int) -> tuple[Event, ...]:
        """Return the events of a run in time order."""
        rows = self._rows(
            "SELECT time_s, kind, end_s, told_s, detail FROM event WHERE run_id = ? "
            "ORDER BY time_s, id",
            run_id,
        )
        return tuple(self._understood(records.event_from, row) for row in rows)

    def masses(self, run_id: int, *, history: bool = False) -> tuple[MassEntry, ...]:
        """Return the entries as they stand, or with every revision, in the order entered."""
        rows = self._rows(
            "SELECT entry, revision, time_s, mass_g, typed, source, struck, entered_at "
            "FROM mass WHERE run_id = ? ORDER BY entry, revision",
            run_id,
        )
        entries = [self._understood(records.mass_from, row) for row in rows]
        if history:
            return tuple(entries)
        latest = {entry.entry: entry for entry in entries}
        return tuple(entry for entry in latest.values() if not entry.struck)

    def notes(self, run_id: int) -> tuple[Note, ...]:
        """Return the remarks of a run in the order written."""
        rows = self._rows(
            "SELECT time_s, text, entered_at FROM note WHERE run_id = ? ORDER BY id", run_id
        )
        return tuple(self._understood(records.note_from, row) for row in rows)

    def pictures(self, run_id: int) -> tuple[Picture, ...]:
        """Return the thumbnails of a run in time order."""
        rows = self._rows(
            "SELECT time_s, jpeg FROM picture WHERE run_id = ? ORDER BY time_s", run_id
        )
        return tuple(self._understood(records.picture_from, row) for row in rows)

    def _latest_mass(self, run_id: int, entry: int) -> MassEntry:
        found = [m for m in self.masses(run_id, history=True) if m.entry == entry]
        if not found:
            raise InputError(f"Run {run_id} has no mass entry {entry}.")
        return found[-1]

    def _understood(self, read: Callable[[tuple[Any, ...]], T], row: tuple[Any, ...]) -> T:
        try:
            return read(row)
        except (ValueError, TypeError, AttributeError, RecursionError) as error:
            raise InputError(
                f"The notebook {self.path} is damaged (a {read.__name__.split('_')[0]} in it makes "
                "no sense); restore a backup with `huehold runs restore`."
            ) from error
