"""The notebook as a file: opened, written whole or not at all, backed up, restored."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from huehold.errors import HueholdError, InputError
from huehold.notebook.schema import bring_up_to_date, sentence_of
from huehold.user_data import data_folder

__all__ = ["NotebookFile", "default_path"]

_BUSY_S = 3.0


def default_path() -> Path:
    """Return where the notebook lies when none is named: in the folder of the user's data."""
    return data_folder() / "notebook.sqlite3"


class NotebookFile:
    """A notebook that is open; safe to use from several threads.

    Parameters
    ----------
    path : path, optional
        The file; created with its folder if it is not there.

    Raises
    ------
    InputError
        If the file cannot be opened, is no notebook, is of a newer version, or is held by
        another program.
    """

    def __init__(self, path: str | os.PathLike[str] | None = None) -> None:
        self.path = Path(path) if path is not None else default_path()
        self._lock = threading.RLock()
        with self._clear_errors():
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = sqlite3.connect(
                self.path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False
            )
            try:
                self._connection.execute("PRAGMA journal_mode = WAL")
                self._connection.execute("PRAGMA synchronous = FULL")
                self._connection.execute("PRAGMA foreign_keys = ON")
                bring_up_to_date(self._connection, self.path)
            except BaseException:
                self._connection.close()
                raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._connection.close()

    def back_up(self, target: str | os.PathLike[str]) -> Path:
        """Copy the notebook as it stands to another file.

        Raises
        ------
        InputError
            If the target exists already or cannot be written.
        """
        path = Path(target)
        if path.exists():
            raise InputError(f"{path} exists already; name a new file for the backup.")
        with self._clear_errors(), contextlib.closing(sqlite3.connect(path)) as copy, self._lock:
            self._connection.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
        return path

    @staticmethod
    def restore(backup: str | os.PathLike[str], target: str | os.PathLike[str]) -> Path:
        """Make a notebook from a backup; an existing one is kept beside it, never overwritten.

        Returns
        -------
        Path
            Where the notebook that was there before now lies, or `target` if there was none.

        Raises
        ------
        InputError
            If the backup is missing or is no notebook.
        """
        source, path = Path(backup), Path(target)
        if not source.is_file():
            raise InputError(f"There is no backup {source}.")
        fresh = path.with_name(path.name + ".restoring")
        fresh.unlink(missing_ok=True)
        with NotebookFile(source) as book:
            book.back_up(fresh)
        kept = path
        if path.exists():
            kept = path.with_name(f"{path.stem}-before-{datetime.now(UTC):%Y%m%dT%H%M%S}.sqlite3")
            _set_aside(path, kept)
        fresh.replace(path)
        return kept

    def _rows(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        with self._clear_errors(), self._lock:
            return self._connection.execute(sql, values).fetchall()

    def _number(self, sql: str, *values: object) -> int:
        return int(self._rows(sql, *values)[0][0])

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._clear_errors(), self._lock:
            nested = self._connection.in_transaction
            if not nested:
                self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                if not nested:
                    self._connection.execute("COMMIT")
            except BaseException:
                if not nested and self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def _clear_errors(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, UnicodeDecodeError) as error:  # names in the file may be garbled
            raise InputError(sentence_of(error, self.path)) from error
        except OverflowError:
            raise InputError(
                f"A number given is larger than any in the notebook {self.path} can be; "
                "`huehold runs list` shows what there is."
            ) from None
        except OSError as error:
            raise InputError(
                f"The notebook {self.path} cannot be used: {error.strerror}."
            ) from error


def _set_aside(path: Path, kept: Path) -> None:
    """Keep a notebook under another name; one that cannot be opened is kept as it is."""
    beside = [path.with_name(path.name + suffix) for suffix in ("-wal", "-shm")]
    try:
        with NotebookFile(path) as old:
            old.back_up(kept)
    except HueholdError:
        shutil.copyfile(path, kept)
        for file in (one for one in beside if one.exists()):
            shutil.copyfile(file, kept.with_name(kept.name + file.name.removeprefix(path.name)))
    for file in beside:
        file.unlink(missing_ok=True)
