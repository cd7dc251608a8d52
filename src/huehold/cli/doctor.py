"""`huehold doctor`: what works on this machine, one line each with what to do."""

from __future__ import annotations

import click

from huehold.cli.asking import today
from huehold.cli.outputs import json_option, write_json

__all__ = ["doctor"]


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--camera/--no-camera", default=True, show_default=True,
              help="Open the cameras for a moment; their light goes on.")  # fmt: skip
@json_option
def doctor(camera: bool, json_to: str | None) -> None:
    """Say what works on this machine, what does not, and what to do about it.

    Each line begins with ok, note (usable, with something less) or problem.
    """
    from huehold.doctor import examination

    findings = []
    for finding in examination.examine(today(), camera=camera):
        findings.append(finding)
        if json_to != "-":
            click.echo(finding.line())
    if json_to is not None:
        write_json(examination.as_json(findings), json_to)
