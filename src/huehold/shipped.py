"""Data that comes with the package: the sample recording, shipped calibrations."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from huehold.errors import InputError

__all__ = ["shipped_file"]

_CHECKOUT = Path(__file__).resolve().parents[2]


def shipped_file(folder: str, name: str) -> Path:
    """Return a shipped data file, from the installed package or from a checkout.

    Parameters
    ----------
    folder : {"sample_media", "calibration"}
        The top-level folder of the project that holds it.
    name : str
        The file.

    Raises
    ------
    InputError
        If the installation lacks it.
    """
    installed = Path(str(resources.files("huehold"))) / folder / name
    for path in (installed, _CHECKOUT / folder / name):
        if path.is_file():
            return path
    raise InputError(f"The shipped file {folder}/{name} is missing here; install huehold again.")
