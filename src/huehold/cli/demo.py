"""`huehold demo`: the main job on the shipped recording."""

from __future__ import annotations

from pathlib import Path

import click

_FOLDER = Path("huehold-demo")


@click.command()
@click.option(
    "--out",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=_FOLDER,
    show_default=True,
    metavar="DIR",
    help="Where the files go.",
)
@click.option(
    "--open/--no-open",
    "open_report",
    default=False,
    show_default=True,
    help="Open the report afterwards.",
)
@click.option("--quiet", is_flag=True, help="No progress on standard error.")
def demo(folder: Path, open_report: bool, quiet: bool) -> int:
    """Review the shipped recording and show what comes out.

    The recording is rendered by the virtual bench: an invented evening class titrates an
    invented antacid, with a phone on a stack of books. Writes the report, the picture of the
    trace, the table and the result file.
    """
    import tomllib

    from huehold.balance.masses import read_masses
    from huehold.cli.outputs import Outputs, show
    from huehold.cli.review import exit_code, run_review
    from huehold.masses import MassInputs
    from huehold.methods import load_method
    from huehold.run import Settings
    from huehold.shipped import shipped_file

    outputs = Outputs.into(folder)
    scenario = tomllib.loads(shipped_file("sample_media", "demo.toml").read_text("utf-8"))
    method = load_method(scenario["method"])
    readings = read_masses(shipped_file("sample_media", "demo.masses.csv"))
    run = run_review(
        shipped_file("sample_media", "demo.mp4"),
        method=method,
        settings=Settings(hold_s=scenario.get("hold_s")),
        masses=MassInputs.from_mapping(scenario["given"], method, readings),
        quiet=quiet,
    )
    show(run, outputs)
    if open_report:
        click.launch(str((folder / "report.html").resolve()))
    return exit_code(run)
