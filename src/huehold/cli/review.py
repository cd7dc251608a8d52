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
    hold_option,
    method_option,
    place_options,
    vessel_of,
    white_of,
)
from huehold.cli.outputs import Outputs, output_options, show
from huehold.cli.words import Number
from huehold.errors import InputError

if TYPE_CHECKING:
    from huehold.calibration.model import Calibration
    from huehold.masses import MassInputs
    from huehold.methods import Method
    from huehold.run import Run, Settings


@click.command(epilog="Example: huehold review titration.mp4 --masses masses.csv --report out.html")
@click.argument("recording", type=click.Path(path_type=Path))
@method_option
@hold_option
@mass_options
@calibration_option
@place_options
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
    type=Number(2, 60),
    default=12.0,
    show_default=True,
    metavar="HZ",
    help="Frames analysed per second.",
)
@click.option(
    "--pass",
    "passes",
    type=click.Choice(["auto", "full"]),
    default="auto",
    show_default=True,
    help="auto: look less often where nothing stirs, if the recording allows it; full: equally "
    "often everywhere.",
)
@output_options
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
    outputs: Outputs,
    vision_file: str | None,
    quiet: bool,
) -> int:
    """Find the endpoint in a RECORDING of a titration.

    Prints a verdict card; writes the files that are asked for. With a sample mass and
    titrant masses it gives the result with its uncertainty. Ctrl-C keeps what there is.
    """
    from huehold.methods import load_method
    from huehold.run import Settings

    outputs.check(recording, masses.masses)
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
    show(run, outputs, extra={"What was seen": vision_file} if vision_file else None)
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
    passes: Literal["auto", "full"] = "auto",
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
            """Show how far it is, and draw what was seen."""
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
