"""Who watches a run: a lock that the system lets go of when the program ends, however it ends.

The lock is that of an empty SQLite file beside the notebook, which works alike on all systems.
"""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from huehold.errors import UsageError

__all__ = ["Claim", "is_claimed"]


class Claim:
    """The word of this program that it watches a run, until `release` or its end.

    A file that cannot be made, as on a disk without room, hinders nothing.

    Parameters
    ----------
    notebook : Path
        The notebook's file.
    run_id : int
        The run.

    Raises
    ------
    UsageError
        If the run is being watched already.
    """

    def __init__(self, notebook: Path, run_id: int) -> None:
        self._file = _file_of(notebook, run_id)
        self._lock: sqlite3.Connection | None = None
        with contextlib.suppress(sqlite3.Error):
            self._lock = _locked(self._file)
            if self._lock is None:
                raise UsageError(
                    f"Run {run_id} is being watched by another program; end it there, or begin a "
                    "new run with --no-resume."
                )

    def release(self) -> None:
        """Let go of the run; more than once is no harm."""
        if self._lock is None:
            return
        lock, self._lock = self._lock, None
        try:
            self._file.unlink(missing_ok=True)  # before another program can lock it
            lock.close()
        except OSError:  # Windows removes no file that is open
            lock.close()
            with contextlib.suppress(OSError):
                self._file.unlink(missing_ok=True)


def is_claimed(notebook: Path, run_id: int) -> bool:
    """Say whether a run is being watched by this or another program on this computer."""
    file = _file_of(notebook, run_id)
    if not file.exists():
        return False
    try:
        lock = _locked(file)
    except sqlite3.Error:
        return False
    if lock is not None:
        lock.close()
    return lock is None


def _file_of(notebook: Path, run_id: int) -> Path:
    return notebook.with_name(f"{notebook.name}-run-{run_id}")


def _locked(file: Path) -> sqlite3.Connection | None:
    """Open and lock a file; None if another one holds it."""
    lock = sqlite3.connect(file, timeout=0.0, isolation_level=None, check_same_thread=False)
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error as error:
        lock.close()
        if error.sqlite_errorcode == sqlite3.SQLITE_BUSY:
            return None
        raise
    return lock
