"""`huehold watch`: a titration as it happens, with a page beside it or in the terminal."""

from __future__ import annotations

from pathlib import Path

import click

from huehold.cli.masses import mass_options
from huehold.cli.options import (
    calibration_option,
    hold_option,
    method_option,
    page_options,
    place_options,
)
from huehold.cli.words import Number


@click.command(epilog="Example: huehold watch --phone")
@click.option("--camera", metavar="N", help="Number of a camera of this computer.")
@click.option(
    "--backend",
    default=None,
    metavar="NAME",
    help="The operating system's way to the camera: v4l2, dshow, msmf, avfoundation.",
)
@click.option(
    "--size",
    default="1280x720",
    show_default=True,
    metavar="WxH",
    help="Picture size asked of the camera.",
)
@click.option(
    "--rate",
    "rate_hz",
    type=Number(5, 240),
    default=30.0,
    show_default=True,
    metavar="HZ",
    help="Pictures a second asked of the camera; up to 15 are analysed.",
)
@click.option(
    "--lock/--no-lock",
    default=True,
    show_default=True,
    help="Ask the camera to keep exposure, white balance and focus.",
)
@click.option("--stream", metavar="URL", help="A network camera: http://, https:// or rtsp://.")
@click.option(
    "--play",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A recording, played as if it happened now.",
)
@click.option(
    "--speed",
    type=Number(0.1, 100),
    default=1.0,
    show_default=True,
    metavar="TIMES",
    help="How many times faster --play runs, 0.1 to 100.",
)
@click.option("--browser", is_flag=True, help="The camera of the browser that shows the page.")
@click.option(
    "--phone", is_flag=True, help="A phone's browser as the camera, over the local network."
)
@click.option("--lan", is_flag=True, help="Let the page be opened from the local network.")
@click.option(
    "--list-cameras",
    "list_them",
    type=click.Path(path_type=Path),
    is_flag=False,
    flag_value=Path(),
    default=None,
    metavar="[DIR]",
    help="List the cameras and stop; write a picture of what each sees to DIR.",
)
@method_option
@hold_option
@mass_options
@calibration_option
@place_options
@click.option(
    "--notebook",
    "notebook_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Where runs are kept; a file of the user's data folder if not given.",
)
@click.option("--title", default="", metavar="TEXT", help="A name for the run.")
@click.option(
    "--resume/--no-resume",
    default=None,
    help="Go on with a run that was cut off within the last hour; asked for in a terminal if "
    "not given.",
)
@click.option(
    "--record",
    type=click.Path(path_type=Path),
    metavar="FILE.mkv",
    help="Keep the video beside the run.",
)
@click.option(
    "--record-limit",
    type=Number(1, 1 << 20, whole=True),
    default=2000,
    show_default=True,
    metavar="MB",
    help="Most that --record may take.",
)
@click.option(
    "--page/--no-page",
    default=True,
    show_default=True,
    help="The page in the browser, or a view in this terminal.",
)
@page_options
@click.option(
    "--sound/--no-sound",
    default=True,
    show_default=True,
    help="Cues from this computer's loudspeaker.",
)
@click.option(
    "--volume",
    type=Number(0, 1),
    default=0.8,
    show_default=True,
    metavar="0..1",
    help="How loud those cues are: 0 is silent, 1 is the loudest.",
)
def watch(**options: object) -> int:
    """Watch a titration live and call the endpoint by sound.

    One camera must be named: --camera, --stream, --browser, --phone or --play. The page it
    opens shows the state, takes the masses and gives the result; nothing leaves this computer.
    """
    from huehold.cli.watching import watch_command

    return watch_command(**options)  # type: ignore[arg-type]
