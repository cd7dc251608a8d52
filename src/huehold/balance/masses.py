"""Read the titrant's masses from a table a person kept.

The table is CSV with a header: ``time_s`` (seconds from the first frame) and
``cumulative_g`` (titrant added since the start). Spreadsheets write it in several ways;
what is unambiguous is accepted, everything else is refused with the line it stands on.
"""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from huehold.core import Reading
from huehold.errors import InputError

__all__ = ["MOST_TITRANT_G", "read_masses"]

_MAX_BYTES = 1_000_000
_MAX_ROWS = 20_000
_TIME_UNITS = {"s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 1e-3, "min": 60.0, "minutes": 60.0}
_MASS_UNITS = {"g": 1.0, "grams": 1.0, "mg": 1e-3, "kg": 1e3}
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?")
_EXAMPLE = "the first line must name the columns time_s and cumulative_g"

MOST_TITRANT_G = 1000.0
"""More titrant than this, in grams, is a slip of the unit, typed or from a file."""


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where the two columns stand and what their numbers count in."""

    count: int
    time_at: int
    time_unit_s: float
    mass_at: int
    mass_unit_g: float


def read_masses(path: str | os.PathLike[str]) -> tuple[Reading, ...]:
    """Read cumulative titrant masses from a CSV file.

    Parameters
    ----------
    path : str or path-like
        Columns ``time_s`` and ``cumulative_g`` (also ``time_min``, ``time_ms``,
        ``cumulative_mg``, ``cumulative_kg``), separated by commas, semicolons or tabs;
        with the latter two, decimals may be written with a comma. Other columns are
        ignored, so are empty lines and lines that begin with ``#``.

    Returns
    -------
    tuple of Reading
        In time order, source ``"file"``; at least one.

    Raises
    ------
    InputError
        With file name and line, if the file cannot be understood or its masses cannot be
        a titration's: times that do not increase, masses that are negative or fall.
    """
    path = Path(path)
    rows = _rows(_text(path), path.name)
    header_line, header = next(rows, (0, []))
    if not header:
        raise InputError(f"{path.name} holds no lines: {_EXAMPLE}, masses follow below.")
    columns = _columns(header, f"{path.name}, line {header_line}")
    readings = tuple(_readings(rows, columns, path.name))
    if not readings:
        raise InputError(f"{path.name} holds a header but no masses: add one line per reading.")
    return readings


def _text(path: Path) -> str:
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder: name the CSV file in it.")
        if path.exists() and not path.is_file():
            raise InputError(f"{path} is not an ordinary file: save the table to disk first.")
        with path.open("rb") as file:
            data = file.read(_MAX_BYTES + 1)
    except FileNotFoundError:
        raise InputError(f"There is no file {path}: check the name and the folder.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path} cannot be read ({why}).") from None
    if len(data) > _MAX_BYTES:
        raise InputError(f"{path.name} is too large for a table of masses (over 1 MB).")
    return _decode(data, path.name)


def _decode(data: bytes, name: str) -> str:
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\0" in text:
        raise InputError(f"{name} is not a text file: save the table as CSV.")
    return text


def _rows(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that say something, with their line numbers."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text))
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if any(cells) and not cells[0].startswith("#"):
                yield reader.line_num, cells
    except csv.Error as error:
        raise InputError(f"{name}, line {reader.line_num}: not a table ({error}).") from None


def _separator(text: str) -> str:
    """Tell the sign between columns by the header line."""
    lines = (line.strip() for line in text.splitlines())
    header = next((line for line in lines if line and not line.startswith("#")), "")
    return max(";\t,", key=header.count)


def _columns(header: list[str], where: str) -> _Columns:
    names = [_plain(cell) for cell in header]
    time_at, time_unit = _find(names, "time", _TIME_UNITS, "time_s", where)
    mass_at, mass_unit = _find(names, "cumulative", _MASS_UNITS, "cumulative_g", where)
    return _Columns(len(header), time_at, time_unit, mass_at, mass_unit)


def _plain(cell: str) -> str:
    """Bring ``Time (s)``, ``time [s]`` and ``time-s`` to ``time_s``."""
    return re.sub(r"[\s()\[\]/_-]+", "_", cell.casefold()).strip("_")


def _find(
    names: list[str], stem: str, units: dict[str, float], example: str, where: str
) -> tuple[int, float]:
    """Place and unit of the one column that begins with `stem`."""
    at = [i for i, name in enumerate(names) if name == stem or name.startswith(stem + "_")]
    if not at:
        found = ", ".join(name or "(empty)" for name in names)[:80]
        raise InputError(f"{where}: no column {example} ({found} found); {_EXAMPLE}.")
    if len(at) > 1:
        raise InputError(f"{where}: more than one column for {stem}; keep {example} alone.")
    unit = names[at[0]].removeprefix(stem).strip("_").removeprefix("mass_")
    if unit not in units:
        stated = f"unit {unit!r} is not known" if unit else "no unit is given"
        raise InputError(f"{where}: {stated} for {stem}; name the column {example}.")
    return at[0], units[unit]


def _readings(
    rows: Iterator[tuple[int, list[str]]], columns: _Columns, name: str
) -> Iterator[Reading]:
    last: Reading | None = None
    marks: set[str] = set()
    for count, (line, cells) in enumerate(rows, start=1):
        where = f"{name}, line {line}"
        if count > _MAX_ROWS:
            raise InputError(f"{where}: more than {_MAX_ROWS} readings; thin the table out.")
        reading = _reading(cells, columns, where, marks)
        _check_order(reading, last, where)
        yield reading
        last = reading


def _reading(cells: list[str], columns: _Columns, where: str, marks: set[str]) -> Reading:
    spare = cells[columns.count :]
    if len(cells) <= max(columns.time_at, columns.mass_at) or any(spare):
        raise InputError(
            f"{where}: {len(cells)} values under {columns.count} column names; decimals written "
            "with a comma need semicolons between the columns."
        )
    time_s = _number(cells[columns.time_at], "time", where, marks) * columns.time_unit_s
    mass_g = _number(cells[columns.mass_at], "mass", where, marks) * columns.mass_unit_g
    if time_s < 0:
        raise InputError(f"{where}: the time is negative; times count from the first frame.")
    if mass_g < 0:
        raise InputError(f"{where}: the mass is negative; write the titrant added so far.")
    if mass_g > MOST_TITRANT_G:
        raise InputError(f"{where}: {mass_g:.6g} g of titrant cannot be meant; check the unit.")
    return Reading(time_s, mass_g + 0.0, "file")


def _number(cell: str, what: str, where: str, marks: set[str]) -> float:
    if not _NUMBER.fullmatch(cell):
        shown = repr(cell[:30]) if cell else "an empty cell"
        raise InputError(f"{where}: the {what} is {shown}, not a number (as in 83.5).")
    marks.update(mark for mark in ".," if mark in cell)
    if len(marks) > 1:
        raise InputError(f"{where}: decimals are written with points and with commas; use one.")
    value = float(cell.replace(",", "."))
    if abs(value) > 1e9:
        raise InputError(f"{where}: the {what} {cell[:30]} is far too large.")
    return value


def _check_order(reading: Reading, last: Reading | None, where: str) -> None:
    if last is None:
        return
    if reading.time_s <= last.time_s:
        raise InputError(
            f"{where}: the time {reading.time_s:g} s is not later than the line before "
            f"({last.time_s:g} s); put the lines in order."
        )
    if reading.mass_g < last.mass_g:
        raise InputError(
            f"{where}: the mass falls from {last.mass_g:g} g to {reading.mass_g:g} g; the column "
            "must hold the titrant added since the start, which cannot fall."
        )
