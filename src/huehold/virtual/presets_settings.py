"""Change single settings of a scenario by name, with errors a person can use."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from types import MappingProxyType
from typing import Any, TypeVar, get_type_hints

from pydantic import BaseModel, TypeAdapter, ValidationError

from huehold.errors import UsageError
from huehold.virtual.presets import Scenario

__all__ = ["list_settings", "with_settings"]

_S = TypeVar("_S")
_OWN = {
    "seed": "of everything random",
    "chemistry": "titration, acid or none",
    "length_s": "of a run without titration",
}
_TAKEN = ("seed", "depth_mm", "balance")  # follow from other settings of the scenario


def list_settings(scenario: Scenario) -> Iterator[tuple[str, str, str]]:
    """Name, present value and meaning of every setting.

    Yields
    ------
    tuple of str
        E.g. ``("camera.blur_px", "0.6", "")``.
    """
    for key, about in _OWN.items():
        yield key, _text(getattr(scenario, key)), about
    for name in Scenario.model_fields:
        section = getattr(scenario, name)
        for key, about in _names(section).items():
            yield f"{name}.{key}", _text(getattr(section, key)), about


def with_settings(scenario: Scenario, assignments: Sequence[str]) -> Scenario:
    """Return the scenario with settings changed.

    Parameters
    ----------
    scenario : Scenario
    assignments : sequence of str
        ``"section.name=value"``; lists are written ``1,2,3``.

    Raises
    ------
    UsageError
        If a name is unknown or a value makes no sense.
    """
    known = [key for key, _, _ in list_settings(scenario)]
    changes: dict[str, dict[str, str]] = {}
    for assignment in assignments:
        name, equals, value = (part.strip() for part in assignment.partition("="))
        if not equals:
            raise UsageError(f"{assignment!r} sets nothing; write it as section.name=value.")
        if name not in known:
            raise UsageError(f"There is no setting {name!r}; {_hint(name, known)}")
        part, _, key = name.rpartition(".")
        changes.setdefault(part, {})[key] = value
    # A section's changes are judged together, for some depend on each other.
    own = _changed(scenario, "", changes.pop("", {}))
    parts = {p: _changed(getattr(scenario, p), f"{p}.", c) for p, c in changes.items()}
    return own.model_copy(update=parts)


def _hint(name: str, known: list[str]) -> str:
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    return f"did you mean {near[0]}?" if near else "see them all with --settings."


def _changed(section: _S, prefix: str, changes: dict[str, str]) -> _S:
    try:
        if isinstance(section, BaseModel):
            held = {key: getattr(section, key) for key in type(section).model_fields}
            return type(section).model_validate({**held, **changes})
        for key, value in changes.items():
            section = _replaced(section, prefix, key, value)
        return section
    except ValidationError as problem:
        place = problem.errors()[0]["loc"]
        wrong = {str(place[0]): changes[str(place[0])]} if place else changes
        told = " ".join(f"{prefix}{key}={value}" for key, value in wrong.items())
        raise UsageError(f"{told} makes no sense: {_sentence(problem)}.") from None


def _replaced(section: Any, prefix: str, key: str, value: str) -> Any:
    try:
        cast = _cast(type(section), key, value)
    except ValidationError as problem:
        raise UsageError(f"{prefix}{key}={value} makes no sense: {_sentence(problem)}.") from None
    return replace(section, **{key: cast})


def _cast(kind: type[Any], key: str, value: str) -> Any:
    """Turn text into the type of a dataclass's field."""
    hint = get_type_hints(kind)[key]
    if "Mapping" in str(hint):
        pairs = (pair.partition(":") for pair in value.split(","))
        doses = {name.strip(): TypeAdapter(float).validate_python(dose) for name, _, dose in pairs}
        return MappingProxyType(doses)
    if value.lower() == "none" and "None" in str(hint):
        return None
    return TypeAdapter(hint).validate_python(value)


def _sentence(problem: ValidationError) -> str:
    message = str(problem.errors()[0]["msg"])
    message = message.removeprefix("Value error, ").rstrip(".")
    return message[:1].lower() + message[1:]


def _names(section: Any) -> dict[str, str]:
    """Names of a section's settings and what they mean."""
    if isinstance(section, BaseModel):
        described = type(section).model_fields.items()
        return {key: field.description or "" for key, field in described}
    if is_dataclass(section):
        return {field.name: "" for field in fields(section) if field.name not in _TAKEN}
    return {}


def _text(value: Any) -> str:
    if isinstance(value, tuple):
        return ",".join(f"{v:g}" for v in value)
    if hasattr(value, "items"):
        return ",".join(f"{k}:{v:g}" for k, v in value.items())
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.6g}" if isinstance(value, float) else str(value)
