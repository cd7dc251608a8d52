"""Play two hours against the page, at speed, and see what grows.

    python -m benchmarks.page_soak [HOURS]

Observations of a short titration, repeated over the hours, go through the live loop, the
notebook and the server to a page in a real browser. Printed as they go: run time, points
that the page keeps, its script memory, what the server's process holds, and how long one
drawing takes.
"""

from __future__ import annotations

import json
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Page, sync_playwright
from tests.page.browser import launch
from tests.page.story import observations, served

from huehold.capture.live import LiveSource
from huehold.core import Frame, Observation, SourceInfo
from huehold.session import Session
from huehold.vision import Observer

RATE_HZ = 10.0


class Hurried(LiveSource):
    """Frames of a long run as fast as the loop takes them, with short rests for the page."""

    def __init__(self, hours: float) -> None:
        super().__init__(SourceInfo("soak", 64, 36), give_up_s=1e9)
        self._until_s = 3600.0 * hours

    def frames(  # noqa: D102
        self, *, rate_hz: float = 15.0, patience_s: float = 0.25
    ) -> Iterator[Frame | None]:
        image = np.full((36, 64, 3), 128, np.uint8)
        for number, time_s in enumerate(np.arange(0.0, self._until_s, 1 / RATE_HZ).tolist()):
            if self._stopping.is_set():
                break
            self._take_in(image)
            yield Frame(time_s, image)
            if number % 10 == 0:
                time.sleep(0.01)
        while not self._stopping.wait(patience_s):
            yield None


class Replay:
    """Sees in every frame what was seen of a short titration, over and over."""

    def __init__(self, observer: Observer) -> None:
        self._observer = observer

    def observe(self, frame: Frame) -> Observation:
        """Return what was seen at this moment of the titration."""
        story = observations()
        return replace(story[round(frame.time_s * 6.0) % len(story)], time_s=frame.time_s)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._observer, name)


class Replayed(Session):
    """A session that does not look at the pictures."""

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.observer: Any = Replay(self.observer)


def look(page: Page) -> dict[str, float]:
    told = page.evaluate(
        """() => { const begun = performance.now(); dispatchEvent(new Event("resize"));
          return { points: huehold.columns.length, strips: huehold.columns.strips.length,
            seen_s: huehold.columns.end_s, events: document.querySelectorAll("#events li").length,
            nodes: document.querySelectorAll("*").length,
            heap_mb: performance.memory.usedJSHeapSize / 1e6,
            answer_ms: performance.now() - begun } }"""
    )
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    values = {"server_mb": peak_mb}
    return {key: round(value, 1) for key, value in (values | told).items()}


def main(hours: float = 2.0) -> None:
    observations()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = launch(playwright, Path(folder), "--enable-precise-memory-info")
        with served(Path(folder), lambda: Hurried(hours), session=Replayed) as s:
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(s.server.address)
            page.locator("#method", has_text="by").wait_for()  # the program has said hello
            begun_s, next_s = time.monotonic(), 0.0
            while True:
                told = look(page)
                if told["seen_s"] >= next_s:
                    print(json.dumps(told), flush=True)
                    next_s = told["seen_s"] + 600.0
                if told["seen_s"] >= 3600.0 * hours - 1.0 or s.desk.watch.over:
                    break
                page.wait_for_timeout(500)
            page.wait_for_timeout(3000)
            print(json.dumps(look(page)))
            trace = s.desk.watch.session.trace()
            print(f"{len(trace)} observations kept, {time.monotonic() - begun_s:.0f} s of play")
            size_mb = s.notebook.path.stat().st_size / 1e6
            print(f"notebook {size_mb:.1f} MB")
        browser.close()


if __name__ == "__main__":
    main(*map(float, sys.argv[1:2]))
