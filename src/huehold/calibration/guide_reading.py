"""How the answers of a guided calibration are read, and what is offered for them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from huehold.core import Ellipse, Rect
from huehold.errors import InputError, UsageError

__all__ = ["READERS", "choices_of"]


def choices_of(name: str, method: str = "") -> tuple[tuple[str, str], ...]:
    """Return what a field offers: what is typed, and what people read.

    Parameters
    ----------
    name : str
        ``"coins"``, ``"references"``, ``"lights"``, ``"methods"`` or ``"standards"``.
    method : str
        Whose standards.
    """
    return tuple(_CHOICES[name](method))


# -- what is offered --------------------------------------------------------------------------


def _coins(_: str) -> list[tuple[str, str]]:
    from huehold.calibration.coins import list_coins

    return [(c.key, f"{c.name}, {c.mass_g:g} g") for c in list_coins()]


def _references(_: str) -> list[tuple[str, str]]:
    from huehold.calibration.references import list_references

    return [(r.key, f"{r.name}, pH {r.ph:.2f} +/- {r.u:.2f}") for r in list_references()]


def _lights(_: str) -> list[tuple[str, str]]:
    from huehold.calibration.indicator_model import LIGHTS

    return [(name, name) for name in LIGHTS]


def _methods(_: str) -> list[tuple[str, str]]:
    from huehold.methods import list_methods

    return [(method, method.replace("-", " ")) for method in list_methods()]


def _standards(method: str) -> list[tuple[str, str]]:
    from huehold.methods import load_method

    return [(s.name, f"{s.name} ({s.formula})") for s in load_method(method).standards]


_CHOICES: Mapping[str, Callable[[str], list[tuple[str, str]]]] = MappingProxyType(
    {
        "coins": _coins, "references": _references, "lights": _lights, "methods": _methods,
        "standards": _standards,
    }
)  # fmt: skip


# -- how it is read ---------------------------------------------------------------------------


def _mass(text: str, label: str) -> float:
    from huehold.stoichiometry.quantities import read

    return read(text, "g", label.lower()).value


def _number(text: str, label: str) -> float:
    from huehold.stoichiometry.quantities import read_number

    return read_number(text, label.lower())


def _readability(text: str, label: str) -> float:
    from huehold.stoichiometry.weighing import Balance

    return Balance(_mass(text, label)).readability_g


def _count(text: str, label: str) -> int:
    if not (text.isascii() and text.isdecimal() and 0 < int(text) < 10_000):
        raise InputError(f"'{text}' is no count; give {label.lower()} as a whole number.")
    return int(text)


def _weighed(text: str, label: str) -> str:
    grams = _mass(text, label)
    if not (math.isfinite(grams) and grams > 0.0):
        raise InputError(f"'{text}' is no mass; give grams above zero.")
    return text if any(c.isalpha() for c in text) else f"{text} g"


def _parts(text: str, label: str) -> tuple[float, ...]:
    found = tuple(_mass(part, label) for part in text.split("+") if part.strip())
    if len(found) < 2:
        raise InputError(f"'{text}' is no such weighing; write 5.01+7.49=12.50.")
    return found


def _share(text: str, label: str) -> float:
    share = _number(text, label)
    if not 0.0 <= share <= 1.0:
        raise InputError(
            f"A share of {share:g} makes no sense; shares go from 0 (clear water) to 1 (fresh "
            "suspension)."
        )
    return share


def _weight(text: str, _: str) -> Any:
    from huehold.calibration.balance import check_weight

    return check_weight(text)


def _ph(text: str, _: str) -> Any:
    from huehold.calibration.references import known_ph

    return known_ph(text)


def _method(text: str, _: str) -> Any:
    from huehold.methods import load_method

    return load_method(text)


def _light(text: str, _: str) -> str:
    from huehold.calibration.indicator_model import LIGHTS

    if text not in LIGHTS:
        raise UsageError(f"There is no light '{text}'; known are {', '.join(LIGHTS)}.")
    return text


def _pixels(text: str, label: str, count: int) -> tuple[float, ...]:
    try:
        found = tuple(float(part) for part in text.replace(" ", ",").split(",") if part)
    except ValueError:
        found = ()
    if len(found) != count or not all(map(math.isfinite, found)):
        raise InputError(f"'{text}' is not {count} numbers in pixels. {label}.")
    return found


def _circle(text: str, label: str) -> Ellipse:
    x_px, y_px, radius_px = _pixels(text, label, 3)
    return Ellipse(x_px, y_px, radius_px, radius_px)


def _rectangle(text: str, label: str) -> Rect:
    return Rect(*_pixels(text, label, 4))


def _corners(text: str, label: str) -> tuple[tuple[float, float], ...]:
    numbers = _pixels(text, label, 8)
    return tuple(zip(numbers[::2], numbers[1::2], strict=True))


def _as_typed(text: str, _: str) -> str:
    return text


READERS: Mapping[str, Callable[[str, str], Any]] = MappingProxyType(
    {
        "text": _as_typed, "picture": _as_typed, "mass": _mass, "number": _number,
        "readability": _readability, "count": _count, "weighed": _weighed, "parts": _parts,
        "share": _share, "weight": _weight, "ph": _ph, "method": _method, "light": _light,
        "circle": _circle, "rectangle": _rectangle, "corners": _corners,
    }
)  # fmt: skip
"""Kind of a field -> what turns its text into a value; the second argument is its label."""
