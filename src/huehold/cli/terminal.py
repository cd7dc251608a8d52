"""The live view in a terminal, for whoever does without the page."""

from __future__ import annotations

import math
import queue
import sys
import threading
from collections.abc import Iterable

import click
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from huehold.core import Frame
from huehold.errors import HueholdError, InputError
from huehold.report.advice import advice
from huehold.report.card import print_card
from huehold.report.terminal import laid_out
from huehold.report.words import clock, hue_word
from huehold.watching import Listener, Moment, Watch

__all__ = ["run_in_terminal"]

_SYMBOLS = {
    "waiting for the start colour": "○",
    "start colour": "◐",
    "addition seen": "●",
    "fading back": "↘",
    "end colour, holding": "▷",
    "endpoint": "■",
    "overshoot": "▲",
    "cannot see": "!",
}
_SPARKS = "▁▂▃▄▅▆▇█"


def ended(watch: Watch) -> int:
    """Return the exit code of a watched run.

    Raises
    ------
    InputError
        If the masses made no sense; everything else has been shown and kept by then.
    """
    if watch.error is not None:
        return watch.error.exit_code  # it was said when it happened
    if watch.finished is not None and watch.finished.assay_problem:
        raise InputError(watch.finished.assay_problem)
    return 0


def run_in_terminal(watch: Watch, listeners: Iterable[Listener]) -> int:
    """Watch until the source ends or Ctrl-C is pressed; print the card.

    Masses are typed with Enter, cumulative; ``undo`` strikes the last one, ``finish`` ends.
    Without a terminal, one line is printed for every change of state.
    """
    console = Console(stderr=True)
    view = _View(watch, live=laid_out(console))
    for listener in (*listeners, view.take):
        watch.listen(listener)
    if sys.stdin is not None and sys.stdin.isatty():
        threading.Thread(target=_read_lines, args=(watch, view), daemon=True).start()
    watch.start()
    try:
        if laid_out(console):
            with Live(view, console=console, refresh_per_second=8):
                _wait(watch)
        else:
            view.print_to(console)
            _wait(watch)
    except KeyboardInterrupt:
        click.echo("Ending the run; it is kept.", err=True)
    run = watch.finish()
    if run is not None:
        print_card(run)
    return ended(watch)


def _wait(watch: Watch) -> None:
    while not watch.wait(0.2):
        pass


def _read_lines(watch: Watch, view: _View) -> None:
    for line in sys.stdin:
        text = line.strip()
        try:
            if text == "finish":
                watch.source.close()
                return
            if text == "undo":
                standing = [entry for entry in watch.masses if not entry.struck]
                if standing:
                    watch.strike_mass(standing[-1].entry)
                    view.say(f"struck {standing[-1].mass_g:g} g")
            elif text:
                entry = watch.type_mass(text)
                where = "saved" if entry.entered_at else "not on the disk yet, in memory:"
                view.say(f"{where} {entry.mass_g:.2f} g")
        except HueholdError as error:
            view.say(str(error))


class _View:
    """What the terminal shows: state in words and a sign, hold, hue, advice, last masses."""

    def __init__(self, watch: Watch, *, live: bool) -> None:
        self._watch = watch
        self._live = live
        self._moment: Moment | None = None
        self._hues: list[float] = []
        self._said = "type the cumulative mass and Enter; undo; finish"
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._console: Console | None = None
        self._state = ""

    def print_to(self, console: Console) -> None:
        """Print a line for every change of state instead of a view that is redrawn."""
        self._console = console

    def say(self, text: str) -> None:
        """Show what became of the last thing typed."""
        self._said = text

    def take(self, moment: Moment, frame: Frame | None) -> None:
        """Take in how the run stands."""
        self._moment = moment
        seen = moment.observation
        if seen is not None and math.isfinite(seen.hue_deg):
            self._hues = [*self._hues, seen.hue_deg][-400:]
        for cue in moment.cues:
            if self._live and cue.name in ("endpoint", "overshoot", "attention"):
                click.echo("\a", nl=False, err=True)
        if self._console is not None and (moment.state != self._state or moment.cues):
            words = ", ".join(cue.words for cue in moment.cues)
            self._console.print(f"{clock(moment.time_s)}  {moment.state}  {words}".rstrip())
        self._state = moment.state

    def __rich__(self) -> RenderableType:
        moment = self._moment
        if moment is None:
            return Text("Waiting for the first picture.")
        table = Table.grid(padding=(0, 2))
        table.add_row("time", clock(moment.time_s))
        table.add_row(
            "hold", ProgressBar(moment.hold_s, min(moment.held_s, moment.hold_s), width=40)
        )
        table.add_row("", f"{moment.held_s:.0f} of {moment.hold_s:.0f} s")
        table.add_row("hue", self._hue(moment))
        table.add_row("masses", self._masses())
        table.add_row("", Text(self._said, style="dim"))
        sign = _SYMBOLS.get(moment.state, "?")
        head = Text(f" {sign} {moment.state.upper()} ", style="reverse bold")
        return Group(head, Text(), Text(advice(moment), style="bold"), Text(), table)

    def _hue(self, moment: Moment) -> str:
        seen = moment.observation
        if seen is None or not math.isfinite(seen.hue_deg):
            return "not seen"
        return f"{seen.hue_deg:3.0f}° {hue_word(seen.hue_deg):<13}{_sparkline(self._hues)}"

    def _masses(self) -> str:
        standing = [f"{entry.mass_g:.2f}" for entry in self._watch.masses if not entry.struck]
        return ", ".join(standing[-5:]) + " g" if standing else "none yet"


def _sparkline(values: list[float], width: int = 32) -> str:
    thinned = values[:: max(1, len(values) // width)][-width:]
    low, high = min(thinned), max(thinned)
    scale = (len(_SPARKS) - 1) / max(high - low, 10.0)
    return "".join(_SPARKS[int((value - low) * scale)] for value in thinned)
