"""From what was weighed, and the verdict, to the assay: what is typed beside a run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from huehold.balance.bracket import check_within, endpoint_bracket
from huehold.balance.masses import MOST_TITRANT_G
from huehold.core import Event, Reading, Verdict
from huehold.errors import InputError
from huehold.mass_fields import FIELDS

if TYPE_CHECKING:
    from huehold.calibration.model import Calibration
    from huehold.methods import Method
    from huehold.stoichiometry.assay import Assay

__all__ = ["MassInputs", "assay_of", "read_mass"]

_UNDER_COLOUR_S = 1.0  # as the verdict has it
_BY_KEY = {known.key: known for known in FIELDS}


@dataclass(frozen=True, slots=True)
class MassInputs:
    """What was weighed and read off labels, as typed.

    Attributes
    ----------
    readings : tuple of Reading
        Cumulative titrant masses over the run; go before a typed titrant mass.
    given : mapping of str to str
        By the keys of `huehold.mass_fields.FIELDS`; a key that is missing is not known.
    """

    readings: tuple[Reading, ...] = ()
    given: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    @classmethod
    def from_mapping(
        cls, values: Mapping[str, str], method: Method, readings: Sequence[Reading] = ()
    ) -> MassInputs:
        """Check what was typed, each for itself.

        Parameters
        ----------
        values : mapping of str to str
            By the keys of `huehold.mass_fields.FIELDS`; empty texts are left out.
        method : Method
            Says what a claim or strength may be.
        readings : sequence of Reading
            Cumulative titrant masses.

        Raises
        ------
        InputError
            If a key is not known or a value cannot be read.
        """
        given = {key: text.strip() for key, text in values.items() if text and text.strip()}
        for key, text in given.items():
            _check(key, text, method)
        return cls(tuple(readings), MappingProxyType(given))

    def dated_by(self, end_s: float) -> MassInputs:
        """Date what was typed after the last frame, while no picture came, at that frame."""
        readings = tuple(replace(r, time_s=min(r.time_s, end_s)) for r in self.readings)
        return replace(self, readings=readings)

    def as_mapping(self) -> dict[str, str]:
        """Return what was typed, as plain values."""
        return dict(self.given)

    @staticmethod
    def fields(method: Method) -> list[dict[str, str]]:
        """Return what a form asks for with a method."""
        wanted = ("always", "back") if method.reagent is not None else ("always",)
        return [
            {"key": f.key, "label": f.label, "example": f.example}
            for f in FIELDS
            if f.asked in wanted
        ]


def _check(key: str, text: str, method: Method) -> None:
    from huehold.stoichiometry.claim import parse_claim, parse_tolerance
    from huehold.stoichiometry.quantities import positive, read

    known = _BY_KEY.get(key)
    if known is None:
        raise InputError(f"{key!r} is nothing an assay asks for; it knows {', '.join(_BY_KEY)}.")
    in_drops = key == "bracket_mass" and read(text, None, known.label.lower()).unit == "drop"
    if known.unit is not None and not in_drops:
        typed = read(text, known.unit, known.label.lower())
        if key != "blank_mass":
            positive(typed, known.label.lower(), "was the tare forgotten?")
    elif key == "claim":
        parse_claim(text, method)
    elif key == "tolerance":
        parse_tolerance(text)


def read_mass(text: str, previous_g: float | None = None) -> float:
    """Read a cumulative titrant mass as typed, with comma or point, in grams unless stated.

    Parameters
    ----------
    text : str
        Such as ``"1,52"``, ``"1.52 g"`` or ``"1520 mg"``.
    previous_g : float, optional
        The mass before it, below which it cannot fall.

    Raises
    ------
    InputError
        If it is no mass, is negative, falls, or is beyond any balance.
    """
    from huehold.stoichiometry.quantities import read

    mass_g = read(text, "g", "titrant mass").value
    if not 0 <= mass_g <= MOST_TITRANT_G:
        raise InputError(f"A titrant mass of {mass_g:g} g cannot be; type the cumulative grams.")
    if previous_g is not None and mass_g < previous_g:
        raise InputError(
            f"{mass_g:g} g is less than the {previous_g:g} g before it; type the cumulative mass, "
            "or correct the entry before."
        )
    return mass_g


def assay_of(
    method: Method,
    verdict: Verdict,
    events: Sequence[Event],
    masses: MassInputs | None,
    duration_s: float,
    calibrations: Sequence[Calibration] = (),
    end_colour: tuple[float, float] | None = None,
) -> tuple[Assay | None, tuple[str, ...]]:
    """Compute the assay of a run, if its verdict and what was weighed allow one.

    Parameters
    ----------
    method : Method
        The titration as data.
    verdict : Verdict
        Only an endpoint gives an assay.
    events : sequence of Event
        The additions among them decide which reading belongs to the endpoint.
    masses : MassInputs or None
        What was weighed.
    duration_s : float
        Time of the last frame.
    calibrations : sequence of Calibration
        What was measured beforehand; what was typed goes before it.
    end_colour : (float, float), optional
        a* and b* of the colour that held; with a chart of the dye it gives the pH.

    Returns
    -------
    (Assay or None, tuple of str)
        The assay, and sentences about what is missing or doubtful.

    Raises
    ------
    InputError
        If the masses make no sense.
    """
    from huehold.calibration.applied import applied

    if masses is None or not (masses.given or masses.readings):
        return None, ()
    check_within(masses.readings, duration_s)
    if verdict.kind != "endpoint" or verdict.onset_s is None:
        return None, ("Masses were given, but without an endpoint there is no result.",)
    if "sample_mass" not in masses.given:
        return None, ("No sample mass was given, so there is no result.",)
    values, warnings = _with_titrant(masses, verdict.onset_s, events, duration_s)
    if "titrant_mass" not in values:
        return None, ("No titrant mass was given, so there is no result.",)
    warnings += _beyond_the_bracket(events, verdict.onset_s)
    measured = applied(calibrations, method, end_colour, values)
    return _compute(method, {**measured.arguments, **values}), (*warnings, *measured.warnings)


def _with_titrant(
    masses: MassInputs, onset_s: float, events: Sequence[Event], duration_s: float
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return what was given, with titrant and last addition by the readings; and warnings."""
    values: dict[str, Any] = dict(masses.given)
    if not masses.readings:
        return values, ()
    found = endpoint_bracket(masses.readings, onset_s, events, duration_s=duration_s)
    values["titrant_mass"] = found.mass_g
    width_g = 0.0 if found.before_g is None else round(found.mass_g - found.before_g, 6)
    if width_g > 0:
        values.setdefault("bracket_mass", width_g)
    return values, found.warnings


def _beyond_the_bracket(events: Sequence[Event], onset_s: float) -> tuple[str, ...]:
    """Say so where titrant went into an end colour that had come before: no bracket holds that."""
    entered = [e.detail.get("entered_s") for e in events if e.kind == "endpoint"]
    entered_s = entered[-1] if entered else None
    if not isinstance(entered_s, float) or onset_s - entered_s <= _UNDER_COLOUR_S:
        return ()
    return (
        f"The stated uncertainty spans the last addition; that titrant was added for "
        f"{onset_s - entered_s:.0f} s before it under a colour that was in the end band is not "
        "in it.",
    )


def _compute(method: Method, values: Mapping[str, Any]) -> Assay:
    from huehold.stoichiometry.assay import assay
    from huehold.stoichiometry.weighing import balance_of

    arguments = dict(values)
    if "readability" in arguments:
        arguments["balance"] = balance_of(arguments.pop("readability"))
    return assay(method, **arguments)
