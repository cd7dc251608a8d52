"""What the calibrations' commands share: their name, keeping the result, telling it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from huehold.cli.outputs import json_option, write_json

if TYPE_CHECKING:
    from huehold.calibration.model import Calibration

__all__ = ["keep", "keep_options"]

F = TypeVar("F", bound=Callable[..., Any])


def keep_options(command: F) -> F:
    """Give a command --name, --use, --dry-run and --json."""
    for option in (
        json_option,
        click.option("--dry-run", is_flag=True, help="Show the result and keep nothing."),
        click.option("--use", "use_it", is_flag=True, help="Have runs use it from now on."),
        click.option("--name", metavar="NAME", help="What to call it, such as kitchen."),
    ):
        command = option(command)
    return command


def keep(found: Calibration, *, use_it: bool, dry_run: bool, json_to: str | None) -> None:
    """Save a calibration, tell what was found, and how to use it."""
    from huehold.calibration.store import Store

    store = Store()
    if not dry_run:
        found = store.save(found)
    if json_to is not None:
        write_json(found.model_dump(mode="json", by_alias=True), json_to)
    if json_to != "-":
        click.echo(f"{found.kind} {found.name}: {found.summary()}")
    if dry_run:
        click.echo("Nothing was kept.", err=True)
        return
    click.echo(f"Kept as {found.ref} in {store.folder}.", err=True)
    if use_it:
        store.use(f"{found.kind}/{found.name}")
        click.echo("Runs use it from now on.", err=True)
    else:
        click.echo(f"Have runs use it: huehold calibrate use {found.kind}/{found.name}", err=True)
