"""Open a recording, or say in one sentence why it cannot be opened."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Any

import av
from av.error import FFmpegError

from huehold.errors import InputError

__all__ = ["MAX_SIDE_PX", "open_video"]

MAX_SIDE_PX = 8192
_LARGE_PX = 4096 * 2304
_LIMITS = {"max_pixels": str(MAX_SIDE_PX * MAX_SIDE_PX)}

# Containers that hold a recording themselves. Playlists and image patterns, which would
# make the library open other files or addresses, are not among them.
_CONTAINERS = (
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,flv,asf,ogg,mxf,nut,ivf,"
    "mjpeg,h264,hevc,av1,obu,m4v,y4m,yuv4mpegpipe,gif,dv,rm,wtv,wav,mp3,flac,aac"
)


def open_video(path: Path) -> tuple[Any, Any]:
    """Open a file and pick its video stream.

    Parameters
    ----------
    path : Path

    Returns
    -------
    container : av.container.InputContainer
    stream : av.video.stream.VideoStream
        Frame threads are on, save for pictures beyond 4K, which would take too much memory.

    Raises
    ------
    InputError
        If there is no readable recording at `path`.
    """
    _check_file(path)
    container = _open_container(path)
    try:
        stream = _video_stream(container, path)
        _check_size(stream.codec_context, path.name)
    except BaseException:
        container.close()
        raise
    codec = stream.codec_context
    if (codec.width or 0) * (codec.height or 0) > _LARGE_PX:
        codec.thread_count = 1  # every thread holds pictures of its own
    else:
        stream.thread_type = "AUTO"
    stream.codec_context.options = dict(_LIMITS)
    return container, stream


def _check_file(path: Path) -> None:
    try:
        info = path.stat()
    except FileNotFoundError:
        raise InputError(f"There is no file {path}: check the name and the folder.") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read ({_why(error)}).") from None
    if stat.S_ISDIR(info.st_mode):
        raise InputError(f"{path} is a folder: name one recording in it.")
    if not stat.S_ISREG(info.st_mode):
        raise InputError(f"{path} is not an ordinary file: save the recording to disk first.")
    if info.st_size == 0:
        raise InputError(f"{path.name} is empty (0 bytes): copy the recording again.")
    if not os.access(path, os.R_OK):
        raise InputError(f"{path.name} may not be read: change its permissions.")


# Texts in the header that are no UTF-8 must not hide the pictures; PyAV 19 replaces them itself.
_LENIENT: dict[str, Any] = (
    {"metadata_errors": "replace"} if int(av.__version__.split(".")[0]) < 19 else {}
)


def _open_container(path: Path) -> Any:
    # Opening decodes a little already; a picture of absurd size must not be allocated then.
    options = {"format_whitelist": _CONTAINERS, "protocol_whitelist": "file", **_LIMITS}
    try:
        return av.open(f"file:{path.absolute()}", options=options, **_LENIENT)
    except (FFmpegError, OSError, ValueError, UnicodeError) as error:
        raise InputError(_refusal(path, error)) from None


def _refusal(path: Path, error: Exception) -> str:
    if isinstance(error, PermissionError):
        return f"{path.name} may not be read: change its permissions."
    if _lacks_index(path):
        return (
            f"{path.name} was cut off before its index was written, so no picture in it can be "
            "found: copy it again, or repair it with a tool that rebuilds MP4 files."
        )
    return (
        f"{path.name} is not a video that can be read: give an MP4, MOV, MKV, WebM or AVI "
        "recording."
    )


def _lacks_index(path: Path) -> bool:
    """Whether this is an MP4 or MOV file with pictures but without its index (moov box).

    ISO/IEC 14496-12: a file is a row of boxes, each with a 32-bit size and a type.
    """
    kinds = _box_kinds(path)
    return b"mdat" in kinds and b"moov" not in kinds


def _box_kinds(path: Path) -> set[bytes]:
    """Types of the boxes at top level; the index only if it is there to its end."""
    kinds: set[bytes] = set()
    length = path.stat().st_size
    with path.open("rb") as file:
        at = 0
        for _ in range(1000):
            file.seek(at)
            head = file.read(16)
            if len(head) < 8:
                break
            size = int.from_bytes(head[:4], "big")
            kind = head[4:8]
            if size == 1:
                size = int.from_bytes(head[8:16], "big")
            if kind != b"moov" or at + size <= length:
                kinds.add(kind)
            if size < 8:
                break
            at += size
    return kinds


def _video_stream(container: Any, path: Path) -> Any:
    # A cover picture counts as a video stream in the library; it is not a recording.
    streams = [s for s in container.streams.video if not _is_cover(s)]
    if not streams:
        held = "only sound" if container.streams.audio else "no video"
        raise InputError(f"{path.name} holds {held}: give a recording with pictures.")
    known = [s for s in streams if s.codec_context is not None]
    if not known:
        raise InputError(
            f"{path.name} uses a video codec that cannot be decoded here: export it as H.264."
        )
    return max(known, key=lambda s: s.codec_context.width * s.codec_context.height)


def _is_cover(stream: Any) -> bool:
    return "attached_pic" in str(stream.disposition).lower()


def _check_size(context: Any, name: str) -> None:
    if max(context.width, context.height) > MAX_SIDE_PX:
        raise InputError(
            f"{name} has pictures of {context.width} x {context.height} pixels; up to "
            f"{MAX_SIDE_PX} a side are read: export it smaller (1080p is plenty)."
        )


def _why(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error) or type(error).__name__
