"""Cost of reading a recording against decoding it alone.

    python benchmarks/decode.py [RECORDING ...] [--seconds 60] [--repeats 3]

Without a recording, clips are made first (noisy motion, H.264 at a phone's bitrate, key
frames every second) and kept in the system's folder for temporary files. Each row is the
median of the repeats, interleaved, with the ratio to decoding every frame in the same
library with the same threads; processor time counts all threads and bears other load better.
"""

from __future__ import annotations

import argparse
import platform
import resource
import statistics
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from huehold.capture.recording import open_recording

CLIPS = {
    "720p H.264": ("libx264", (1280, 720), 5_000_000, "yuv420p"),
    "1080p H.264": ("libx264", (1920, 1080), 10_000_000, "yuv420p"),
    "1080p HEVC 10 bit": ("libx265", (1920, 1080), 8_000_000, "yuv420p10le"),
    "4K H.264": ("libx264", (3840, 2160), 40_000_000, "yuv420p"),
}


def main() -> None:
    options = _options()
    paths = {p.name: p for p in options.recordings} or _make_clips(options.seconds, options.clips)
    print(f"{platform.machine()}, {platform.system()}, PyAV {av.__version__}")
    print(
        f"{'recording':20s} {'way':28s} {'s':>7s} {'ratio':>6s} "
        f"{'cpu s':>7s} {'ratio':>6s} {'frames':>7s}"
    )
    for name, path in paths.items():
        _measure(name, path, options.repeats)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Reading against decoding alone.")
    parser.add_argument("recordings", nargs="*", type=Path)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--clips", default="720p H.264,1080p H.264")
    return parser.parse_args()


def _measure(name: str, path: Path, repeats: int) -> None:
    ways: dict[str, Callable[[Path], int]] = {
        "decode every frame": _decode_all,
        "decode, convert every frame": _convert_all,
        "reader, 12 a second": lambda p: _read(p, 12.0),
        "reader, no thread": lambda p: _read(p, 12.0, thread=False),
        "reader, every frame": lambda p: _read(p, float("inf")),
    }
    spent: dict[str, list[tuple[float, float]]] = {way: [] for way in ways}
    frames = {}
    for _ in range(repeats):
        for way, run in ways.items():
            start = time.perf_counter(), time.process_time()
            frames[way] = run(path)
            spent[way].append((time.perf_counter() - start[0], time.process_time() - start[1]))
    middle = {way: [statistics.median(t) for t in zip(*spent[way], strict=True)] for way in ways}
    whole_s, whole_cpu_s = middle["decode every frame"]
    for way, (wall_s, cpu_s) in middle.items():
        print(
            f"{name[-20:]:20s} {way:28s} {wall_s:7.2f} {wall_s / whole_s:6.2f} "
            f"{cpu_s:7.2f} {cpu_s / whole_cpu_s:6.2f} {frames[way]:7d}"
        )


def _frames(path: Path) -> tuple[av.container.InputContainer, object]:
    container = av.open(str(path))
    stream = container.streams.video[0]
    stream.thread_type = "AUTO"
    return container, container.decode(stream)


def _decode_all(path: Path) -> int:
    container, frames = _frames(path)
    with container:
        return sum(1 for _ in frames)


def _convert_all(path: Path) -> int:
    container, frames = _frames(path)
    with container:
        return sum(1 for frame in frames if frame.to_ndarray(format="rgb24") is not None)


def _read(path: Path, rate_hz: float, thread: bool = True) -> int:
    with open_recording(path, rate_hz=rate_hz, thread=thread) as recording:
        return sum(1 for _ in recording.frames())


def _make_clips(seconds: float, wanted: str) -> dict[str, Path]:
    folder = Path(tempfile.gettempdir())
    paths = {}
    for name in (part.strip() for part in wanted.split(",")):
        slug = name.lower().replace(" ", "-").replace(".", "")
        path = folder / f"huehold-bench-{slug}-{seconds:.0f}s.mp4"
        if not path.exists():
            print(f"making {path}")
            _make_clip(path, seconds, *CLIPS[name])
        paths[name] = path
    return paths


def _make_clip(
    path: Path, seconds: float, codec: str, size: tuple[int, int], bitrate: int, pix_fmt: str
) -> None:
    quick = {"preset": "veryfast", "x265-params": "log-level=none:keyint=30"}
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=30, options=quick)
        stream.width, stream.height = size
        stream.pix_fmt, stream.bit_rate, stream.gop_size = pix_fmt, bitrate, 30
        stream.codec_context.colorspace = stream.codec_context.color_trc = 1
        stream.codec_context.color_primaries = stream.codec_context.color_range = 1
        for number, picture in enumerate(_pictures(int(30 * seconds), size)):
            frame = av.VideoFrame.from_ndarray(picture, "rgb24").reformat(format=pix_fmt)
            frame.pts, frame.time_base = number, Fraction(1, 30)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def _pictures(count: int, size: tuple[int, int]):
    rng = np.random.default_rng(1)
    width, height = size
    noise = rng.normal(0.0, 4.0, (height + 64, width + 64, 1))
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    texture = 60 * np.sin(x / 37.0) * np.cos(y / 53.0)
    for number in range(count):
        base = np.stack([130 + texture, 120 - texture, np.full_like(texture, 90.0)], axis=-1)
        inside = (x - width / 2 - 40 * np.sin(number / 9)) ** 2 + (y - height / 2) ** 2
        base[inside < (height / 3) ** 2] = (200 - number % 120, 90 + number % 120, 50)
        dy, dx = rng.integers(0, 64, 2)
        picture = base + noise[dy : dy + height, dx : dx + width]
        yield np.clip(picture, 0, 255).astype(np.uint8)


if __name__ == "__main__":
    main()
