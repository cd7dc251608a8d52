"""Cues from this computer's own loudspeaker; without one, in words, never with a crash."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Generator
from typing import Any

from huehold.cues.tones import SAMPLE_RATE_HZ, Cue, samples
from huehold.errors import HueholdError

__all__ = ["Player", "SoundError"]


class SoundError(HueholdError):
    """There is no way to make a sound here; told once, the run goes on."""


class Player:
    """Plays cues one after the other; a newer cue cuts the one before short.

    Parameters
    ----------
    volume : float
        0 to 1.
    backends : sequence, optional
        miniaudio backends to try; its own choice if not given.

    Raises
    ------
    SoundError
        If no sound device can be opened.
    """

    def __init__(self, volume: float = 1.0, backends: Any = None) -> None:
        try:
            import miniaudio

            with _native_messages_dropped():
                self._device = miniaudio.PlaybackDevice(
                    output_format=miniaudio.SampleFormat.SIGNED16,
                    nchannels=1,
                    sample_rate=SAMPLE_RATE_HZ,
                    buffersize_msec=60,
                    backends=backends,
                    app_name="huehold",
                )
        except Exception as error:
            # The library raises errors of its own that share no base; none may stop a run.
            raise SoundError(
                "This computer has no sound device that can be opened, so cues come from the "
                "page and as words only; plug in a loudspeaker, or keep the page open."
            ) from error
        self.volume = volume
        self.muted = False
        self._lock = threading.Lock()
        self._waiting = b""
        self._played = 0
        stream = self._stream()
        next(stream)
        self._device.start(stream)

    def __enter__(self) -> Player:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def played(self) -> int:
        """How many samples of cues have been handed to the device."""
        return self._played

    def play(self, cue: Cue) -> None:
        """Begin to play a cue and return at once; silent if muted."""
        if self.muted:
            return
        with self._lock:
            self._waiting = samples(cue, self.volume).tobytes()

    def close(self) -> None:
        """Let go of the device."""
        self._device.close()

    def _stream(self) -> Generator[bytes, int, None]:
        wanted = yield b""
        while True:
            size = 2 * wanted
            with self._lock:
                part, self._waiting = self._waiting[:size], self._waiting[size:]
                self._played += len(part) // 2
            wanted = yield part + bytes(size - len(part))


@contextlib.contextmanager
def _native_messages_dropped() -> Generator[None, None, None]:
    """Keep what the system's sound library prints away from the terminal for a moment."""
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 - a descriptor is needed
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
