"""`huehold doctor`: what works on this machine, one line each with what to do."""

from __future__ import annotations

import json

import click

from huehold.cli.asking import today

__all__ = ["doctor"]


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--camera/--no-camera", default=True, show_default=True,
              help="Open the cameras for a moment; their light goes on.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="As JSON on standard output.")
def doctor(camera: bool, as_json: bool) -> None:
    """Say what works on this machine, what does not, and what to do about it.

    Each line begins with ok, note (usable, with something less) or problem.
    """
    from huehold.doctor import examination

    findings = []
    for finding in examination.examine(today(), camera=camera):
        findings.append(finding)
        if not as_json:
            click.echo(finding.line())
    if as_json:
        data = examination.as_json(findings)
        click.echo(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))
