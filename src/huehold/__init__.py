"""Watch a kitchen titration, call the endpoint that holds, compute the result."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
__all__ = ["MassInputs", "Run", "Session", "Settings", "assay", "load_method", "review"]

if TYPE_CHECKING:
    from huehold.masses import MassInputs
    from huehold.methods import load_method
    from huehold.run import Run, Settings
    from huehold.session import Session, review
    from huehold.stoichiometry.assay import assay

_HOME = {
    "MassInputs": "huehold.masses",
    "Run": "huehold.run",
    "Session": "huehold.session",
    "Settings": "huehold.run",
    "assay": "huehold.stoichiometry.assay",
    "load_method": "huehold.methods",
    "review": "huehold.session",
}


def __getattr__(name: str) -> Any:
    # Loaded on first use, so that `huehold --help` does not wait for OpenCV and SciPy.
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'huehold' has no attribute {name!r}")
