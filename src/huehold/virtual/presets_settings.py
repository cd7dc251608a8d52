"""Change single settings of a scenario by name, with errors a person can use."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from types import MappingProxyType
from typing import Any, get_type_hints

from pydantic import BaseModel, TypeAdapter, ValidationError

from huehold.errors import UsageError
from huehold.virtual.presets import Scenario

__all__ = ["list_settings", "with_settings"]


def list_settings(scenario: Scenario) -> Iterator[tuple[str, str, str]]:
    """Name, present value and meaning of every setting.

    Yields
    ------
    tuple of str
        E.g. ``("camera.blur_px", "0.6", "")``.
    """
    yield "seed", str(scenario.seed), "of everything random"
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
    for assignment in assignments:
        name, equals, value = assignment.partition("=")
        if not equals:
            raise UsageError(f"{assignment!r} sets nothing; write it as section.name=value.")
        scenario = _with_one(scenario, name.strip(), value.strip())
    return scenario


def _with_one(scenario: Scenario, name: str, value: str) -> Scenario:
    known = [key for key, _, _ in list_settings(scenario)]
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}?" if near else "see them all with --settings."
        raise UsageError(f"There is no setting {name!r}; {hint}")
    if name == "seed":
        return scenario.model_copy(update={"seed": _seed(value)})
    part, key = name.split(".", 1)
    section = getattr(scenario, part)
    changed = _changed(section, name, key, value)
    return scenario.model_copy(update={part: changed})


def _changed(section: Any, name: str, key: str, value: str) -> Any:
    try:
        if isinstance(section, BaseModel):
            # As set first, so that values which depend on each other are judged together.
            held = {k: getattr(section, k) for k in type(section).model_fields}
            return type(section).model_validate({**held, key: value})
        return replace(section, **{key: _cast(type(section), key, value)})
    except ValidationError as problem:
        raise UsageError(f"{name}={value} makes no sense: {_sentence(problem)}.") from None


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


def _seed(value: str) -> int:
    if not value.isdigit():
        raise UsageError(f"seed={value} makes no sense: give a whole number from 0.")
    return int(value)


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
        return {field.name: "" for field in fields(section) if field.name != "seed"}
    return {}


def _text(value: Any) -> str:
    if isinstance(value, tuple):
        return ",".join(f"{v:g}" for v in value)
    if hasattr(value, "items"):
        return ",".join(f"{k}:{v:g}" for k, v in value.items())
    return f"{value:.6g}" if isinstance(value, float) else str(value).lower()
