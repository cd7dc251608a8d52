"""Network streams: motion JPEG over HTTP by a small reader of our own, RTSP through PyAV.

A stalled server can leave half a JPEG behind which decoders hand on as a good picture; so
every part must be whole, from its start mark to its end mark, before it is decoded.
"""

from __future__ import annotations

import http.client
import urllib.request
from collections.abc import Iterator
from typing import IO, Any
from urllib.parse import urlsplit

import numpy as np
from numpy.typing import NDArray

from huehold.capture.picture import decode_jpeg
from huehold.errors import CameraLostError, UsageError

__all__ = ["MjpegDevice", "RtspDevice", "open_stream"]

_TIMEOUT_S = 3.0
_START, _END = b"\xff\xd8", b"\xff\xd9"
_MOST_BYTES = 8 << 20


def open_stream(address: str) -> MjpegDevice | RtspDevice:
    """Open a stream by its address.

    Parameters
    ----------
    address : str
        ``http://``, ``https://`` (motion JPEG) or ``rtsp://``, ``rtsps://``.

    Raises
    ------
    UsageError
        If the address is of another kind.
    CameraLostError
        If nothing answers there.
    """
    check_address(address)
    web = urlsplit(address).scheme.lower() in ("http", "https")
    return MjpegDevice(address) if web else RtspDevice(address)


def check_address(address: str) -> None:
    """Raise UsageError if an address is of a kind that `open_stream` does not open."""
    if urlsplit(address).scheme.lower() not in ("http", "https", "rtsp", "rtsps"):
        raise UsageError(
            f"{hide_password(address)!r} is no stream address; it must begin with http://, "
            "https:// or rtsp://."
        )


def hide_password(address: str) -> str:
    """Return the address without user name and password, for messages and records."""
    parts = urlsplit(address)
    if parts.username is None and parts.password is None:
        return address
    host = parts.hostname or ""
    return parts._replace(netloc=f"{host}:{parts.port}" if parts.port else host).geturl()


class MjpegDevice:
    """Motion JPEG over HTTP.

    Parameters
    ----------
    address : str
        ``http://`` or ``https://``.

    Raises
    ------
    CameraLostError
        If nothing answers, or what answers is no stream of pictures.
    """

    def __init__(self, address: str, timeout_s: float = _TIMEOUT_S) -> None:
        shown = hide_password(address)
        try:
            self._response: IO[bytes] = urllib.request.urlopen(address, timeout=timeout_s)
        except (OSError, http.client.HTTPException, ValueError) as error:
            reason = getattr(error, "reason", error)
            raise CameraLostError(
                f"The stream {shown} does not answer ({reason}); check its address and that the "
                "camera is on."
            ) from error
        kind = self._response.headers.get("Content-Type", "")
        if "multipart" not in kind and "jpeg" not in kind:
            self._response.close()
            raise CameraLostError(
                f"{shown} answers with {kind or 'nothing named'}, not with a stream of JPEG "
                "pictures; look up the camera's stream address."
            )
        self._parts = jpeg_parts(self._response)

    def read(self) -> NDArray[np.uint8] | None:
        """Wait for the next whole picture; None if the stream stalled, closed or broke."""
        try:
            for part in self._parts:
                image = decode_jpeg(part)
                if image is not None:
                    return image
        except (OSError, http.client.HTTPException, ValueError):
            return None
        return None

    def close(self) -> None:
        """Close the connection."""
        self._response.close()


def jpeg_parts(stream: IO[bytes]) -> Iterator[bytes]:
    """Yield the whole JPEG pictures in a stream, whatever stands between them.

    Boundaries and headers are passed over, since many cameras write them wrongly; a picture
    begins at its start mark and ends at the last end mark before the next start.

    Raises
    ------
    ValueError
        If a picture is larger than any camera sends.
    """
    buffer = bytearray()
    read = getattr(stream, "read1", stream.read)
    while chunk := read(65536):
        buffer += chunk
        while (part := _cut_part(buffer)) is not None:
            yield part
        if len(buffer) > _MOST_BYTES:
            raise ValueError("a picture of more than 8 MiB")


def _cut_part(buffer: bytearray) -> bytes | None:
    start = buffer.find(_START)
    if start < 0:
        del buffer[:-1]
        return None
    end = _end_of_jpeg(buffer, start)
    if end is None:
        del buffer[:start]
        return None
    part = bytes(buffer[start:end])
    del buffer[:end]
    return part


def _end_of_jpeg(data: bytearray, start: int) -> int | None:
    """Return where the picture ends, stepping over segments: a thumbnail inside has an end too."""
    place = start + 2
    while place + 4 <= len(data):
        if data[place] != 0xFF:
            return None if (end := data.find(_END, place)) < 0 else end + 2
        marker = data[place + 1]
        if marker == 0xD9:
            return place + 2
        length = int.from_bytes(data[place + 2 : place + 4], "big")
        place += 2 + max(length, 2)
        if marker == 0xDA:  # the scan: no end mark can occur inside it
            end = data.find(_END, place)
            return None if end < 0 else end + 2
    return None


class RtspDevice:
    """An RTSP stream, decoded by PyAV.

    Raises
    ------
    CameraLostError
        If nothing answers there.
    """

    def __init__(self, address: str, timeout_s: float = _TIMEOUT_S) -> None:
        import av

        self._av = av
        try:
            self._container: Any = av.open(
                address, timeout=(timeout_s, timeout_s), options={"rtsp_transport": "tcp"}
            )
            self._frames = self._container.decode(video=0)
        except (OSError, av.error.FFmpegError, IndexError) as error:
            raise CameraLostError(
                f"The stream {hide_password(address)} does not answer; check its address and that "
                "the camera is on."
            ) from error

    def read(self) -> NDArray[np.uint8] | None:
        """Wait for the next picture; None if the stream stalled or broke."""
        try:
            image = next(self._frames).to_ndarray(format="rgb24")
        except (StopIteration, OSError, self._av.error.FFmpegError):
            return None
        return np.ascontiguousarray(image, np.uint8)

    def close(self) -> None:
        """Close the connection."""
        self._container.close()
