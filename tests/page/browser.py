"""The distribution's Chromium for tests and benchmarks, alone and without special priority.

A browser that plays sound asks for real-time threads, which on a small machine starve whatever
else runs there, down to the tests that drive it. It is therefore started so that it cannot have
them, and one at a time; and it dies with whoever started it.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Playwright

__all__ = ["CHROMIUM", "alone", "launch", "real_time_threads"]

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
_FLAGS = (
    "--headless", "--no-sandbox", "--no-zygote", "--disable-gpu", "--disable-quic",
    "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync",
)  # fmt: skip


def launch(playwright: Playwright, folder: Path, *flags: str) -> Browser:
    """Start a browser; `folder` is where the little script that starts it may lie."""
    start = CHROMIUM if sys.platform == "win32" else _starter(folder)
    return playwright.chromium.launch(executable_path=start, args=[*_FLAGS, *flags], timeout=60_000)


def _starter(folder: Path) -> Path:
    """Write a script that gives up the right to real time and then becomes the browser."""
    start = folder / "start-browser"
    command = " ".join((*_given_up(), str(CHROMIUM)))
    start.write_text(f'#!/bin/sh\nunset DBUS_SESSION_BUS_ADDRESS\nexec {command} "$@"\n')
    start.chmod(0o700)
    return start


def _given_up() -> tuple[str, ...]:
    """The words before a command that take the right to real time from it, as far as we can."""
    words: tuple[str, ...] = ()
    if shutil.which("chrt"):
        words += ("chrt", "--other", "0")  # whatever it would inherit
    if shutil.which("setpriv"):
        words += ("setpriv", "--pdeathsig", "KILL")
        if os.geteuid() == 0:
            words += ("--bounding-set", "-sys_nice", "--inh-caps", "-sys_nice")
    if shutil.which("prlimit"):
        words += ("prlimit", "--rtprio=0:0")
    return words


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Let one browser test at a time in, over all the workers that share `folder`."""
    if sys.platform == "win32":
        yield
        return
    import fcntl

    with (folder / "browser.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def real_time_threads() -> list[str]:
    """Names of the threads below this process that run at real-time priority; Linux alone tells."""
    return [
        name
        for number in _below(os.getpid())
        for task in Path(f"/proc/{number}/task").glob("*")
        if (name := _if_real_time(task))
    ]


def _if_real_time(task: Path) -> str:
    try:
        urgent = os.sched_getscheduler(int(task.name)) in (os.SCHED_FIFO, os.SCHED_RR)
        return (task / "comm").read_text().strip() if urgent else ""
    except OSError:  # the thread has ended meanwhile
        return ""


def _below(number: int) -> list[int]:
    """Numbers of a process and of all that it started, as far down as it goes."""
    found = [number]
    for children in Path(f"/proc/{number}/task").glob("*/children"):
        for child in children.read_text().split():
            found += _below(int(child))
    return found
