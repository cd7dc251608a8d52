"""`huehold runs`: what the notebook keeps."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from huehold.cli.options import calibration_option, calibrations_of
from huehold.cli.outputs import Outputs, output_options, show
from huehold.errors import UsageError

if TYPE_CHECKING:
    from huehold.notebook import Notebook, RunRecord


_notebook_option = click.option(
    "--notebook",
    "notebook_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The notebook; a file of the user's data folder if not given.",
)


@click.group()
@_notebook_option
@click.pass_context
def runs(ctx: click.Context, notebook_file: Path | None) -> None:
    """List, show, compare, export, put away or back up the runs of the notebook."""
    ctx.obj = notebook_file


def _with_book(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the notebook, whether it is named before the command or after it."""

    @_notebook_option
    @click.pass_context
    @wraps(command)
    def opened(ctx: click.Context, /, notebook_file: Path | None, **options: Any) -> None:
        """Open the notebook for as long as the command runs."""
        from huehold.notebook import Notebook

        command(ctx.with_resource(Notebook(notebook_file or ctx.obj)), **options)

    return opened


@runs.command("list")
@click.option("--removed", is_flag=True, help="Those put away.")
@click.option("--json", "as_json", is_flag=True, help="As JSON on standard output.")
@_with_book
def list_runs(book: Notebook, removed: bool, as_json: bool) -> None:
    """List the runs, newest first."""
    records = book.runs(removed=removed)
    if as_json:
        click.echo(json.dumps([_brief(record) for record in records], indent=1))
        return
    if not records:
        click.echo("No runs yet; `huehold watch` makes one.")
        return
    from rich.console import Console
    from rich.table import Table

    table = Table("run", "begun (UTC)", "title", "verdict", "result", box=None)
    for record in records:
        brief = _brief(record)
        values = (
            brief["id"],
            brief["started_at"],
            brief["title"],
            brief["verdict"],
            brief["result"],
        )
        table.add_row(*(str(value or "-") for value in values))
    Console().print(table)


def _brief(record: RunRecord) -> dict[str, object]:
    verdict = (record.verdict or {}).get("kind") or ("cut off" if not record.finished_at else None)
    return {
        "id": record.id,
        "started_at": record.started_at[:19],
        "finished_at": record.finished_at,
        "title": record.title,
        "verdict": verdict,
        "result": record.main_result or None,
    }


@runs.command("show")
@click.argument("run", type=int)
@click.option(
    "--hold",
    "hold_s",
    type=click.FloatRange(1, 600),
    metavar="SECONDS",
    help="Go through the record with another hold; the record itself is not changed.",
)
@calibration_option
@output_options
@_with_book
def show_run(
    book: Notebook,
    run: int,
    hold_s: float | None,
    calibrations: tuple[str, ...],
    outputs: Outputs,
) -> None:
    """Show RUN again, and write the files asked for.

    With --calibration the record is gone through with that one in place of its own of the kind.
    """
    from dataclasses import replace

    from huehold.past_runs import open_run, recalibrated, settings_of

    record = book.run(run)
    settings = replace(settings_of(record), hold_s=hold_s) if hold_s else None
    others = None
    if calibrations:
        named = calibrations_of(("none", *calibrations))
        others = recalibrated(record, named, alone="none" in calibrations)
    opened = open_run(book, run, settings=settings, calibrations=others)
    outputs.check()
    show(opened, outputs)


@runs.command("compare")
@click.argument("numbers", metavar="RUN RUN ...", type=int, nargs=-1, required=True)
@click.option("--plot", "plot_file", metavar="FILE", help="The traces laid over one another.")
@_with_book
def compare_runs(book: Notebook, numbers: tuple[int, ...], plot_file: str | None) -> None:
    """Compare replicates: their results together, their traces laid over one another."""
    from huehold.past_runs import open_run
    from huehold.report.comparison import comparison_text, write_comparison

    if len(set(numbers)) < 2:
        raise UsageError("Name at least two different runs to compare.")
    opened = {number: open_run(book, number) for number in dict.fromkeys(numbers)}
    click.echo(comparison_text(opened))
    if plot_file:
        click.echo(f"Picture  {write_comparison(opened, plot_file)}")


@runs.command("remove")
@click.argument("run", type=int)
@_with_book
def remove_run(book: Notebook, run: int) -> None:
    """Put RUN away; `huehold runs back RUN` brings it back."""
    book.run(run)
    book.remove(run)
    click.echo(f"Run {run} is put away; `huehold runs back {run}` brings it back.")


@runs.command("back")
@click.argument("run", type=int)
@_with_book
def bring_back(book: Notebook, run: int) -> None:
    """Bring RUN back."""
    book.bring_back(run)
    click.echo(f"Run {run} is back.")


@runs.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@_with_book
def back_up(book: Notebook, file: Path) -> None:
    """Copy the whole notebook to FILE."""
    click.echo(f"Backup   {book.back_up(file)}")


@runs.command("restore")
@click.argument("file", type=click.Path(path_type=Path))
@_with_book
def restore(book: Notebook, file: Path) -> None:
    """Put the backup FILE in the notebook's place; what was there is kept beside it."""
    path = book.path
    book.close()
    kept = type(book).restore(file, path)
    click.echo(
        f"Notebook {path} restored." + (f" The one before is {kept}." if kept != path else "")
    )
