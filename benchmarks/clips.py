"""Recordings to measure on: a titration of the virtual bench as a phone would have coded it.

The bench renders a run small; it is enlarged, given fresh grain frame by frame and coded at a
phone's bitrate with a key frame every second. Long recordings are made of the same coded
seconds in another order: additions come back, and calm seconds between them are repeated.
Everything is kept in a folder for temporary files and made once.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np

RATE_HZ = 30
FOLDER = Path(tempfile.gettempdir()) / "huehold-benchmarks"


@dataclass(frozen=True)
class Coding:
    """Codec, size and bitrate of a clip."""

    encoder: str
    size_px: tuple[int, int]
    bits_per_s: int
    pixels: str = "yuv420p"


CODINGS = {
    "360p": Coding("libx264", (640, 360), 400_000),
    "720p": Coding("libx264", (1280, 720), 5_000_000),
    "1080p": Coding("libx264", (1920, 1080), 10_000_000),
    "1080p-hevc": Coding("libx265", (1920, 1080), 8_000_000),
    "4k": Coding("libx264", (3840, 2160), 40_000_000),
}
_OPTIONS = {
    "libx264": {"preset": "veryfast", "bf": "0", "sc_threshold": "0"},
    "libx265": {
        "preset": "ultrafast",
        "x265-params": "log-level=none:keyint=30:min-keyint=30:scenecut=0:open-gop=0:bframes=0",
    },
}
_GRAIN = 3.0  # standard deviation in code values


def run_clip(coding: str, seconds: float = 103.0) -> Path:
    """Return the run of the preset "clean", eight additions and a hold, as a phone codes it."""
    path = FOLDER / f"run-{coding}-{seconds:.0f}s.mp4"
    if not path.exists():
        print(f"making {path}", file=sys.stderr)
        FOLDER.mkdir(parents=True, exist_ok=True)
        partial = path.with_suffix(".partial.mp4")
        _encode(partial, CODINGS[coding], seconds)
        partial.replace(path)
    return path


def long_clip(coding: str, minutes: float, source_s: float = 103.0) -> Path:
    """Return a recording with an addition a minute, of the coded seconds of `run_clip`."""
    path = FOLDER / f"long-{coding}-{minutes:g}min.mp4"
    if not path.exists():
        source = run_clip(coding, source_s)
        print(f"making {path}", file=sys.stderr)
        partial = path.with_suffix(".partial.mp4")
        _splice(source, partial, _story(round(60 * minutes), round(source_s)))
        partial.replace(path)
    return path


def _story(length_s: int, source_s: int) -> list[int]:
    """Seconds of the run, in the order in which they are shown.

    An addition a minute, each at the colour the one before left behind; after it two calm
    seconds take turns. A long source ends with the addition that holds.
    """
    portions = [list(range(7, 14)), list(range(15, 21)), list(range(22, 28))]
    portions = [portion for portion in portions if portion[-1] < source_s]
    ending = list(range(54, source_s)) if source_s >= 100 else []
    order = list(range(7))
    while len(order) < length_s - len(ending):
        portion = portions.pop(0) if len(portions) > 1 else portions[0]
        calm = portion[-2:] * 30
        order += portion + calm[: 60 - len(portion)]
    return order[: length_s - len(ending)] + ending


def _encode(path: Path, coding: Coding, seconds: float) -> None:
    with av.open(str(path), "w") as container:
        stream = container.add_stream(
            coding.encoder, rate=RATE_HZ, options=_OPTIONS[coding.encoder]
        )
        stream.width, stream.height = coding.size_px
        stream.pix_fmt, stream.bit_rate = coding.pixels, coding.bits_per_s
        stream.gop_size = RATE_HZ
        context = stream.codec_context
        context.colorspace = context.color_trc = context.color_primaries = 1
        context.color_range = 1
        for number, picture in enumerate(pictures(coding.size_px, round(seconds * RATE_HZ))):
            frame = av.VideoFrame.from_ndarray(picture, "rgb24")
            frame = frame.reformat(format=coding.pixels, dst_colorspace="ITU709")
            frame.pts, frame.time_base = number, Fraction(1, RATE_HZ)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def pictures(size_px: tuple[int, int], count: int, rate_hz: float = RATE_HZ) -> Iterator[Any]:
    """Enlarged pictures of the run with fresh grain, as sRGB arrays.

    Parameters
    ----------
    size_px : (int, int)
        Width and height.
    count : int
        How many.
    rate_hz : float
        Pictures to a second of the run.
    """
    rng = np.random.default_rng(7)
    width, height = size_px
    grain = rng.normal(0.0, _GRAIN, (height + 97, width + 97, 1)).astype(np.int8)
    grain = np.repeat(grain, 3, axis=2)
    shown, large = None, None
    for small in _at_rate(_rendered(), count, rate_hz):
        if small is not shown:
            shown, large = small, cv2.resize(small, size_px, interpolation=cv2.INTER_CUBIC)
        dy, dx = rng.integers(0, 97, 2)
        yield cv2.add(large, grain[dy : dy + height, dx : dx + width], dtype=cv2.CV_8U)


def _at_rate(timed: Iterator[tuple[float, Any]], count: int, rate_hz: float) -> Iterator[Any]:
    """For each tick of a steady clock, the last picture not after it."""
    _, picture = next(timed)
    later = next(timed, None)
    for number in range(count):
        while later is not None and later[0] <= number / rate_hz:
            _, picture = later
            later = next(timed, None)
        yield picture


def _rendered() -> Iterator[tuple[float, Any]]:
    from huehold.virtual.presets import load_preset
    from huehold.virtual.presets_settings import with_settings
    from huehold.virtual.simulate import simulate

    FOLDER.mkdir(parents=True, exist_ok=True)
    path = FOLDER / "bench.mp4"
    if not path.exists():
        wide = ("sight.width_px=480", "sight.height_px=270", "recording.quality=12")
        simulate(with_settings(load_preset("clean"), wide), path)
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            yield float(frame.pts * frame.time_base), frame.to_ndarray(format="rgb24")


def _splice(source: Path, target: Path, order: list[int]) -> None:
    """Write whole coded seconds in another order; nothing is coded anew."""
    with av.open(str(source)) as given, av.open(str(target), "w") as taken:
        stream = given.streams.video[0]
        out = taken.add_stream_from_template(stream)
        seconds = _coded_seconds(given, stream)
        step = round(1 / (RATE_HZ * stream.time_base))
        number = 0
        for second in order:
            for content, key in seconds[second]:
                packet = av.Packet(content)
                packet.stream, packet.time_base = out, stream.time_base
                packet.pts = packet.dts = number * step
                packet.duration, packet.is_keyframe = step, key
                taken.mux(packet)
                number += 1


def _coded_seconds(container: Any, stream: Any) -> list[list[tuple[bytes, bool]]]:
    seconds: list[list[tuple[bytes, bool]]] = []
    for packet in container.demux(stream):
        if packet.size == 0:
            continue
        if packet.is_keyframe:
            seconds.append([])
        seconds[-1].append((bytes(packet), packet.is_keyframe))
    return seconds


if __name__ == "__main__":
    for name in sys.argv[1:] or ["1080p"]:
        print(run_clip(name))
