"""Open a recording as far as its first picture, and settle everything that depends on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Any

from huehold.capture.colour import ColourPlan, ColourTags, MatrixChoice, plan_colours
from huehold.capture.convert import Converter, reduction
from huehold.capture.opening import MAX_SIDE_PX, open_video
from huehold.capture.packets import PacketReader
from huehold.capture.stamps import StampClock
from huehold.core import SourceInfo
from huehold.errors import InputError

__all__ = ["Source", "open_source"]


@dataclass(frozen=True, slots=True)
class Source:
    """A recording opened up to its first sound picture.

    Attributes
    ----------
    path : Path
    container : av.container.InputContainer
    stream : av.video.stream.VideoStream
    reader : PacketReader
        Stands behind the first picture.
    frames : generator of av.VideoFrame
        Pictures after the first, from `reader`.
    first : av.VideoFrame
    converter : Converter
    by_order : bool
        Whether times come from the order of decoding, see `StampClock`.
    origin : Fraction or None
        Stamp of time zero in seconds.
    info : SourceInfo
    scale : float
        Delivered pixels per recorded pixel.
    warnings : tuple of str
        What was assumed about colours and orientation.
    """

    path: Path
    container: Any
    stream: Any
    reader: PacketReader
    frames: Any
    first: Any
    converter: Converter
    by_order: bool
    origin: Fraction | None
    info: SourceInfo
    scale: float
    warnings: tuple[str, ...]

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height as coded."""
        return self.first.width, self.first.height

    def clock(self) -> StampClock:
        """Make a clock that counts from the recording's first picture."""
        return StampClock(self.path.name, by_order=self.by_order, origin=self.origin)

    def stamp(self, frame: Any) -> int | None:
        """Stamp of a picture to give to the clock."""
        stamp: int | None = frame.dts if self.by_order else frame.pts
        return stamp

    def close(self) -> None:
        """Let go of the file."""
        self.frames.close()
        self.container.close()


def open_source(path: Path, matrix: MatrixChoice, longest_px: int) -> Source:
    """Open a recording and decode its first picture.

    Parameters
    ----------
    path : Path
    matrix : {"auto", "bt601", "bt709"}
    longest_px : int
        Longer side of delivered pictures at most.

    Raises
    ------
    InputError
        If the file cannot be read, or not with faithful colours.
    """
    container, stream = open_video(path)
    try:
        return _source(path, container, stream, matrix, longest_px)
    except BaseException:
        container.close()
        raise


def _source(
    path: Path, container: Any, stream: Any, matrix: MatrixChoice, longest_px: int
) -> Source:
    name = path.name
    reader = PacketReader(container, stream, path.stat().st_size)
    frames = reader.frames()
    first = _first(frames, name)
    size = (first.width, first.height)
    tags = ColourTags.of(first, stream.codec_context)
    plan = plan_colours(tags, size, name, matrix)
    turns, turn_note = _quarter_turns(first)
    by_order = _shown_by_order(container, stream)
    return Source(
        path=path,
        container=container,
        stream=stream,
        reader=reader,
        frames=frames,
        first=first,
        converter=Converter(plan, longest_px, turns),
        by_order=by_order,
        origin=None if by_order else _seconds(reader.first_stamp, first),
        info=_source_info(name, container, stream, first, plan, tags, turns),
        scale=1.0 / reduction(*size, longest_px),
        warnings=(*plan.warnings, *turn_note),
    )


def _first(frames: Any, name: str) -> Any:
    first = next(frames, None)
    if first is None:
        raise InputError(
            f"No picture in {name} could be decoded: the file is damaged or cut off near its "
            "beginning."
        )
    _check_frame(first, name)
    return first


def _check_frame(frame: Any, name: str) -> None:
    if max(frame.width, frame.height) > MAX_SIDE_PX or min(frame.width, frame.height) < 16:
        raise InputError(
            f"{name} has pictures of {frame.width} x {frame.height} pixels; 16 to "
            f"{MAX_SIDE_PX} a side are read."
        )


def _shown_by_order(container: Any, stream: Any) -> bool:
    """Whether the file states when pictures are decoded, but not when they are shown.

    AVI is so. For reordered pictures the stamp of the packet that released each one is then
    the honest clock.
    """
    return container.format.name == "avi" and bool(stream.codec_context.has_b_frames)


def _seconds(stamp: int | None, frame: Any) -> Fraction | None:
    return None if stamp is None or frame.time_base is None else stamp * frame.time_base


def _quarter_turns(frame: Any) -> tuple[int, list[str]]:
    """Counterclockwise quarter turns that make the picture upright, and a note."""
    angle = int(frame.rotation)
    turns = round(angle / 90) % 4
    if angle % 90 == 0:
        return turns, []
    return turns, [f"The recording asks to be turned by {angle} degrees; the nearest right angle "
                   "was used."]  # fmt: skip


def _source_info(
    name: str, container: Any, stream: Any, first: Any, plan: ColourPlan, tags: ColourTags,
    turns: int,
) -> SourceInfo:  # fmt: skip
    width, height = first.width, first.height
    if turns % 2:
        width, height = height, width
    detail = {
        "container": container.format.name,
        "codec": stream.codec_context.name,
        "pixel_format": first.format.name,
        "matrix": plan.matrix,
        "range": "full" if plan.full_range else "limited",
        "transfer": plan.curve,
        "primaries": plan.primaries,
        "tags": f"matrix {tags.matrix}, transfer {tags.transfer}, primaries {tags.primaries}",
        "rotation_deg": str(turns * 90),
        **_device(container.metadata),
    }
    return SourceInfo(name, width, height, _stated_length(container, stream),
                      MappingProxyType(detail))  # fmt: skip


def _device(tags: Mapping[str, str]) -> dict[str, str]:
    """Make and model of the camera as phones write them into their recordings."""
    for maker in ("com.apple.quicktime", "com.android"):
        names = (tags.get(f"{maker}.{part}", "") for part in ("make", "manufacturer", "model"))
        device = " ".join(name.strip() for name in names if name.strip())
        if device:
            return {"device": device[:80]}
    return {}


def _stated_length(container: Any, stream: Any) -> float | None:
    if stream.duration and stream.time_base:
        return float(stream.duration * stream.time_base)
    return container.duration / 1e6 if container.duration else None
