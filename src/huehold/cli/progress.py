"""Progress of a review on standard error, with what is seen at the moment."""

from __future__ import annotations

import time
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

from huehold.core import TRUSTED, Observation, SourceInfo
from huehold.report.terminal import laid_out
from huehold.session import Step

__all__ = ["ReviewProgress"]

_SHOW_EVERY_S = 0.1


class ReviewProgress:
    """A bar on standard error; nothing when quiet or when that is no terminal.

    Parameters
    ----------
    name : str
        The recording's name.
    quiet : bool
        Show nothing at all.
    """

    def __init__(self, name: str, *, quiet: bool = False) -> None:
        console = Console(stderr=True)
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=None),
            TaskProgressColumn(),
            TimeRemainingColumn(),
            TextColumn("{task.fields[seen]}"),
            console=console,
            transient=True,
            disable=quiet or not laid_out(console),
        )
        self._task = self._progress.add_task(name, total=None, seen="")
        self._shown = 0.0

    def __enter__(self) -> Self:
        self._progress.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._progress.stop()

    def opened(self, info: SourceInfo) -> None:
        """Take the length from the opened recording."""
        self._progress.update(self._task, total=info.duration_s)

    def step(self, step: Step, progress_s: float) -> None:
        """Move the bar, at most ten times a second."""
        now = time.monotonic()
        if now - self._shown < _SHOW_EVERY_S:
            return
        self._shown = now
        self._progress.update(self._task, completed=progress_s, seen=_seen(step.observation))


def _seen(observation: Observation) -> str:
    if observation.vessel is None:
        return "no vessel"
    if observation.trust < TRUSTED:
        return ", ".join(observation.reasons[:2]) or "not trusted"
    return f"hue {observation.hue_deg:3.0f}°  chroma {observation.chroma:3.0f}"
