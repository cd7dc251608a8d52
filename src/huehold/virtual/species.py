"""Weak acids, metal ions, complexes and hydroxides, read from data, at a temperature."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from huehold.errors import InputError

__all__ = [
    "Acid",
    "Complex",
    "Metal",
    "Solid",
    "acid",
    "complexes",
    "davies_a",
    "metal",
    "pkw",
    "shifted_log_k",
    "solid",
    "water_density",
]

_GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
_REFERENCE_K = 298.15


@dataclass(frozen=True, slots=True)
class Acid:
    """A weak acid: charge of its fully protonated form, and its constants at 25 C."""

    name: str
    formula: str
    molar_mass: float
    charge: int
    pka: tuple[float, ...]
    dh_kj: tuple[float, ...]

    def pka_at(self, temperature_c: float) -> tuple[float, ...]:
        """Constants at a temperature, as many as there are protons to lose."""
        pairs = zip(self.pka, self.dh_kj, strict=True)
        return tuple(-shifted_log_k(-pka, dh, temperature_c) for pka, dh in pairs)


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal ion with its first hydrolysis, M + H2O = MOH + H."""

    name: str
    charge: int
    hydrolysis_pk: float
    hydrolysis_dh_kj: float

    def hydrolysis_pk_at(self, temperature_c: float) -> float:
        """Its constant at a temperature."""
        return -shifted_log_k(-self.hydrolysis_pk, self.hydrolysis_dh_kj, temperature_c)


@dataclass(frozen=True, slots=True)
class Complex:
    """One metal ion with one ligand and its protons; log K from the bare ligand."""

    metal: str
    ligand: str
    protons: int
    log_k: float
    dh_kj: float


@dataclass(frozen=True, slots=True)
class Solid:
    """A hydroxide M(OH)2; log K of M(OH)2 + 2 H = M + 2 H2O."""

    name: str
    formula: str
    metal: str
    log_k: float
    dh_kj: float
    molar_mass: float

    def log_k_at(self, temperature_c: float) -> float:
        """Its constant at a temperature."""
        return shifted_log_k(self.log_k, self.dh_kj, temperature_c)


def shifted_log_k(log_k: float, dh_kj: float, temperature_c: float) -> float:
    """Move a constant from 25 C to another temperature (van 't Hoff, constant enthalpy).

    Parameters
    ----------
    log_k : float
        Decadic logarithm at 25 C.
    dh_kj : float
        Enthalpy of reaction, kJ/mol.
    temperature_c : float
        Temperature in degrees Celsius.
    """
    inverse = 1.0 / (temperature_c + 273.15) - 1.0 / _REFERENCE_K
    return log_k - dh_kj * 1000.0 / (_GAS_CONSTANT * float(np.log(10.0))) * inverse


def water_density(temperature_c: float) -> float:
    """Density of air-free water in g/mL (Kell 1975), 0 to 60 degrees Celsius."""
    t = temperature_c
    top = (
        999.83952
        + 16.945176 * t
        - 7.9870401e-3 * t**2
        - 46.170461e-6 * t**3
        + 105.56302e-9 * t**4
        - 280.54253e-12 * t**5
    )
    return top / (1.0 + 16.87985e-3 * t) / 1000.0


def pkw(temperature_c: float) -> float:
    """Ion product of water, molal, at saturation pressure (Marshall and Franck 1981).

    Parameters
    ----------
    temperature_c : float
        0 to 60 degrees Celsius.
    """
    t = temperature_c + 273.15
    plain = -4.098 - 3245.2 / t + 2.2362e5 / t**2 - 3.984e7 / t**3
    dense = 13.957 - 1262.3 / t + 8.5641e5 / t**2
    return -(plain + dense * float(np.log10(water_density(temperature_c))))


def davies_a(temperature_c: float) -> float:
    """Slope A of the Davies equation from the permittivity of water.

    1.82e6 (eps T)^-1.5 with eps after Malmberg and Maryott 1956; 0.509 at 25 degrees.
    """
    t = temperature_c
    permittivity = 87.740 - 0.40008 * t + 9.398e-4 * t**2 - 1.410e-6 * t**3
    return float(1.82e6 * (permittivity * (t + 273.15)) ** -1.5)


@cache
def _tables() -> dict[str, Any]:
    text = (files("huehold.virtual") / "data" / "species.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _entry(group: str, word: str, name: str) -> dict[str, Any]:
    tables: dict[str, dict[str, Any]] = _tables()[group]
    if name not in tables:
        known = ", ".join(tables)
        raise InputError(f"There is no {word} called {name!r}; known are {known}.")
    return tables[name]


@cache
def acid(name: str) -> Acid:
    """Find a weak acid by name; InputError names the known ones."""
    entry = _entry("acids", "acid", name)
    return Acid(
        name=name,
        formula=entry["formula"],
        molar_mass=entry["molar_mass"],
        charge=entry.get("charge", 0),
        pka=tuple(entry["pka"]),
        dh_kj=tuple(entry["dh_kj"]),
    )


@cache
def metal(name: str) -> Metal:
    """Find a metal ion by name; InputError names the known ones."""
    entry = _entry("metals", "metal ion", name)
    return Metal(name, entry["charge"], entry["hydrolysis_pk"], entry["hydrolysis_dh_kj"])


@cache
def solid(name: str) -> Solid:
    """Find a hydroxide by name; InputError names the known ones."""
    entry = _entry("solids", "solid", name)
    values = {key: value for key, value in entry.items() if key != "source"}
    return Solid(name=name, **values)


@cache
def complexes() -> tuple[Complex, ...]:
    """All complexes in the data file."""
    return tuple(Complex(**entry) for entry in _tables()["complexes"])
