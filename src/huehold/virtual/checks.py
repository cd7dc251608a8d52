"""What all settings of the virtual bench must be."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

from huehold.errors import InputError

__all__ = ["demand_finite"]


def demand_finite(what: str, settings: Any) -> None:
    """Refuse numbers that are not finite.

    Parameters
    ----------
    what : str
        What the settings are of, for the message.
    settings : dataclass instance
        Its float fields are looked at.

    Raises
    ------
    InputError
        Naming the first that is not.
    """
    for part in fields(settings):
        value = getattr(settings, part.name)
        if isinstance(value, float) and not math.isfinite(value):
            raise InputError(f"The {what}'s {part.name} is {value}; it must be a finite number.")
