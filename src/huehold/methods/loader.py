"""Finding and reading method files, with exact messages when one is wrong."""

from __future__ import annotations

import difflib
import tomllib
import types
import typing
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from huehold.errors import InputError, UsageError
from huehold.methods.model import Method

__all__ = ["list_methods", "load_method", "method_from_dict"]

_MOST_BYTES = 1_000_000


def list_methods() -> tuple[str, ...]:
    """Names of the methods that come with the program, in alphabetical order."""
    folder = resources.files("huehold.methods") / "data"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def load_method(name_or_path: str | Path) -> Method:
    """Read a method by the name of a shipped one or from a file of one's own.

    Parameters
    ----------
    name_or_path : str or Path
        One of `list_methods`, or a path; text that ends in ``.toml`` or has a folder in it is
        taken as a path.

    Raises
    ------
    UsageError
        If no shipped method has that name; the nearest is suggested.
    InputError
        If the file cannot be read, is not TOML, has an unknown key, a missing or wrong value,
        or a reaction that does not balance.
    """
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or "\\" in text:
        return _read_file(Path(name_or_path))
    if text not in list_methods():
        raise UsageError(_unknown_name(text))
    return _shipped(text)


def method_from_dict(data: object, where: str = "method") -> Method:
    """Check a method given as plain data, as in a result file.

    Raises
    ------
    InputError
        With every fault and its place.
    """
    try:
        return Method.model_validate(data)
    except ValidationError as error:
        faults = "; ".join(_fault(f) for f in error.errors() if not _mere_alternative(f))
        raise InputError(f"{where}: {faults}") from error


@lru_cache(maxsize=64)
def _shipped(name: str) -> Method:
    text = (resources.files("huehold.methods") / "data" / f"{name}.toml").read_text("utf-8")
    return _parse(text, f"{name}.toml")


def _read_file(path: Path) -> Method:
    if not path.exists():
        raise InputError(f"there is no method file {path}")
    try:
        if not path.is_file() or path.stat().st_size > _MOST_BYTES:
            raise InputError(f"{path} is no method file; name a TOML file of a method")
        return _parse(path.read_text("utf-8"), path.name)
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"the method file {path} cannot be read as UTF-8 text") from error


def _parse(text: str, where: str) -> Method:
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"{where} is not valid TOML: {error}") from error
    return method_from_dict(data, where)


def _unknown_name(text: str) -> str:
    names = list_methods()
    near = difflib.get_close_matches(text, names, n=1, cutoff=0.3)
    hint = f"did you mean '{near[0]}'? " if near else ""
    return (
        f"there is no method '{text}'; {hint}The methods are {', '.join(names)}; a file of your "
        "own must end in .toml"
    )


def _mere_alternative(fault: Any) -> bool:
    # a table was given where a word or a table may stand: only the table's faults matter
    return fault["type"] == "literal_error" and isinstance(fault["input"], dict)


def _fault(fault: Any) -> str:
    place = _place(fault["loc"])
    kind = fault["type"]
    if kind == "extra_forbidden":
        return _unknown_key(fault["loc"])
    if kind == "missing":
        return f"'{place}' is missing"
    message = str(fault["msg"]).removeprefix("Value error, ")
    if kind == "value_error":
        return f"{place}: {message}" if place else message
    return f"'{place}' is {fault['input']!r}: {message[0].lower()}{message[1:]}"


def _place(loc: Sequence[str | int]) -> str:
    text = ""
    for part in _keys(loc):
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def _keys(loc: Sequence[str | int]) -> list[str | int]:
    """Drop what pydantic adds to a place to tell the members of a union apart."""
    names = {cls.__name__ for cls in BaseModel.__subclasses__()}
    names |= {cls.__name__ for base in BaseModel.__subclasses__() for cls in base.__subclasses__()}
    return [p for p in loc if isinstance(p, int) or (p not in names and "[" not in p)]


def _unknown_key(loc: Sequence[str | int]) -> str:
    key, keys = loc[-1], _keys(loc[:-1])
    valid = _valid_keys(keys)
    near = difflib.get_close_matches(str(key), valid, n=1, cutoff=0.4)
    table = _place(keys)
    where = f" in [{table}]" if table else ""
    hint = f"the nearest valid key is '{near[0]}'" if near else f"valid are {', '.join(valid)}"
    return f"unknown key '{key}'{where}; {hint}"


def _valid_keys(keys: Sequence[str | int]) -> list[str]:
    model: type[BaseModel] = Method
    for key in keys:
        if isinstance(key, str):
            model = _model_of(model, key) or model
    return [field.alias or name for name, field in model.model_fields.items()]


def _model_of(model: type[BaseModel], key: str) -> type[BaseModel] | None:
    field = model.model_fields.get(key)
    return None if field is None else _first_model(field.annotation)


def _first_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return annotation if issubclass(annotation, BaseModel) else None
    found = (_first_model(part) for part in typing.get_args(annotation))
    return next((model for model in found if model is not None), None)
