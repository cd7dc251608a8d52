"""`huehold review`: a recording in, endpoint, trace and result out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from huehold.cli.masses import MassOptions, mass_inputs, mass_options
from huehold.cli.options import (
    calibration_option,
    calibrations_of,
    numbers,
    vessel_of,
    white_of,
)
from huehold.errors import InputError, UsageError

if TYPE_CHECKING:
    from huehold.calibration.model import Calibration
    from huehold.masses import MassInputs
    from huehold.methods import Method
    from huehold.run import Run, Settings

_DEFAULT_METHOD = "magnesium-hydroxide-by-vinegar"


@click.command(epilog="Example: huehold review titration.mp4 --masses masses.csv --report out.html")
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "--method",
    default=_DEFAULT_METHOD,
    show_default=True,
    metavar="NAME|FILE",
    help="A shipped method, or a method file of your own.",
)
@click.option(
    "--hold",
    "hold_s",
    type=click.FloatRange(1, 600),
    metavar="SECONDS",
    help="How long the end colour must hold; the method's own if not given.",
)
@mass_options
@calibration_option
@click.option(
    "--vessel",
    callback=numbers("X,Y,R"),
    metavar="X,Y,R",
    help="Circle of the liquid in pixels, in place of finding it.",
)
@click.option(
    "--white",
    callback=numbers("X,Y,W,H"),
    metavar="X,Y,W,H",
    help="White patch in pixels, in place of finding one.",
)
@click.option(
    "--matrix",
    type=click.Choice(["auto", "bt601", "bt709"]),
    default="auto",
    show_default=True,
    help="Colour matrix, if the recording is not tagged with one.",
)
@click.option(
    "--rate",
    "rate_hz",
    type=click.FloatRange(2, 60),
    default=12.0,
    show_default=True,
    metavar="HZ",
    help="Frames analysed per second.",
)
@click.option(
    "--pass",
    "passes",
    type=click.Choice(["auto", "full"]),
    default="full",
    show_default=True,
    help="Look less often where nothing stirs, if the recording allows it; or equally often.",
)
@click.option("--json", "json_file", metavar="FILE", help="Result file; - for standard output.")
@click.option("--csv", "csv_file", metavar="FILE", help="Trace as a table, events beside it.")
@click.option("--plot", "plot_file", metavar="FILE", help="Trace as a picture: .png or .svg.")
@click.option("--report", "report_file", metavar="FILE", help="Report to open in a browser.")
@click.option(
    "--show-vision",
    "vision_file",
    metavar="FILE|DIR",
    help="What was seen, drawn on the frames: a video (.mp4, .mkv) or a folder.",
)
@click.option("--quiet", is_flag=True, help="No progress on standard error.")
def review(
    recording: Path,
    method: str,
    hold_s: float | None,
    masses: MassOptions,
    calibrations: tuple[str, ...],
    vessel: tuple[float, ...] | None,
    white: tuple[float, ...] | None,
    matrix: Literal["auto", "bt601", "bt709"],
    rate_hz: float,
    passes: Literal["auto", "full"],
    json_file: str | None,
    csv_file: str | None,
    plot_file: str | None,
    report_file: str | None,
    vision_file: str | None,
    quiet: bool,
) -> int:
    """Find the endpoint in a RECORDING of a titration.

    Prints a verdict card; writes the files that are asked for. With a sample mass and
    titrant masses it gives the result with its uncertainty. Ctrl-C keeps what there is.
    """
    from huehold.methods import load_method
    from huehold.run import Settings

    _check_outputs(json_file, csv_file, plot_file, report_file, recording)
    loaded = load_method(method)
    settings = Settings(hold_s, vessel_of(vessel), white_of(white), rate_hz)
    run = run_review(
        recording,
        method=loaded,
        settings=settings,
        masses=mass_inputs(loaded, masses),
        calibrations=calibrations_of(calibrations),
        matrix=matrix,
        passes=passes,
        vision_file=vision_file,
        quiet=quiet,
    )
    show(
        run,
        json_file=json_file,
        csv_file=csv_file,
        plot_file=plot_file,
        report_file=report_file,
        vision_file=vision_file,
    )
    return exit_code(run)


def exit_code(run: Run) -> int:
    """Return the exit code of a shown run.

    Raises
    ------
    InputError
        If the masses made no sense; everything else has been shown and written by then.
    """
    if run.assay_problem:
        raise InputError(run.assay_problem)
    return 130 if run.interrupted else 0


def run_review(
    recording: Path,
    *,
    method: Method,
    settings: Settings,
    masses: MassInputs | None,
    calibrations: Sequence[Calibration] = (),
    matrix: Literal["auto", "bt601", "bt709"] = "auto",
    passes: Literal["auto", "full"] = "full",
    vision_file: str | None = None,
    quiet: bool = False,
) -> Run:
    """Review with progress, and with pictures of what was seen if asked for."""
    from huehold.cli.progress import ReviewProgress
    from huehold.cli.show_vision import VisionFilm
    from huehold.session import Step
    from huehold.session import review as review_recording

    with ReviewProgress(recording.name, quiet=quiet) as progress, VisionFilm(vision_file) as film:

        def on_step(step: Step, progress_s: float) -> None:
            progress.step(step, progress_s)
            film.step(step)

        return review_recording(
            recording,
            method=method,
            settings=settings,
            masses=masses,
            calibrations=calibrations,
            matrix=matrix,
            passes="full" if vision_file else passes,
            on_open=progress.opened,
            on_step=on_step,
        )


def show(
    run: Run,
    *,
    json_file: str | None = None,
    csv_file: str | None = None,
    plot_file: str | None = None,
    report_file: str | None = None,
    vision_file: str | None = None,
) -> None:
    """Write the files asked for, then print the card (or the JSON, if that goes to stdout)."""
    from huehold.report.card import print_card
    from huehold.report.csv_ import write_csv
    from huehold.report.html import write_report
    from huehold.report.plot import write_plot
    from huehold.report.result import result_text, write_result

    files: dict[str, str | Path] = {}
    if report_file:
        files["Report"] = write_report(run, report_file)
    if plot_file:
        files["Picture"] = write_plot(run, plot_file)
    if csv_file:
        files["Trace"], files["Events"] = write_csv(run, csv_file)
    if json_file and json_file != "-":
        files["Result"] = write_result(run, json_file)
    if vision_file:
        files["What was seen"] = vision_file
    if json_file == "-":
        click.echo(result_text(run))
    else:
        print_card(run, files=files)


def _check_outputs(*names: str | Path | None) -> None:
    """Refuse to write two outputs to one file, or one over the recording."""
    *outputs, recording = names
    paths = [Path(name).absolute() for name in outputs if name and name != "-"]
    if len(set(paths)) < len(paths):
        raise UsageError("Two outputs would go to the same file; give each its own name.")
    if Path(recording or "").absolute() in paths:
        raise UsageError(f"{recording} is the recording itself; name another file for the output.")
