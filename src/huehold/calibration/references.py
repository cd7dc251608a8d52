"""Liquids of known pH: buffers, and what a kitchen has, each with its uncertainty and source."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from huehold.errors import InputError, UsageError

__all__ = ["Reference", "known_ph", "list_references", "reference"]

_TYPED_U = 0.1
_WATERS = {"tap-water", "water", "distilled-water", "rain-water"}


@dataclass(frozen=True, slots=True)
class Reference:
    """A liquid of known pH.

    Attributes
    ----------
    key, name : str
        How it is called for, and what it is.
    ph, u : float
        pH at 25 C with its standard uncertainty.
    how : str
        ``"standard"``, ``"computed"``, ``"common practice"`` or ``"typed"``.
    source : str
        Where the figure is from.
    """

    key: str
    name: str
    ph: float
    u: float
    how: str
    source: str


@cache
def list_references() -> tuple[Reference, ...]:
    """List the references that come with the program, by rising pH."""
    text = (resources.files("huehold.calibration") / "data" / "references.toml").read_text("utf-8")
    found = (Reference(key=key, **table) for key, table in tomllib.loads(text).items())
    return tuple(sorted(found, key=lambda known: known.ph))


def reference(key: str) -> Reference:
    """Find a reference by its key.

    Raises
    ------
    UsageError
        If there is none; for plain waters, why not.
    """
    wanted = key.strip().lower().replace(" ", "-").replace(".", "-").replace("_", "-")
    for known in list_references():
        if known.key == wanted:
            return known
    if wanted in _WATERS:
        raise UsageError(
            f"The pH of {key} differs from place to place and moves with the air; measure it and "
            "give the number with its uncertainty, such as 7.4+/-0.3, or use a buffer."
        )
    keys = [known.key for known in list_references()]
    near = difflib.get_close_matches(wanted, keys, n=1, cutoff=0.4)
    hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(keys)}."
    raise UsageError(f"There is no reference '{key}'; {hint}")


def known_ph(text: str) -> Reference:
    """Read a pH as typed (``"7.0"``, ``"7,0 +/- 0.2"``) or a reference by its key.

    A bare number counts as known to 0.1, a fair paper or meter.

    Raises
    ------
    InputError
        If the number is no pH.
    UsageError
        If it is no number and no reference.
    """
    plain = text.strip().replace("±", "+/-").replace(",", ".")
    value_text, _, u_text = plain.partition("+/-")
    try:
        value = float(value_text)
        u = float(u_text) if u_text.strip() else _TYPED_U
    except ValueError:
        return reference(text)
    if not (0.0 <= value <= 14.0 and 0.0 <= u <= 3.0):
        raise InputError(f"'{text.strip()}' is no pH; it lies between 0 and 14, such as 7.0+/-0.1.")
    how = "typed" if u_text.strip() else f"typed, taken as known to {_TYPED_U:g}"
    return Reference(plain, f"pH {value:g}", value, u, "typed", how)
