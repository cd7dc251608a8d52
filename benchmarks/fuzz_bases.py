"""Small sound inputs that the fuzz harness starts from, made anew for each campaign."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from huehold.calibration.dropper import Weighing, calibrate
from huehold.calibration.files import to_toml
from huehold.core import Event, Frame, Observation
from huehold.methods import load_method
from huehold.notebook import Notebook
from huehold.run import Picture
from huehold.session import Session

METHOD = "magnesium-hydroxide-by-vinegar"
SIZE_PX = (160, 120)
RATE_HZ = 12
LENGTH_S = 2.0
_CODECS = {
    "clip.mp4": ("h264", "yuv420p"),
    "clip.mkv": ("h264", "yuv420p"),
    "clip.mov": ("hevc", "yuv420p"),
    "clip.webm": ("vp9", "yuv420p"),
    "clip.avi": ("mjpeg", "yuvj420p"),
    "clip.ts": ("h264", "yuv420p"),
}
_MASSES = "time_s,cumulative_g\n0.2,1.50\n0.5,3.02\n0.9,4.55\n1.2,4.60\n1.6,4.65\n"
_DROPPER_MASSES_G = (0.49, 0.48, 0.49, 0.47, 0.50)  # ten drops each


def pictures(length_s: float = LENGTH_S) -> Iterator[NDArray[np.uint8]]:
    """Yield frames of a cup on paper whose liquid goes from orange to green and half back."""
    width, height = SIZE_PX
    start, end = np.array([205.0, 110.0, 60.0]), np.array([120.0, 160.0, 70.0])
    rng = np.random.default_rng(7)
    count = round(length_s * RATE_HZ)
    for number in range(count):
        share = min(1.0, max(0.0, 3.0 * number / count - 1.0)) * (1.0 - 0.4 * number / count)
        picture = np.full((height, width, 3), 196, np.uint8)
        picture[::12] = 150
        centre = (width // 2, height // 2)
        cv2.ellipse(picture, centre, (44, 40), 0.0, 0.0, 360.0, (235, 235, 235), 3)
        colour = tuple(float(c) for c in start + share * (end - start))
        cv2.ellipse(picture, centre, (40, 36), 0.0, 0.0, 360.0, colour, -1)
        noise = rng.normal(0.0, 2.0, picture.shape)
        yield np.clip(picture + noise, 0, 255).astype(np.uint8)


def write_recordings(folder: Path) -> list[Path]:
    """Write one clip for each container and return their paths."""
    frames = list(pictures())
    return [_write_clip(folder / name, *how, frames) for name, how in _CODECS.items()]


def _write_clip(
    path: Path, codec: str, pixels: str, frames: list[NDArray[np.uint8]]
) -> Path:  # fmt: skip
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=RATE_HZ)
        stream.width, stream.height = SIZE_PX
        stream.pix_fmt = pixels
        if codec == "hevc":
            stream.options = {"x265-params": "log-level=none"}
        stream.codec_context.gop_size = RATE_HZ
        for picture in frames:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode(None))
    return path


def write_files(folder: Path) -> list[Path]:
    """Write one sound file of every other kind and return their paths."""
    return [
        _text(folder / "masses.csv", _MASSES),
        _text(folder / "method.toml", _method_text()),
        _text(folder / "assay.json", _assay_text()),
        _text(folder / "replicates.csv", "sample_mass_g,titrant_mass_g\n5.22,16.56\n5.19,16.44\n"),
        _text(folder / "dropper.toml", _dropper_text()),
        write_notebook(folder / "book.sqlite3"),
    ]


def _text(path: Path, text: str) -> Path:
    path.write_text(text, "utf-8")
    return path


def _method_text() -> str:
    import huehold.methods

    folder = Path(huehold.methods.__file__).parent / "data"
    return (folder / f"{METHOD}.toml").read_text("utf-8")


def _assay_text() -> str:
    from huehold.stoichiometry.assay import assay

    found = assay(
        METHOD, sample_mass=5.22, titrant_mass=16.56, bracket_mass=0.05, strength="5 %",
        density="1.044 g/mL", claim="1200 mg/15 mL", tolerance="90-115 %",
    )  # fmt: skip
    return json.dumps(found.to_json())


def _dropper_text() -> str:
    weighings = [Weighing(10, mass_g) for mass_g in _DROPPER_MASSES_G]
    return to_toml(calibrate(weighings, name="kitchen", made=date(2026, 5, 3)))


def write_notebook(path: Path) -> Path:
    """Write a notebook with a run that went through the session and has masses."""
    session = Session(load_method(METHOD))
    width, height = SIZE_PX
    with Notebook(path) as book:
        run = book.begin(
            method=session.method.model_dump_json(by_alias=True, exclude_none=True),
            settings={"hold_s": 5.0, "rate_hz": 12.0},
            source={"name": "camera", "width_px": width, "height_px": height},
            title="cup",
        )
        seen: list[Observation] = []
        told: list[Event] = []
        for number, picture in enumerate(pictures()):
            step = session.feed(Frame(number / RATE_HZ, picture))
            seen.append(step.observation)
            told.extend(step.events)
        book.append(run, seen, told, [Picture(0.0, b"\xff\xd8\xff\xd9")])
        book.set_inputs(run, {"sample_mass": "5.22 g"})
        for number, mass_g in enumerate((1.5, 3.0, 4.5)):
            book.add_mass(run, 0.4 * number, mass_g, f"{mass_g}")
        book.add_note(run, 1.0, "a remark")
        book.finish(run, {"kind": "not_reached", "onset_s": None}, {})
    return path
