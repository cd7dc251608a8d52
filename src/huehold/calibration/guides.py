"""The guided calibrations as data: which steps, which words, which answers; read and checked.

``data/guides.toml`` describes each once; the terminal asks by it, the page shows it. What the
answers come to is in `huehold.calibration.guided`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from huehold.calibration.guide_reading import READERS
from huehold.calibration.model import Table
from huehold.errors import HueholdError, InputError, UsageError

__all__ = ["AnswerError", "Answers", "Field", "Guide", "Step", "guide_of", "list_guides"]

Row = Mapping[str, str]
_MOST_ROWS = 60
_MOST_TEXT = 200


class AnswerError(InputError):
    """An answer that cannot be read, with its place.

    Attributes
    ----------
    step, field : str
        Keys; `field` is empty if it is the step as a whole.
    row : int
        From 0; -1 where there are no rows.
    """

    def __init__(self, text: str, step: str, field: str = "", row: int = -1) -> None:
        super().__init__(text)
        self.step, self.field, self.row = step, field, row


class Field(Table):
    """One thing that is asked for; `kind` says how it is read, `choices` what is offered.

    ``default`` is taken where nothing is typed, ``start`` stands in the page's field at first
    (``starts`` row by row); ``asked`` tells whether the terminal asks or leaves it to the option
    ``--key``, ``argument`` whether it is the command's argument there.
    """

    key: str
    label: str
    kind: str = "text"
    unit: str = ""
    example: str = ""
    default: str = ""
    start: str = ""
    starts: tuple[str, ...] = ()
    choices: str = ""
    needed: bool = True
    asked: bool = True
    argument: bool = False

    def read(self, text: str, answers: Answers | None = None) -> Any:
        """Turn what was typed into a value; None if nothing was and nothing is needed.

        Raises
        ------
        HueholdError
            If it cannot be read, in a sentence.
        """
        plain = text.strip() if self.kind == "picture" else " ".join(text.split())
        typed = plain or self.default
        if len(typed) > _MOST_TEXT:
            raise InputError(f"{self.label}: this is too long to be read; write it shorter.")
        if not typed:
            if self.needed:
                such = f", such as {self.example}" if self.example else ""
                raise InputError(f"{self.label} is missing; give it{such}.")
            return None
        if self.kind == "standard":
            from huehold.stoichiometry.standardise import find_standard

            assert answers is not None  # a standard is one of a method
            return find_standard(answers["method"], typed)
        return READERS[self.kind](typed, self.label)


class Step(Table):
    """One step: words, and fields once or, with ``rows``, again and again.

    ``least`` rows are needed, ``offered`` shown at first. ``unless`` names another step or field
    whose answer makes this one needless; ``shown`` whether the page has it. ``line``,
    ``separator``, ``wrong`` and ``metavar`` are for rows typed as one line.
    """

    key: str
    title: str
    words: tuple[str, ...]
    fields: tuple[Field, ...]
    rows: bool = False
    least: int = 0
    offered: int = 1
    unless: str = ""
    asked: bool = True
    shown: bool = True
    several: bool = False
    argument: bool = False
    separator: str = ""
    line: str = ""
    wrong: str = ""
    metavar: str = ""

    def row_of(self, line: str) -> dict[str, str]:
        """Take a row that was typed as one line apart.

        Raises
        ------
        InputError
            If it has not as many parts as there are fields.
        """
        if not self.separator:
            return {self.fields[0].key: line.strip()}
        before, found, after = line.rpartition(self.separator)
        if not (found and before.strip() and after.strip()):
            raise InputError(f"'{line.strip()}' {self.wrong}")
        return {self.fields[0].key: before.strip(), self.fields[1].key: after.strip()}

    def rows_of(self, text: str) -> list[dict[str, str]]:
        """Take rows apart that commas part, or semicolons where the decimal sign is a comma.

        Raises
        ------
        InputError
            If a row cannot be read, or commas could be decimal signs as well.
        """
        parts = text.split(";") if ";" in text else self._parted_by_commas(text)
        return [self.row_of(part) for part in parts if part.strip()]

    def _parted_by_commas(self, text: str) -> list[str]:
        parts = [part.strip() for part in text.split(",")]
        if self.separator:
            # Digits alone cannot be a row, so they follow a decimal comma.
            return re.sub(r",(?=\d+\s*(?:,|$))", ".", text).split(",")
        decimals = [part for part in parts[1::2] if len(part) > 1]
        if len(parts) % 2 == 0 and decimals and all(part.isdigit() for part in parts):
            raise InputError(
                f"'{text}' can be read in two ways; part the readings by semicolons, such as "
                f"{';'.join(parts)} or {_in_pairs(parts)}."
            )
        return parts


def _in_pairs(parts: Sequence[str]) -> str:
    """Join numbers and what follows their decimal comma."""
    pairs = zip(parts[::2], parts[1::2], strict=True)
    return ";".join(f"{whole},{rest}" for whole, rest in pairs)


class Guide(Table):
    """One guided calibration: what it gives, what it takes, its steps, and what names it."""

    kind: str
    title: str
    what: str
    needs: str
    named_by: tuple[str, ...]
    example: str
    steps: tuple[Step, ...]

    def step(self, key: str) -> Step:
        """Find a step.

        Raises
        ------
        UsageError
            If there is none of that name.
        """
        for known in self.steps:
            if known.key == key:
                return known
        raise UsageError(f"The guide {self.kind} has no step '{key}'.")


class Answers:
    """What was answered, read when it is asked for.

    Parameters
    ----------
    guide : Guide
    given : mapping
        Texts by the key of a field; by the key of a step, lists of rows, each texts by field.
    """

    def __init__(self, guide: Guide, given: Mapping[str, str | Sequence[Row]]) -> None:
        self.guide = guide
        self.given = given
        self._fields = {
            f.key: (step, f) for step in guide.steps if not step.rows for f in step.fields
        }

    def has(self, key: str) -> bool:
        """Whether anything was said to a field, or to a step with rows."""
        return bool(self._rows(key)) if key not in self._fields else bool(self._text(key).strip())

    def __getitem__(self, key: str) -> Any:
        """Value of a field, or the rows of a step as tuples of values.

        Raises
        ------
        AnswerError
            If it cannot be read.
        """
        if key in self._fields:
            step, field = self._fields[key]
            return self._read(step, field, self._text(key))
        step = self.guide.step(key)
        rows = self._rows(key)
        if len(rows) > _MOST_ROWS:
            raise AnswerError(f"{len(rows)} rows are too many; {_MOST_ROWS} will do.", key)
        return tuple(
            tuple(self._read(step, f, str(row.get(f.key, "")), number) for f in step.fields)
            for number, row in rows
        )

    def check(self, key: str) -> None:
        """Read all that a step asks for.

        Raises
        ------
        AnswerError
            If an answer is missing or cannot be read.
        """
        step = self.guide.step(key)
        if step.unless and self.has(step.unless):
            return
        if not step.rows:
            for field in step.fields:
                _ = self[field.key]
        elif len(self[key]) < step.least:
            count = "one" if step.least == 1 else str(step.least)
            raise AnswerError(f"{step.title}: at least {count} must be given.", key)

    def check_given(self) -> None:
        """Read all that was answered so far.

        Raises
        ------
        UsageError
            If two answers exclude each other.
        AnswerError
            If one cannot be read.
        """
        for step in self.guide.steps:
            if step.unless and self.has(step.key) and self.has(step.unless):
                raise UsageError(f"Give {step.key} or {step.unless}, not both.")
            for key in [step.key] if step.rows else [field.key for field in step.fields]:
                if self.has(key):
                    _ = self[key]

    def _text(self, key: str) -> str:
        text = self.given.get(key, "")
        return text if isinstance(text, str) else ""

    def _rows(self, key: str) -> list[tuple[int, Row]]:
        """Rows with their numbers, without those in which nothing was typed."""
        rows = self.given.get(key, ())
        if isinstance(rows, str):
            return []
        preset = {f.key for f in self.guide.step(key).fields if f.start or f.starts}
        return [
            (number, row) for number, row in enumerate(rows)
            if any(text.strip() for k, text in row.items() if k not in preset)
        ]  # fmt: skip

    def _read(self, step: Step, field: Field, text: str, row: int = -1) -> Any:
        try:
            return field.read(text, self)
        except HueholdError as error:
            told = AnswerError(str(error), step.key, field.key, row)
            told.exit_code = error.exit_code
            raise told from error


@cache
def list_guides() -> Mapping[str, Guide]:
    """Guides by kind, in the order people meet them."""
    text = (resources.files("huehold.calibration") / "data" / "guides.toml").read_text("utf-8")
    found = {kind: Guide(kind=kind, **table) for kind, table in tomllib.loads(text).items()}
    return MappingProxyType(found)


def guide_of(kind: str) -> Guide:
    """Find a guide.

    Raises
    ------
    UsageError
        If there is none of that kind.
    """
    guides = list_guides()
    if kind not in guides:
        raise UsageError(f"There is no guide for '{kind[:40]}'; there are {', '.join(guides)}.")
    return guides[kind]
