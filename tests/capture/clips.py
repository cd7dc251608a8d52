"""Small recordings made at test time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path

import av
import colour
import numpy as np

# sRGB, 8 bits: the indicator's way from orange-red through yellow to green, white, grey.
PATCHES = np.array(
    [
        [214, 84, 48], [232, 140, 60], [226, 200, 70], [120, 170, 80],
        [60, 140, 60], [245, 245, 245], [128, 128, 128], [70, 90, 160],
    ]
)  # fmt: skip
LOSSLESS = {
    "libx264": {"qp": "0", "preset": "ultrafast"},
    "libx265": {"preset": "ultrafast", "x265-params": "lossless=1:log-level=none"},
    "ffv1": {},
}
MATRIX_CODES = {"bt709": 1, "bt601": 6, "bt2020": 9}
_K = {
    "bt709": colour.WEIGHTS_YCBCR["ITU-R BT.709"],
    "bt601": colour.WEIGHTS_YCBCR["ITU-R BT.601"],
    "bt2020": colour.WEIGHTS_YCBCR["ITU-R BT.2020"],
}


def patch_picture(size_px: tuple[int, int], patches: np.ndarray = PATCHES) -> np.ndarray:
    """Eight flat patches, four in a row, as float code values (height, width, 3)."""
    width, height = size_px
    column = np.minimum(np.arange(width) * 4 // width, 3)
    row = np.minimum(np.arange(height) * 2 // height, 1)
    return np.asarray(patches, float)[row[:, None] * 4 + column[None, :]]


def patch_means(image: np.ndarray) -> np.ndarray:
    """Mean colour of the middle of each patch, shape (8, 3)."""
    height, width = image.shape[:2]
    means = []
    for k in range(8):
        x, y = (k % 4 + 0.5) * width / 4, (k // 4 + 0.5) * height / 2
        part = image[int(y) - 4 : int(y) + 5, int(x) - 4 : int(x) + 5]
        means.append(part.reshape(-1, 3).mean(axis=0))
    return np.array(means)


def delta_e(rgb: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Colour difference (CIE 1976) of sRGB values in 0 to 255."""
    first, second = (
        colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.asarray(v, float) / 255)) for v in (rgb, expected)
    )
    return np.linalg.norm(first - second, axis=-1)


def yuv_frame(
    rgb: np.ndarray, pix_fmt: str = "yuv420p", matrix: str = "bt709", full: bool = False
) -> av.VideoFrame:
    """A frame of the given pixel format by colour-science's formulae, not the codec's.

    Parameters
    ----------
    rgb : ndarray, shape (height, width, 3)
        Encoded values in 0 to 255.
    """
    bits = 10 if "10" in pix_fmt else 8
    codes = colour.RGB_to_YCbCr(
        rgb / 255.0, K=_K[matrix], in_legal=False, out_bits=bits, out_legal=not full, out_int=True
    )
    codes = codes.astype(np.uint16 if bits > 8 else np.uint8)
    frame = av.VideoFrame(rgb.shape[1], rgb.shape[0], pix_fmt)
    for index, plane in enumerate(frame.planes):
        step_x = -(-rgb.shape[1] // plane.width)
        step_y = -(-rgb.shape[0] // plane.height)
        _fill(plane, codes[::step_y, ::step_x, index])
    return frame


def _fill(plane: av.video.plane.VideoPlane, values: np.ndarray) -> None:
    padded = np.zeros((plane.height, plane.line_size // values.itemsize), values.dtype)
    padded[:, : plane.width] = values
    plane.update(padded.tobytes().ljust(plane.buffer_size, b"\0"))


def write_clip(
    path: Path,
    frames: Iterable[av.VideoFrame],
    *,
    codec: str = "libx264",
    options: dict[str, str] | None = None,
    stamps: Sequence[int] | None = None,
    time_base: Fraction | None = None,
    rate: int = 30,
    tags: dict[str, int] | None = None,
    gop: int = 30,
    rotation_deg: int = 0,
    movflags: str = "",
) -> Path:
    """Encode frames; `stamps` are in units of `time_base` (default 1 / rate).

    `tags` may hold ``colorspace``, ``color_range``, ``color_trc``, ``color_primaries``.
    """
    base = time_base or Fraction(1, rate)
    chosen = LOSSLESS.get(codec, {}) if options is None else options
    flags = {"movflags": movflags} if movflags else {}
    with av.open(str(path), "w", options=flags) as container:
        stream = container.add_stream(codec, rate=rate, options=chosen)
        stream.codec_context.gop_size = gop
        stream.codec_context.time_base = base
        for index, frame in enumerate(frames):
            if index == 0:
                stream.width, stream.height = frame.width, frame.height
                stream.pix_fmt = frame.format.name
                if rotation_deg:
                    stream.set_display_rotation(rotation_deg)
                for name, value in (tags or {}).items():
                    setattr(stream.codec_context, name, value)
            for name, value in (tags or {}).items():
                setattr(frame, name, value)
            frame.pts = index if stamps is None else stamps[index]
            frame.time_base = base
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def moving_frames(count: int, size_px: tuple[int, int] = (320, 240)) -> Iterable[av.VideoFrame]:
    """Pictures that differ: a bar wanders over patches, its place tells the frame's number."""
    width, height = size_px
    base = yuv_frame(patch_picture(size_px))
    planes = [np.frombuffer(p, np.uint8).reshape(p.height, -1)[:, : p.width] for p in base.planes]
    for number in range(count):
        at = 8 * (number % (width // 8))
        frame = av.VideoFrame(width, height, "yuv420p")
        for index, plane in enumerate(frame.planes):
            values, step = planes[index].copy(), 2 if index else 1
            rows = slice(height // 3 // step, height // 2 // step)
            light = 235 if number % 2 else 33
            values[rows, at // step : (at + 8) // step] = 128 if index else light
            _fill(plane, values)
        yield frame


def write_moving(path: Path, count: int = 60, **how: object) -> Path:
    """A short ordinary clip with motion."""
    how.setdefault("options", {"preset": "ultrafast", "crf": "20"})
    return write_clip(path, moving_frames(count), **how)  # type: ignore[arg-type]
