"""Where results go: the options that name files, and the writing of them."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TypeVar

import click

from huehold.errors import InputError, UsageError

if TYPE_CHECKING:
    from huehold.run import Run

__all__ = ["Outputs", "json_option", "output_options", "print_rich", "show", "write_json"]

F = TypeVar("F", bound=Callable[..., Any])

json_option = click.option(
    "--json",
    "json_to",
    is_flag=False,
    flag_value="-",
    metavar="[FILE]",
    help="Everything for programs; to standard output if no file is named, or -.",
)


@dataclass(frozen=True, slots=True)
class Outputs:
    """The files a run is written to; None for each that was not asked for."""

    json: str | None = None
    csv: str | None = None
    plot: str | None = None
    report: str | None = None

    @classmethod
    def into(cls, folder: Path) -> Self:
        """Return one of each in a folder, which is made if it is not there.

        Raises
        ------
        InputError
            If it cannot be made.
        """
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(f"The folder {folder} cannot be made: {error.strerror}.") from error
        names = ("result.json", "trace.csv", "trace.png", "report.html")
        return cls(*(str(folder / name) for name in names))

    def check(self, *taken: str | Path | None) -> None:
        """Refuse what could not be written, or would go over a file that is taken.

        Raises
        ------
        UsageError
            If two outputs share a file, one is taken, or the picture's ending is unknown.
        InputError
            If a folder does not exist.
        """
        from huehold.report.files import check_not_another, check_place, picture_kind

        given = (getattr(self, one.name) for one in fields(self))
        paths = [Path(name).absolute() for name in given if name and name != "-"]
        if len(set(paths)) < len(paths):
            raise UsageError("Two outputs would go to the same file; give each its own name.")
        for path in paths:
            check_place(path)
            check_not_another(path)
        if self.plot:
            picture_kind(self.plot)
        for name in taken:
            if name is not None and Path(name).absolute() in paths:
                raise UsageError(f"{name} is in use; name another file for the output.")


def output_options(command: F) -> F:
    """Give a command the options about files; it gets them as ``outputs: Outputs``."""

    @wraps(command)
    def gather(*args: Any, **options: Any) -> Any:
        """Gather the options about files into one value."""
        named = {"json": options.pop("json_to")}
        named |= {name: options.pop(f"{name}_file") for name in ("csv", "plot", "report")}
        return command(*args, outputs=Outputs(**named), **options)

    decorated: Any = gather
    for flag, about in (
        ("report", "Report to open in a browser."),
        ("plot", "Trace as a picture: .png or .svg."),
        ("csv", "Trace as a table, events beside it."),
    ):
        decorated = click.option(f"--{flag}", f"{flag}_file", metavar="FILE", help=about)(decorated)
    result: F = json_option(decorated)
    return result


def show(run: Run, outputs: Outputs, *, extra: Mapping[str, str | Path] | None = None) -> None:
    """Write the files asked for, then print the card (or the JSON, if that goes to stdout).

    Parameters
    ----------
    run : Run
        What to show.
    outputs : Outputs
        The files.
    extra : mapping of str to path, optional
        Files that were written before, for the card to name.
    """
    from huehold.report.card import print_card
    from huehold.report.csv_ import write_csv
    from huehold.report.html import write_report
    from huehold.report.plot import write_plot
    from huehold.report.result import result_text, write_result

    files: dict[str, str | Path] = {}
    if outputs.report:
        files["Report"] = write_report(run, outputs.report)
    if outputs.plot:
        files["Picture"] = write_plot(run, outputs.plot)
    if outputs.csv:
        files["Trace"], files["Events"] = write_csv(run, outputs.csv)
    if outputs.json and outputs.json != "-":
        files["Result"] = write_result(run, outputs.json)
    if outputs.json == "-":
        click.echo(result_text(run))
    else:
        print_card(run, files=files | dict(extra or {}))


def write_json(data: Mapping[str, Any] | Sequence[Any], to: str) -> None:
    """Write as JSON to a file, or to standard output for ``-``; numbers are rounded."""
    from huehold.report.files import check_not_another, write_text
    from huehold.report.numbers import plain

    text = json.dumps(plain(data), indent=1, ensure_ascii=False, allow_nan=False)
    if to == "-":
        click.echo(text)
    else:
        check_not_another(Path(to))
        write_text(to, text + "\n")


def print_rich(renderable: Any) -> None:
    """Print a table or card at the terminal's width, or plainly if there is none."""
    from huehold.report.terminal import print_out

    print_out(renderable)
