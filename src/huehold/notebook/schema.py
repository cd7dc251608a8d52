"""The tables of the notebook and the numbered steps that bring an older file up to date."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

from huehold.errors import InputError

__all__ = ["MIGRATIONS", "bring_up_to_date", "sentence_of"]

_FIRST = """
CREATE TABLE run (
    id INTEGER PRIMARY KEY,
    started_at TEXT NOT NULL,
    finished_at TEXT,
    title TEXT NOT NULL DEFAULT '',
    program TEXT NOT NULL,
    method TEXT NOT NULL,
    settings TEXT NOT NULL,
    source TEXT NOT NULL,
    inputs TEXT NOT NULL DEFAULT '{}',
    calibrations TEXT NOT NULL DEFAULT '[]',
    verdict TEXT,
    result TEXT,
    removed_at TEXT
);
CREATE TABLE observation (
    run_id INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE,
    time_s REAL NOT NULL,
    lightness REAL, a REAL, b REAL, hue_deg REAL, chroma REAL, hue_sd_deg REAL,
    turbidity REAL, trust REAL NOT NULL,
    reasons TEXT NOT NULL, vessel TEXT, strip BLOB,
    PRIMARY KEY (run_id, time_s)
) WITHOUT ROWID;
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE,
    time_s REAL NOT NULL, kind TEXT NOT NULL, end_s REAL, told_s REAL, detail TEXT NOT NULL
);
CREATE INDEX event_of_run ON event(run_id, time_s);
CREATE TABLE mass (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE,
    entry INTEGER NOT NULL,
    revision INTEGER NOT NULL,
    time_s REAL NOT NULL, mass_g REAL NOT NULL, typed TEXT NOT NULL, source TEXT NOT NULL,
    struck INTEGER NOT NULL DEFAULT 0,
    entered_at TEXT NOT NULL,
    UNIQUE (run_id, entry, revision)
);
CREATE TABLE note (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE,
    time_s REAL NOT NULL, text TEXT NOT NULL, entered_at TEXT NOT NULL
);
CREATE TABLE picture (
    run_id INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE,
    time_s REAL NOT NULL, jpeg BLOB NOT NULL,
    PRIMARY KEY (run_id, time_s)
) WITHOUT ROWID;
"""

# Results are long; in a table of their own, a list of the runs need not go through them.
_SECOND = """
CREATE TABLE result (
    run_id INTEGER PRIMARY KEY REFERENCES run(id) ON DELETE CASCADE,
    content TEXT NOT NULL
);
INSERT INTO result SELECT id, result FROM run WHERE json_valid(result);
ALTER TABLE run ADD COLUMN main_result TEXT NOT NULL DEFAULT '';
UPDATE run SET main_result = coalesce(
    json_extract(result, '$.assay.results.dose.text'),
    json_extract(result, '$.assay.results.content.text'), '')
    WHERE json_valid(result);
ALTER TABLE run DROP COLUMN result;
CREATE TABLE outline (
    id INTEGER PRIMARY KEY,
    run_id INTEGER NOT NULL REFERENCES run(id) ON DELETE CASCADE,
    time_s REAL NOT NULL, what TEXT NOT NULL, shape TEXT, entered_at TEXT NOT NULL
);
"""

# A key of methods that meant nothing.
_THIRD = """
UPDATE run SET method = json_remove(method, '$.indicator.equivalence_ph') WHERE json_valid(method);
"""

MIGRATIONS: tuple[str, ...] = (_FIRST, _SECOND, _THIRD)
"""Step n brings a notebook from version n to n + 1; a step is never edited once released."""

_LEAST_ROOM_BYTES = 1 << 16
_APPLICATION_ID = 0x48754848  # "HuHH", so that a foreign database is not taken for a notebook


def bring_up_to_date(connection: sqlite3.Connection, path: Path) -> None:
    """Create or migrate the tables.

    Parameters
    ----------
    connection : sqlite3.Connection
        Open on the notebook, in autocommit mode.
    path : Path
        Named in messages.

    Raises
    ------
    InputError
        If the file is another program's database or comes from a newer version.
    """
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and application != _APPLICATION_ID:
        raise InputError(
            f"{path} is a database of another program, not a notebook; name another file."
        )
    if version > len(MIGRATIONS):
        raise InputError(
            f"The notebook {path} was written by a newer version of huehold (its format is "
            f"{version}, this version knows {len(MIGRATIONS)}); update huehold to open it."
        )
    for number in range(version, len(MIGRATIONS)):
        connection.executescript(
            f"BEGIN IMMEDIATE; {MIGRATIONS[number]} PRAGMA application_id = {_APPLICATION_ID}; "
            f"PRAGMA user_version = {number + 1}; COMMIT;"
        )


def sentence_of(error: Exception, path: Path) -> str:
    """Say what kept a notebook from being used, and what to do.

    Parameters
    ----------
    error : Exception
        Of SQLite, or of a name in the file that is no text.
    path : Path
        The notebook.
    """
    text = str(error)
    if "locked" in text or "busy" in text:
        return (
            f"The notebook {path} is held by another program; close that one, or name another "
            "notebook with --notebook."
        )
    if "full" in text or ("I/O" in text and _is_full(path)):
        return (
            f"The disk of the notebook {path} is full; nothing saved so far is lost. "
            "Make room, or name a notebook on another disk with --notebook."
        )
    if "readonly" in text or "unable to open" in text:
        return f"The notebook {path} cannot be written; check the folder and its permissions."
    if isinstance(error, UnicodeDecodeError):
        text = "it is damaged"
    return (
        f"The file {path} cannot be read as a notebook ({text}); name another, or restore a backup."
    )


def _is_full(path: Path) -> bool:
    """Say whether there is no room for another few pages, which SQLite may call an I/O error."""
    try:
        return shutil.disk_usage(path.parent).free < _LEAST_ROOM_BYTES
    except OSError:
        return False
