"""Checks of the doctor that look at software, disk and network."""

from __future__ import annotations

import platform
import re
import shutil
import socket
import sqlite3
import sys
import tempfile
import webbrowser
from contextlib import closing
from importlib import metadata
from pathlib import Path

from huehold.calibration.store import default_folder
from huehold.doctor.examination import Finding

__all__ = [
    "browser", "codecs", "data_folder", "disk", "libraries", "network", "notebook", "opencv",
    "python",
]  # fmt: skip

_LEAST = (3, 11)
_SCARCE_GB, _LITTLE_GB = 0.5, 5.0
_WHEELS = (
    "opencv-python", "opencv-python-headless", "opencv-contrib-python",
    "opencv-contrib-python-headless",
)  # fmt: skip
_DECODERS = {"h264": "H.264", "hevc": "HEVC", "vp9": "VP9", "av1": "AV1", "mjpeg": "MJPEG"}


def python() -> Finding:
    """Look at the interpreter and huehold itself."""
    from huehold import __version__

    text = f"Python {platform.python_version()} on {platform.system()} {platform.machine()}"
    text += f", huehold {__version__}"
    if sys.version_info[:2] < _LEAST:
        return Finding("Python", "fails", text, "install Python 3.11 or newer")
    return Finding("Python", "works", text)


def libraries(needed: list[str] | None = None) -> Finding:
    """Look for the libraries huehold asks for.

    Parameters
    ----------
    needed : list of str, optional
        Requirements as in package metadata; huehold's own if left out.
    """
    wanted = needed if needed is not None else metadata.requires("huehold") or []
    names = [_name(line) for line in wanted if "extra ==" not in line]
    found: dict[str, str] = {}
    missing = []
    for name in names:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            missing.append(name)
    if missing:
        return Finding(
            "libraries", "fails", f"missing: {', '.join(missing)}",
            f"pip install {' '.join(missing)}",
        )  # fmt: skip
    return Finding("libraries", "works", f"all {len(found)} are there", detail=found)


def opencv(installed: list[str] | None = None) -> Finding:
    """Look for two builds of OpenCV that overwrite each other.

    Parameters
    ----------
    installed : list of str, optional
        Names of the builds there; looked up if left out.
    """
    there = installed if installed is not None else [w for w in _WHEELS if _version(w)]
    if len(there) > 1:
        return Finding(
            "OpenCV", "fails", f"{' and '.join(there)} are installed over each other",
            f"pip uninstall {' '.join(there)}, then pip install opencv-python-headless",
        )  # fmt: skip
    import cv2

    name = there[0] if there else "OpenCV from elsewhere"
    return Finding("OpenCV", "works", f"{name} {cv2.__version__}")


def codecs(available: set[str] | None = None) -> Finding:
    """Look at which recordings can be read, and whether live runs can be recorded."""
    import av

    there = set(av.codecs_available) if available is None else available
    missing = [said for codec, said in _DECODERS.items() if codec not in there]
    text = f"FFmpeg through PyAV {av.__version__}"
    if "H.264" in missing:
        return Finding(
            "video", "fails", f"{text} cannot read H.264", "pip install --force-reinstall av"
        )
    if "libx264" not in there:
        return Finding(
            "video", "limited", f"{text} cannot write H.264; live runs are not recorded",
            "pip install --force-reinstall av",
        )  # fmt: skip
    if missing:
        return Finding(
            "video", "limited", f"{text} cannot read {', '.join(missing)}",
            "record in H.264, or convert such clips",
        )  # fmt: skip
    return Finding("video", "works", f"{text} reads {', '.join(_DECODERS.values())}; writes H.264")


def data_folder(folder: Path | None = None) -> Finding:
    """See whether the folder of the user's data can be written to."""
    wanted = folder or default_folder().parent
    there = _nearest(wanted)
    try:
        with tempfile.TemporaryFile(dir=there):
            pass
    except OSError as error:
        return Finding(
            "data folder", "fails", f"{there} cannot be written to ({error.strerror})",
            "set HUEHOLD_DATA to a folder that can",
        )  # fmt: skip
    made = "" if there == wanted else " (made when first needed)"
    return Finding("data folder", "works", f"{wanted}{made}")


def disk(free_gb: float | None = None) -> Finding:
    """See how much room there is for recordings."""
    room = free_gb
    if room is None:
        room = shutil.disk_usage(_nearest(default_folder())).free / 1e9
    text = f"{room:.1f} GB free where runs are kept"
    if room < _SCARCE_GB:
        return Finding("disk", "fails", text, "make room, or set HUEHOLD_DATA to another disk")
    if room < _LITTLE_GB:
        return Finding("disk", "limited", text, "an hour of recording can take 1 GB")
    return Finding("disk", "works", text)


def notebook(path: Path | None = None) -> Finding:
    """Open the notebook for reading only, and check that it is whole."""
    if path is None:
        from huehold.notebook import default_path

        path = default_path()
    if not path.exists():
        return Finding("notebook", "works", f"none yet; the first run makes {path}")
    try:
        with closing(
            sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=2)
        ) as book:
            whole = book.execute("PRAGMA quick_check(1)").fetchone()[0]
            runs = book.execute("SELECT count(*) FROM run").fetchone()[0]
    except sqlite3.Error as error:
        return Finding(
            "notebook", "fails", f"{path} cannot be opened ({error})",
            "close other programs that hold it, or put its last backup in its place",
        )  # fmt: skip
    if whole != "ok":
        return Finding(
            "notebook", "fails", f"{path} is damaged ({whole})", "put its last backup in its place"
        )
    size = path.stat().st_size / 1e6
    many = "1 run" if runs == 1 else f"{runs} runs"
    return Finding("notebook", "works", f"{many}, {size:.1f} MB, whole: {path}")


def browser() -> Finding:
    """See whether a browser can be opened for the page."""
    try:
        found = webbrowser.get()
    except webbrowser.Error:
        return Finding(
            "browser", "limited", "none can be opened from here",
            "open the address that `huehold watch` prints, here or on a phone",
        )  # fmt: skip
    return Finding("browser", "works", getattr(found, "name", "") or type(found).__name__)


def network(addresses: tuple[str, ...] | None = None) -> Finding:
    """See whether the page can be served here, and seen from a phone."""
    try:
        with closing(socket.create_server(("127.0.0.1", 0))):
            pass
    except OSError as error:
        return Finding(
            "network", "fails", f"no port can be opened on this computer ({error.strerror})",
            "allow Python in the firewall, or use `huehold watch` in the terminal",
        )  # fmt: skip
    if addresses is None:
        from huehold.page.addresses import lan_addresses

        addresses = lan_addresses()
    if not addresses:
        return Finding(
            "network", "limited", "the page works here; there is no local network for a phone",
            "join the same Wi-Fi as the phone",
        )  # fmt: skip
    return Finding("network", "works", f"the page can be served; phones reach {addresses[0]}")


def _name(requirement: str) -> str:
    return re.split(r"[\s;<>=!~\[(]", requirement.strip(), maxsplit=1)[0]


def _version(distribution: str) -> str:
    try:
        return metadata.version(distribution)
    except metadata.PackageNotFoundError:
        return ""


def _nearest(folder: Path) -> Path:
    """Return the folder, or the nearest one above it that is there."""
    there = folder.absolute()
    while not there.is_dir() and there.parent != there:
        there = there.parent
    return there
