"""One calibration file: its text read, checked by the model of its kind, and written."""

from __future__ import annotations

import importlib
import os
import re
import tempfile
import textwrap
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from huehold.calibration.model import SCHEMA, Calibration, checked
from huehold.errors import InputError, UsageError

__all__ = [
    "KINDS", "model_of", "parse_toml", "read_calibration", "read_text", "to_toml", "write_whole",
]  # fmt: skip

KINDS: Mapping[str, str] = MappingProxyType(
    {
        "indicator": "huehold.calibration.indicator:IndicatorChart",
        "turbidity": "huehold.calibration.turbidity:TurbidityCalibration",
        "dropper": "huehold.calibration.dropper:DropperCalibration",
        "balance": "huehold.calibration.balance:BalanceCalibration",
        "density": "huehold.calibration.density:DensityCalibration",
        "titrant": "huehold.calibration.titrant:TitrantCalibration",
        "camera": "huehold.calibration.camera:CameraCalibration",
    }
)
"""Kind -> where its model lives (a subclass of `Calibration`); loaded when first needed."""

_MOST_BYTES = 1_000_000
_NUMBERS = re.compile(r"= \[\n((?:    [-+.0-9e]+,\n)+)\]")


def model_of(kind: str) -> type[Calibration]:
    """Return the model of a kind.

    Raises
    ------
    UsageError
        If there is no such kind.
    """
    if kind not in KINDS:
        raise UsageError(f"There is no calibration of kind '{kind}'; known are {', '.join(KINDS)}.")
    module, attribute = KINDS[kind].split(":")
    model: type[Calibration] = getattr(importlib.import_module(module), attribute)
    return model


def read_calibration(path: str | os.PathLike[str]) -> Calibration:
    """Read one calibration file.

    Raises
    ------
    InputError
        One sentence, if it is missing, unreadable, cut short, of another program or version, or
        says something that cannot be.
    """
    place = Path(path)
    data = parse_toml(read_text(place), place.name)
    schema = data.get("schema")
    if schema != SCHEMA:
        raise InputError(_foreign(schema, place.name))
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise InputError(
            f"{place.name} is a calibration of kind {kind!r}, which this huehold does not know; it "
            f"knows {', '.join(KINDS)}."
        )
    return checked(model_of(kind), data, place.name)


def to_toml(calibration: Calibration) -> str:
    """Return the text of its file."""
    import tomli_w

    data = calibration.model_dump(by_alias=True, exclude_none=True)
    text = tomli_w.dumps({key: value for key, value in data.items() if value != ""})
    return _NUMBERS.sub(_in_lines, text)


def read_text(path: Path) -> str:
    """Text of a file that may be a calibration; `InputError` if it cannot be one."""
    try:
        if not path.exists():
            raise InputError(f"There is no calibration file {path}: check the name and the folder.")
        if not path.is_file():
            raise InputError(f"{path} is not an ordinary file; name a calibration file (.toml).")
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(f"{path.name} is too large for a calibration; is it another file?")
        return path.read_text("utf-8")
    except UnicodeDecodeError:
        raise InputError(
            f"{path.name} is not text in UTF-8, so it is no calibration file; is it another file?"
        ) from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read ({error}).") from error


def parse_toml(text: str, where: str) -> dict[str, Any]:
    """Parse TOML; `InputError` names the file and the line."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: also numbers of absurd length
        raise InputError(
            f"{where} is not valid TOML ({error}); it was cut short or edited wrongly: correct "
            "that line, or calibrate anew."
        ) from error


def _foreign(schema: object, where: str) -> str:
    if not isinstance(schema, str) or not schema.startswith("huehold.calibration/"):
        return (
            f"{where} is no calibration: its schema is {schema!r}, not '{SCHEMA}'; name a file "
            "that `huehold calibrate` wrote."
        )
    number = schema.rsplit("/", 1)[1]
    if number.isdecimal() and len(number) < 9 and int(number) > int(SCHEMA.rsplit("/", 1)[1]):
        return f"{where} was written by a newer huehold ({schema}); update huehold to read it."
    return f"{where} has the old layout {schema}; this huehold reads {SCHEMA}: calibrate anew."


def write_whole(path: Path, text: str) -> None:
    """Write beside the place and move there, so that a crash leaves the old file or the new."""
    handle, partial = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".partial")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(partial).replace(path)
    except BaseException:
        Path(partial).unlink(missing_ok=True)
        raise


def _in_lines(match: re.Match[str]) -> str:
    """Set a column of numbers in lines, so that a person can read the file."""
    words = " ".join(match[1].split()).rstrip(",")
    return "= [\n" + textwrap.indent(textwrap.fill(words, 92), "  ") + ",\n]"
