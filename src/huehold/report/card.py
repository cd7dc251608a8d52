"""The verdict card: what a run came to, for the terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.padding import Padding
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from huehold.report.assay_view import view_assay
from huehold.report.figures import all_warnings, key_figures
from huehold.report.terminal import NARROW, Pairs, laid_out, print_out, signs
from huehold.report.words import VERDICTS
from huehold.run import Run

__all__ = ["VerdictCard", "print_card"]

_STYLES: Final = {
    "endpoint": "bold green",
    "not_reached": "bold cyan",
    "overshoot": "bold yellow",
    "no_start_colour": "bold magenta",
    "unreadable": "bold red",
}
_WIDEST: Final = 92


class VerdictCard:
    """A run's verdict, key figures, result, warnings and cautions as one renderable.

    The verdict is a word and a shape; colour only repeats what the words say.

    Parameters
    ----------
    run : Run
        A finished run.
    files : mapping of str to Path, optional
        What was written, by what it is, to be named at the end.
    """

    def __init__(self, run: Run, files: Mapping[str, str | Path] | None = None) -> None:
        self._run = run
        self._files = files or {}

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the card in the signs and the width the console has; plain lines if it asks."""
        title = _title(self._run, options)
        if not laid_out(console):
            yield title
            yield from self._parts(options)
            return
        yield Panel(
            Group(*self._parts(options)),
            title=title,
            title_align="left",
            box=box.ASCII if options.ascii_only else box.ROUNDED,
            width=min(options.max_width, _WIDEST),
            padding=(1, 1) if options.max_width < NARROW else (1, 2),
        )

    def _parts(self, options: ConsoleOptions) -> Iterable[RenderableType]:
        run, assay = self._run, view_assay(self._run.assay)
        said = " ".join(run.verdict.reasons) or VERDICTS[run.verdict.kind].sentence
        yield signs(said, options)
        yield from _block("", Pairs(key_figures(run)))
        if assay is not None:
            yield from _block("Result", Pairs(assay.lines))
            if assay.decision:
                yield Padding(signs(assay.decision, options, "bold"), (1, 0, 0, 0))
        warnings = all_warnings(run)
        if warnings:
            yield from _block("Warnings", _list(warnings, "!", options))
        yield from _block("Cautions", _list(run.method.all_cautions, "-", options))
        if self._files:
            named = [(what, str(path)) for what, path in self._files.items()]
            yield from _block("Files", Pairs(named))


def print_card(
    run: Run, console: Console | None = None, files: Mapping[str, str | Path] | None = None
) -> None:
    """Print the verdict card.

    Parameters
    ----------
    run : Run
        A finished run.
    console : rich.console.Console, optional
        Where to; standard output if not given. What is no terminal, or a dumb one, gets plain
        lines; NO_COLOR takes the colours away.
    files : mapping of str to Path, optional
        What was written, by what it is.
    """
    print_out(VerdictCard(run, files), console)


def _title(run: Run, options: ConsoleOptions) -> Text:
    words = VERDICTS[run.verdict.kind]
    shape = words.plain_shape if options.ascii_only else words.shape
    title = Text(f" {shape} {words.word.upper()} ", style=_STYLES[run.verdict.kind])
    return title.append(signs(f" {run.source.name} ", options, "dim"))


def _block(heading: str, body: RenderableType) -> Iterable[RenderableType]:
    yield Text()
    if heading:
        yield Text(heading, style="bold")
    yield body


def _list(sentences: Iterable[str], mark: str, options: ConsoleOptions) -> RenderableType:
    table = Table.grid(padding=(0, 1))
    table.add_column(width=1)
    table.add_column(overflow="fold")
    for sentence in sentences:
        table.add_row(mark, signs(sentence, options))
    return table
