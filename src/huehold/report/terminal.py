"""How reports are set for a terminal, and plainly for everything else.

A terminal gets frames, columns and lines of its width. A pipe, a file, or a terminal that calls
itself dumb (``TERM=dumb``, as screen readers like it) gets plain lines: one fact a line, nothing
framed, nothing wrapped.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

__all__ = ["NARROW", "Pairs", "Rows", "laid_out", "print_out", "signs"]

NARROW: Final = 56
"""Columns under which labels stand above their values."""

_ENDLESS: Final = 4000
_SHORT: Final = 8  # letters of a first column's name that stand before its cell
_LABEL_LEAST, _LABEL_MOST = 18, 34

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


def laid_out(console: Console) -> bool:
    """Whether a console gets frames and columns; the others get plain lines."""
    return console.is_terminal and not console.is_dumb_terminal


def print_out(renderable: RenderableType, console: Console | None = None) -> None:
    """Print to a console in its way: laid out, or in plain lines.

    Parameters
    ----------
    renderable : RenderableType
        What to print.
    console : rich.console.Console, optional
        Where to; standard output if not given.
    """
    console = console or Console(highlight=False)
    if laid_out(console):
        console.print(renderable)
        return
    plain = Console(
        file=console.file, width=_ENDLESS, force_terminal=False, color_system=None, highlight=False
    )
    with plain.capture() as captured:
        plain.print(renderable)
    lines = [line.rstrip() for line in captured.get().splitlines()]
    console.file.write("\n".join(lines) + "\n")
    console.file.flush()


def signs(text: str, options: ConsoleOptions, style: str = "") -> Text:
    """Return a text in the signs a console has."""
    if options.ascii_only:
        text = text.translate(_ASCII).encode("ascii", "replace").decode("ascii")
    return Text(text, style=style)


class Pairs:
    """Labels with their values: beside them, above them if it is narrow, or in plain lines.

    Parameters
    ----------
    lines : iterable of (str, str)
        Label and value.
    """

    def __init__(self, lines: Iterable[tuple[str, str]]) -> None:
        self._lines = tuple(lines)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the pairs as the console wants them."""
        if not laid_out(console):
            for label, value in self._lines:
                yield signs(f"{label}: {value}", options)
        elif options.max_width < NARROW:
            for label, value in self._lines:
                yield signs(label, options, "dim")
                yield Padding(signs(value, options), (0, 0, 0, 2))
        else:
            table = Table.grid(padding=(0, 2))
            table.add_column(min_width=_LABEL_LEAST, max_width=_LABEL_MOST)
            table.add_column(overflow="fold")
            for label, value in self._lines:
                table.add_row(signs(label, options, "dim"), signs(value, options))
            yield table


class Rows:
    """A table; where it is narrow each row becomes a sentence that names its columns.

    Parameters
    ----------
    columns : sequence of str
        Names; one that begins with ``>`` is set to the right.
    rows : iterable of sequence of str or Text
        Cells.
    """

    def __init__(self, columns: Sequence[str], rows: Iterable[Sequence[str | Text]]) -> None:
        self._columns = tuple(columns)
        self._rows = [[_cell(cell) for cell in row] for row in rows]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the table, or its rows as sentences."""
        names = [name.removeprefix(">") for name in self._columns]
        if laid_out(console) and options.max_width < NARROW:
            for row in self._rows:
                named = zip(names[1:], row[1:], strict=True)
                parts = [Text(f"{name} ").append(cell) for name, cell in named if cell.plain]
                head = Text(f"{names[0]} " if len(names[0]) <= _SHORT else "").append(row[0])
                yield head.append(": ").append(Text(", ").join(parts))
            return
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        for name, column in zip(names, self._columns, strict=True):
            table.add_column(name, justify="right" if column.startswith(">") else "left")
        for row in self._rows:
            table.add_row(*row)
        yield table


def _cell(cell: str | Text) -> Text:
    return cell if isinstance(cell, Text) else Text(cell)
