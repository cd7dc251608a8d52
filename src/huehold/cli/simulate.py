"""`huehold simulate`: render a made-up titration and write down its truth."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from huehold.cli.words import Number
from huehold.errors import UsageError

if TYPE_CHECKING:
    from huehold.virtual.presets import Scenario

__all__ = ["simulate"]


@click.command(
    epilog="Example: huehold simulate oblique --out oblique.mp4 --seed 7 --set camera.blur_px=1.5"
)
@click.argument("preset", default="demo")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Recording to write, e.g. run.mp4; truth and masses go beside it as "
    "run.truth.json and run.masses.csv.",
)
@click.option(
    "--seed",
    type=Number(0, whole=True),
    metavar="NUMBER",
    help="Another run of the same kind; the same number gives the same run.",
)
@click.option(
    "--set",
    "assignments",
    multiple=True,
    metavar="NAME=VALUE",
    help="Change a setting; may be given again and again. See --settings for the names.",
)
@click.option("--force", is_flag=True, help="Write over files that are there.")
@click.option("--list", "listing", is_flag=True, help="List the presets and stop.")
@click.option("--settings", is_flag=True, help="List the preset's settings and stop.")
@click.option("-q", "--quiet", is_flag=True, help="Show no progress.")
def simulate(
    preset: str,
    out: Path | None,
    seed: int | None,
    assignments: tuple[str, ...],
    force: bool,
    listing: bool,
    settings: bool,
    quiet: bool,
) -> None:
    """Render a titration that never happened, with chemistry, camera and all.

    PRESET is the name of a scenario (demo if not given). Writes a recording, the truth about
    it (onset, additions, pH, undissolved fraction, liquid colour, vessel, display,
    disturbances) and the masses as the person noted them.
    """
    if listing:
        _list_presets()
        return
    scenario = _scenario(preset, seed, assignments)
    if settings:
        _list_settings(scenario)
        return
    if out is None:
        raise UsageError("No file to write was given; add --out FILE, e.g. --out run.mp4.")
    _write(scenario, out, force=force, quiet=quiet)


def _list_presets() -> None:
    from huehold.virtual.presets import PRESETS

    width = max(map(len, PRESETS))
    for name, scenario in PRESETS.items():
        click.echo(f"{name:<{width}}  {scenario.about}")


def _scenario(preset: str, seed: int | None, assignments: tuple[str, ...]) -> Scenario:
    from huehold.virtual.presets import load_preset
    from huehold.virtual.presets_settings import with_settings

    scenario = with_settings(load_preset(preset), assignments)
    return scenario if seed is None else with_settings(scenario, [f"seed={seed}"])


def _list_settings(scenario: Scenario) -> None:
    from huehold.virtual.presets_settings import list_settings

    for name, value, about in list_settings(scenario):
        click.echo(f"{name}={value}" + (f"  ({about})" if about else ""))


def _write(scenario: Scenario, out: Path, *, force: bool, quiet: bool) -> None:
    from huehold.report.files import check_place
    from huehold.virtual.simulate import Simulated
    from huehold.virtual.simulate import simulate as write

    goal = Simulated(out, out.with_suffix(".truth.json"), out.with_suffix(".masses.csv"))
    files = (goal.recording, goal.truth, goal.masses)
    check_place(out)
    there = [path.name for path in files if path.exists()]
    if there and not force:
        raise UsageError(f"{there[0]} is there already; choose another name or add --force.")
    with _progress(scenario.name, quiet=quiet) as advance:
        write(scenario, out, progress=advance)
    for path in files:
        click.echo(str(path))


@contextmanager
def _progress(name: str, *, quiet: bool) -> Iterator[Callable[[int, int], None]]:
    """Show a bar on standard error; nothing when quiet or when that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    from huehold.report.terminal import laid_out

    console = Console(stderr=True)
    columns = ("{task.description}", BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    hidden = quiet or not laid_out(console)
    with Progress(*columns, console=console, transient=True, disable=hidden) as progress:
        task = progress.add_task(name, total=None)

        def advance(done: int, total: int) -> None:
            """Show how many of the frames are done."""
            progress.update(task, completed=done, total=total)

        yield advance
