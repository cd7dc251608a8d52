"""From the loop that watches to every open page: nothing waits for a slow page."""

from __future__ import annotations

import asyncio
import json
from typing import Any

from huehold.core import Frame
from huehold.page.messages import moment_values
from huehold.recorder import thumbnail
from huehold.watching import Moment

__all__ = ["Hub", "Listening"]

_MOST_WAITING = 300
_MOST_PAGES = 32
_PICTURE_EVERY_S = 0.2
_PICTURE_WIDTH_PX = 640


class Listening:
    """One open page: its messages wait here, and only the newest picture.

    Parameters
    ----------
    pictures : bool
        Whether this page wants pictures at all.
    phone : bool
        Whether it is a phone's page, which is told how the run stands and no more.
    """

    def __init__(self, pictures: bool = True, phone: bool = False) -> None:
        self._wants_pictures = pictures
        self.phone = phone
        self._texts: asyncio.Queue[str] = asyncio.Queue(_MOST_WAITING)
        self._picture: bytes | None = None
        self._ready = asyncio.Event()
        self.behind = False

    def put_text(self, text: str) -> None:
        """Let a message wait; a page that is far behind is marked to be sent everything anew."""
        try:
            self._texts.put_nowait(text)
        except asyncio.QueueFull:
            self.behind = True
        self._ready.set()

    def put_picture(self, picture: bytes) -> None:
        """Let a picture wait in place of the one before it."""
        if not self._wants_pictures:
            return
        self._picture = picture
        self._ready.set()

    async def next(self) -> str | bytes:
        """Wait for a message or a picture; messages go first."""
        while True:
            if not self._texts.empty():
                return self._texts.get_nowait()
            if self._picture is not None:
                picture, self._picture = self._picture, None
                return picture
            self._ready.clear()
            await self._ready.wait()


class Hub:
    """Hands what happens to every open page.

    `moment` is called in the thread that watches; everything else in the event loop.
    """

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._pages: set[Listening] = set()
        self._picture_s = -1e9

    def open(self, *, pictures: bool = True, phone: bool = False) -> Listening:
        """Register a page, with or without pictures, the desk's or a phone's."""
        self._loop = asyncio.get_running_loop()
        page = Listening(pictures, phone)
        self._pages.add(page)
        return page

    @property
    def full(self) -> bool:
        """Whether no more pages can be served."""
        return len(self._pages) >= _MOST_PAGES

    def close(self, page: Listening) -> None:
        """Forget a page."""
        self._pages.discard(page)

    def moment(self, moment: Moment, frame: Frame | None) -> None:
        """Send a moment, and now and then the picture, to every page."""
        if self._loop is None or not self._pages:
            return
        values = moment_values(moment)
        if frame is not None:
            height_px, width_px = frame.image.shape[:2]
            values["size"] = [width_px, height_px]
        self._send(self._text, json.dumps(values, allow_nan=False), None)
        due = moment.time_s >= self._picture_s + _PICTURE_EVERY_S
        if frame is not None and (due or moment.time_s < self._picture_s):
            self._picture_s = moment.time_s
            self._send(self._picture, thumbnail(frame.image, _PICTURE_WIDTH_PX), None)

    def say(self, message: dict[str, Any], for_phones: dict[str, Any] | None = None) -> None:
        """Send a message to every page of the desk, and another to phones, from any thread."""
        self._send(self._text, json.dumps(message, allow_nan=False), False)
        if for_phones is not None:
            self._send(self._text, json.dumps(for_phones, allow_nan=False), True)

    def _send(self, how: Any, what: str | bytes, phones: bool | None) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(how, what, phones)

    def _text(self, text: str, phones: bool | None) -> None:
        for page in self._pages:
            if phones is None or page.phone is phones:
                page.put_text(text)

    def _picture(self, picture: bytes, phones: bool | None) -> None:
        for page in self._pages:
            page.put_picture(picture)
