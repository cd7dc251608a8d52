"""`huehold runs`: what the notebook keeps."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from huehold.cli.masses import field_options, take_fields
from huehold.cli.options import calibration_option, calibrations_of, hold_option
from huehold.cli.outputs import (
    Outputs,
    json_option,
    output_options,
    print_rich,
    show,
    write_json,
)
from huehold.cli.words import Number, WordGroup
from huehold.errors import UsageError

if TYPE_CHECKING:
    from huehold.notebook import Notebook, RunRecord
    from huehold.report.terminal import Rows
    from huehold.run import Run


_notebook_option = click.option(
    "--notebook",
    "notebook_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The notebook; a file of the user's data folder if not given.",
)


@click.group(cls=WordGroup)
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
@json_option
@_with_book
def list_runs(book: Notebook, removed: bool, json_to: str | None) -> None:
    """List the runs, newest first."""
    briefs = [_brief(book, record) for record in book.runs(removed=removed)]
    if json_to is not None:
        write_json(briefs, json_to)
    elif not briefs:
        click.echo("No runs yet; `huehold watch` makes one.")
    else:
        print_rich(_table(briefs))


def _table(briefs: Sequence[Mapping[str, object]]) -> Rows:
    from huehold.report.terminal import Rows

    columns = {"id": "run", "started_at": "begun (UTC)", "title": "title", "verdict": "verdict",
               "result": "result"}  # fmt: skip
    rows = [[str(brief[name] or "-") for name in columns] for brief in briefs]
    return Rows([f">{columns['id']}", *list(columns.values())[1:]], rows)


def _brief(book: Notebook, record: RunRecord) -> dict[str, object]:
    from huehold.notebook import is_claimed

    verdict = (record.verdict or {}).get("kind")
    if verdict is None and not record.finished_at:
        verdict = "running" if is_claimed(book.path, record.id) else "cut off"
    return {
        "id": record.id,
        "started_at": record.started_at[:19],
        "finished_at": record.finished_at,
        "title": record.title,
        "verdict": verdict,
        "result": record.main_result or None,
    }


def _analysis_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options to go through a record otherwise; it gets them as one."""

    @wraps(command)
    def gather(book: Notebook, run: int, **options: Any) -> None:
        """Go through the record and hand the run on."""
        chosen = {name: options.pop(name) for name in ("hold_s", "calibrations")}
        given = take_fields(options)
        command(_analysed(book, run, given=given, **chosen), **options)

    return hold_option(calibration_option(field_options()(gather)))


def _analysed(
    book: Notebook,
    number: int,
    *,
    hold_s: float | None,
    calibrations: tuple[str, ...],
    given: Mapping[str, str],
) -> Run:
    """Return a run of the notebook, gone through again with what was given in place of its own."""
    from dataclasses import replace

    from huehold.masses import MassInputs
    from huehold.past_runs import method_of, open_run, recalibrated, settings_of

    record = book.run(number)
    if "titrant_mass" in given and book.masses(number):
        raise UsageError(
            f"Run {number} has masses that were typed while it ran, and they give the titrant "
            "mass; leave --titrant-mass out."
        )
    settings = replace(settings_of(record), hold_s=hold_s) if hold_s else None
    inputs = MassInputs.from_mapping({**record.inputs, **given}, method_of(record))
    others = None
    if calibrations:
        named = calibrations_of(("none", *calibrations))
        others = recalibrated(record, named, alone="none" in calibrations)
    return open_run(book, number, settings=settings, inputs=inputs, calibrations=others)


@runs.command("show")
@click.argument("run", type=Number(1, whole=True))
@_with_book
@_analysis_options
@output_options
def show_run(run: Run, outputs: Outputs) -> None:
    """Show RUN again, and write the files asked for.

    What is given goes in place of what was typed; with --calibration that one is used in place
    of the run's own of the kind. The record itself is not changed.
    """
    outputs.check()
    show(run, outputs)


@runs.command("export")
@click.argument("run", type=Number(1, whole=True))
@click.option(
    "--out",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    required=True,
    help="Where the files go; made if it is not there.",
)
@_with_book
@_analysis_options
def export_run(run: Run, folder: Path) -> None:
    """Write RUN to a folder: report, picture, trace, events and result file."""
    show(run, Outputs.into(folder))


@runs.command("compare")
@click.argument(
    "numbers", metavar="RUN RUN ...", type=Number(1, whole=True), nargs=-1, required=True
)
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
@click.argument("run", type=Number(1, whole=True))
@_with_book
def remove_run(book: Notebook, run: int) -> None:
    """Put RUN away; `huehold runs back RUN` brings it back."""
    book.run(run)
    book.remove(run)
    click.echo(f"Run {run} is put away; `huehold runs back {run}` brings it back.")


@runs.command("back")
@click.argument("run", type=Number(1, whole=True))
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
    from huehold.report.files import check_place

    check_place(file)
    click.echo(f"Backup   {book.back_up(file)}")


@runs.command("restore")
@click.argument("file", type=click.Path(path_type=Path))
@_notebook_option
@click.pass_obj
def restore(named: Path | None, file: Path, notebook_file: Path | None) -> None:
    """Put the backup FILE in the notebook's place; what was there is kept beside it."""
    from huehold.notebook import Notebook, default_path

    path = notebook_file or named or default_path()  # not opened: it may be damaged
    kept = Notebook.restore(file, path)
    click.echo(
        f"Notebook {path} restored." + (f" The one before is {kept}." if kept != path else "")
    )
