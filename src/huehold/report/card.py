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
# What consoles without Unicode get in place of the signs the reports use.
_ASCII: Final = str.maketrans(
    {
        "±": "+/-",
        "–": "-",
        "—": "-",
        "−": "-",
        "·": "*",
        "×": "x",
        "°": " deg",
        "≤": "<=",
        "≥": ">=",
        "’": "'",
        "“": '"',
        "”": '"',
        "…": "...",
        "→": "->",
    }
)
_NARROW: Final = 56
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
        """Yield the card in the signs and the width the console has."""
        plain = options.ascii_only
        yield Panel(
            Group(*self._parts(plain, options.max_width < _NARROW)),
            title=_title(self._run, plain),
            title_align="left",
            box=box.ASCII if plain else box.ROUNDED,
            width=min(options.max_width, _WIDEST),
            padding=(1, 1) if options.max_width < _NARROW else (1, 2),
        )

    def _parts(self, plain: bool, narrow: bool) -> Iterable[RenderableType]:
        run, assay = self._run, view_assay(self._run.assay)
        yield _text(" ".join(run.verdict.reasons) or VERDICTS[run.verdict.kind].sentence, plain)
        yield from _block("", _pairs(key_figures(run), plain, narrow))
        if assay is not None:
            yield from _block("Result", _pairs(assay.lines, plain, narrow))
            if assay.decision:
                yield Padding(_text(assay.decision, plain, "bold"), (1, 0, 0, 0))
        warnings = all_warnings(run)
        if warnings:
            yield from _block("Warnings", _list(warnings, "!", plain))
        yield from _block("Cautions", _list(run.method.all_cautions, "-", plain))
        if self._files:
            named = [(what, str(path)) for what, path in self._files.items()]
            yield from _block("Files", _pairs(named, plain, narrow))


def print_card(
    run: Run, console: Console | None = None, files: Mapping[str, str | Path] | None = None
) -> None:
    """Print the verdict card.

    Parameters
    ----------
    run : Run
        A finished run.
    console : rich.console.Console, optional
        Where to; standard output if not given. NO_COLOR and pipes are respected.
    files : mapping of str to Path, optional
        What was written, by what it is.
    """
    (console or Console()).print(VerdictCard(run, files))


def _title(run: Run, plain: bool) -> Text:
    words = VERDICTS[run.verdict.kind]
    shape = words.plain_shape if plain else words.shape
    title = Text(f" {shape} {words.word.upper()} ", style=_STYLES[run.verdict.kind])
    return title.append(_text(f" {run.source.name} ", plain, "dim"))


def _block(heading: str, body: RenderableType) -> Iterable[RenderableType]:
    yield Text()
    if heading:
        yield Text(heading, style="bold")
    yield body


def _pairs(pairs: Iterable[tuple[str, str]], plain: bool, narrow: bool) -> RenderableType:
    """Set labels beside their values, or above them where the console is narrow."""
    table = Table.grid(padding=(0, 2))
    if not narrow:
        table.add_column(min_width=18)
    table.add_column(overflow="fold")
    for label, value in pairs:
        cells = (_text(label, plain, "dim"), _text(value, plain))
        if narrow:
            table.add_row(cells[0])
            table.add_row(Padding(cells[1], (0, 0, 0, 2)))
        else:
            table.add_row(*cells)
    return table


def _list(sentences: Iterable[str], mark: str, plain: bool) -> RenderableType:
    table = Table.grid(padding=(0, 1))
    table.add_column(width=1)
    table.add_column(overflow="fold")
    for sentence in sentences:
        table.add_row(mark, _text(sentence, plain))
    return table


def _text(text: str, plain: bool, style: str = "") -> Text:
    if plain:
        text = text.translate(_ASCII).encode("ascii", "replace").decode("ascii")
    return Text(text, style=style)
