"""Decoding packet by packet, so that damage costs the damaged pictures and no more.

A decoder that meets damage either fails on a packet or patches the picture and marks it.
Later pictures are built on the damaged one until the next key frame, unmarked; their
colours are not to be trusted, so they are left out as well, up to a limit.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from typing import Any

from av.error import FFmpegError

__all__ = ["PacketReader"]

_RECOVERY_S = 10.0
_ERRORS_IN_A_ROW = 300
_READS_OF_FILE = 4


class PacketReader:
    """Decodes the pictures of one video stream in order of presentation.

    Parameters
    ----------
    container : av.container.InputContainer
    stream : av.video.stream.VideoStream
    size_bytes : int
        Size of the file; reading far more than that means a crafted index.
    wants : callable, optional
        Told each packet in turn; whether the decoder is to see it.

    Attributes
    ----------
    first_stamp : int or None
        Presentation stamp of the first picture, sound or not.
    seen : int
        Pictures that came out of the decoder, damaged ones included.
    errors : int
        Packets the decoder or the container refused.
    left_out : int
        Pictures not handed on because of damage.
    broke_off : bool
        Whether reading was given up before the end of the file.
    """

    def __init__(
        self,
        container: Any,
        stream: Any,
        size_bytes: int,
        *,
        wants: Callable[[Any], bool] | None = None,
    ) -> None:
        self._container = container
        self._stream = stream
        self._limit_bytes = _READS_OF_FILE * size_bytes + 1_000_000
        self._wants = wants or _any
        self._read_bytes = 0
        self._newest_stamp: int | None = None
        self._damaged_since: int | None = None
        self._errors_in_a_row = 0
        self.first_stamp: int | None = None
        self.seen = 0
        self.errors = 0
        self.left_out = 0
        self.broke_off = False

    def frames(self) -> Generator[Any, None, None]:
        """Sound pictures in order of presentation, one at a time."""
        for packet in self._packets():
            for frame in self._decode(packet):
                self.seen += 1
                if self.seen == 1:
                    self.first_stamp = frame.pts
                if self._sound(frame):
                    yield frame
                else:
                    self.left_out += 1

    def _packets(self) -> Iterator[Any]:
        """Packets up to the end or the point where the container cannot go on.

        The last one is the empty packet that makes the decoder hand out what it holds.
        """
        demuxer = self._container.demux(self._stream)
        while not self.broke_off:
            try:
                packet = next(demuxer)
            except StopIteration:
                return
            except (FFmpegError, OSError, ValueError):
                self._count_error()
                self.broke_off = True
                break
            if self._counted(packet):
                yield packet
        yield None

    def _counted(self, packet: Any) -> bool:
        self._read_bytes += packet.size
        if self._read_bytes > self._limit_bytes:
            self.broke_off = True
            return False
        if packet.pts is not None:
            self._newest_stamp = max(packet.pts, self._newest_stamp or packet.pts)
        return packet.size == 0 or self._wants(packet)

    def _decode(self, packet: Any) -> list[Any]:
        try:
            frames = self._stream.codec_context.decode(packet)
        except (FFmpegError, ValueError):
            self._count_error()
            return []
        if frames:
            self._errors_in_a_row = 0
        return list(frames)

    def _count_error(self) -> None:
        self.errors += 1
        self._errors_in_a_row += 1
        self._damaged_since = self._newest_stamp or 0
        if self._errors_in_a_row >= _ERRORS_IN_A_ROW:
            self.broke_off = True

    def _sound(self, frame: Any) -> bool:
        if frame.is_corrupt:
            self._damaged_since = max(frame.pts or 0, self._damaged_since or 0)
            return False
        if self._damaged_since is None:
            return True
        if self._recovered(frame):
            self._damaged_since = None
            return True
        return False

    def _recovered(self, frame: Any) -> bool:
        if frame.key_frame or frame.pts is None or frame.time_base is None:
            return True
        waited: float = (frame.pts - (self._damaged_since or 0)) * float(frame.time_base)
        return waited > _RECOVERY_S


def _any(_packet: Any) -> bool:
    return True
