"""Where the user's own data lie: notebook and calibrations."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["data_folder"]


def data_folder() -> Path:
    """Return the folder of the user's data; the environment variable HUEHOLD_DATA moves it."""
    import platformdirs

    return Path(
        os.environ.get("HUEHOLD_DATA") or platformdirs.user_data_dir("huehold", appauthor=False)
    )
