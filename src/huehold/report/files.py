"""Writing reports so that a reader never meets half a file."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from huehold.errors import InputError, UsageError

__all__ = ["check_not_another", "check_place", "picture_kind", "write_bytes", "write_text"]

_KINDS = ("", ".json", ".csv", ".tsv", ".txt", ".png", ".svg", ".html", ".htm")


def write_bytes(path: str | Path, content: bytes) -> Path:
    """Write a file under a temporary name and move it into place.

    Parameters
    ----------
    path : str or Path
        Where the file shall be; an existing file is replaced.
    content : bytes
        The whole content.

    Returns
    -------
    Path
        The file's path.

    Raises
    ------
    InputError
        If the folder does not exist, the path is a folder, or writing is refused.
    """
    target = Path(path)
    check_place(target)
    try:
        _replace(target, content)
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"Cannot write {target}: {why}. Choose another place.") from error
    return target


def write_text(path: str | Path, text: str) -> Path:
    """Write text as UTF-8 with the line ends it has; see `write_bytes`."""
    return write_bytes(path, text.encode("utf-8"))


def check_place(target: Path) -> None:
    """Refuse a place where no file can be written, before work is done for it.

    Raises
    ------
    InputError
        If the folder does not exist, or the path is a folder.
    """
    if not target.parent.is_dir():
        raise InputError(
            f"Cannot write {target.name}: the folder {target.parent} does not exist. "
            "Create it or choose another place."
        )
    if target.is_dir():
        raise InputError(f"Cannot write {target}: it is a folder. Add a file name to it.")


def check_not_another(target: Path) -> None:
    """Refuse to write a report over a recording or another file that is no report.

    Raises
    ------
    UsageError
        If there is one of that name.
    """
    if target.suffix.lower() not in _KINDS and target.is_file():
        raise UsageError(f"{target} is there already and is no report; name another file.")


def picture_kind(path: str | Path) -> str:
    """Return the kind of picture a file name asks for, ``"png"`` or ``"svg"``.

    Raises
    ------
    UsageError
        If the name ends in neither.
    """
    kind = Path(path).suffix.lower().lstrip(".")
    if kind not in ("png", "svg"):
        raise UsageError(
            f"Cannot tell the picture's form from {path}: end the name in .png or .svg."
        )
    return kind


def _replace(target: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        Path(name).chmod(_usual_mode(target))
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _usual_mode(target: Path) -> int:
    """Keep an existing file's permissions; a new file is readable by all, as usual."""
    return target.stat().st_mode & 0o777 if target.exists() else 0o644
