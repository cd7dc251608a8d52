"""A small RTSP camera: H.264 over TCP, interleaved (RFC 2326, RFC 6184), that can stall and die."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
import time
from collections.abc import Iterator

import av
import numpy as np

RATE_HZ = 12
_SDP = "\r\n".join([
    "v=0", "o=- 0 0 IN IP4 127.0.0.1", "s=test", "t=0 0", "m=video 0 RTP/AVP 96",
    "a=rtpmap:96 H264/90000", "a=fmtp:96 packetization-mode=1", "a=control:track0", "",
])  # fmt: skip


def encoded(image_of) -> Iterator[list[bytes]]:
    """Encode pictures without end; each is a list of NAL units."""
    encoder = av.CodecContext.create("libx264", "w")
    encoder.width, encoder.height, encoder.pix_fmt = 160, 120, "yuv420p"
    encoder.framerate, encoder.gop_size = RATE_HZ, 6
    encoder.options = {
        "tune": "zerolatency", "preset": "ultrafast", "x264-params": "repeat-headers=1",
    }  # fmt: skip
    number = 0
    while True:
        frame = av.VideoFrame.from_ndarray(image_of(number), format="rgb24")
        frame.pts = number
        data = b"".join(bytes(packet) for packet in encoder.encode(frame))
        parts = data.replace(b"\0\0\0\1", b"\0\0\1").split(b"\0\0\1")
        yield [part for part in parts if part]
        number += 1


class RtspCamera:
    """Serves one stream; a new connection begins it anew.

    Set `stalled` to send nothing more, call `die` to cut every connection and take no new one,
    `live` to take them again.
    """

    def __init__(self, image_of) -> None:
        self._image_of = image_of
        self.stalled = False
        self.plays = 0
        self.sent = 0
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._alive = True
        self.live()

    @property
    def address(self) -> str:
        return f"rtsp://127.0.0.1:{self.port}/cup"

    def live(self) -> None:
        if self._listener.fileno() < 0:
            self._listener = socket.create_server(("127.0.0.1", self.port))
        threading.Thread(target=self._accept, args=(self._listener,), daemon=True).start()

    def die(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for connection in self._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        self._open.clear()

    def _accept(self, listener: socket.socket) -> None:
        try:
            while True:
                connection, _ = listener.accept()
                self._open.append(connection)
                threading.Thread(target=self._serve, args=(connection,), daemon=True).start()
        except OSError:
            return

    def _serve(self, connection: socket.socket) -> None:
        try:
            with connection, connection.makefile("rb") as lines:
                while request := lines.readline().split():
                    fields = dict(iter(lambda: _field(lines.readline()), None))
                    connection.sendall(self._answer(request[0].decode(), fields["cseq"]))
                    if request[0] == b"PLAY":
                        self._play(connection)
        except (OSError, KeyError):
            return

    def _answer(self, method: str, cseq: str) -> bytes:
        more, body = [], ""
        if method == "OPTIONS":
            more = ["Public: OPTIONS, DESCRIBE, SETUP, PLAY, TEARDOWN"]
        elif method == "DESCRIBE":
            body = _SDP
            more = ["Content-Type: application/sdp", f"Content-Length: {len(body)}"]
        elif method == "SETUP":
            more = ["Transport: RTP/AVP/TCP;unicast;interleaved=0-1", "Session: 1"]
        elif method == "PLAY":
            more = ["Session: 1"]
        return "\r\n".join(["RTSP/1.0 200 OK", f"CSeq: {cseq}", *more, "", body]).encode()

    def _play(self, connection: socket.socket) -> None:
        self.plays += 1
        sequence = 0
        begun_s = time.monotonic()
        for number, units in enumerate(encoded(self._image_of)):
            while self.stalled:
                time.sleep(0.05)
            time.sleep(max(0.0, begun_s + number / RATE_HZ - time.monotonic()))
            for unit in units:
                last = 0x80 if unit is units[-1] else 0
                stamp = number * 90_000 // RATE_HZ
                header = struct.pack(">BBHII", 0x80, last | 96, sequence & 0xFFFF, stamp, 1)
                packet = header + unit
                connection.sendall(struct.pack(">cBH", b"$", 0, len(packet)) + packet)
                sequence += 1
            self.sent = number


def _field(line: bytes) -> tuple[str, str] | None:
    name, _, value = line.decode().partition(":")
    return (name.strip().lower(), value.strip()) if value else None


def shade(number: int) -> np.ndarray:
    """A picture that tells its number by its brightness, and never looks like the one before."""
    picture = np.full((120, 160, 3), 40 + 8 * (number % 20), np.uint8)
    picture[:60, number % 150 : number % 150 + 8] = 255
    return picture


def number_of(picture: np.ndarray) -> int:
    """Number of a picture made by `shade`, by where its bar stands."""
    return int(np.argmax(picture[10].sum(axis=1) > 700))
