"""`huehold calibrate`: dye, camera, dropper, balance, density, titrant; and what was measured."""

from __future__ import annotations

from typing import Any

import click

from huehold.calibration.guides import list_guides
from huehold.cli.asking import today
from huehold.cli.options import page_options
from huehold.cli.outputs import json_option, write_json
from huehold.cli.words import WordGroup
from huehold.errors import HueholdError

__all__ = ["calibrate"]


class _Guides(WordGroup):
    """Builds a calibration's command only when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of guides and of the other commands."""
        return [*list_guides(), *super().list_commands(ctx)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command; that of a guide is built now."""
        if cmd_name not in list_guides():
            return super().get_command(ctx, cmd_name)
        from huehold.cli.calibrate_guided import command_of

        return command_of(cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write guides and the other commands under headings of their own."""
        with formatter.section("What to calibrate"):
            formatter.write_dl([(kind, guide.what) for kind, guide in list_guides().items()])
        with formatter.section("What was calibrated, and the page"):
            formatter.write_dl([(n, c.get_short_help_str(70)) for n, c in self.commands.items()])


@click.group(cls=_Guides, context_settings={"help_option_names": ["-h", "--help"]})
def calibrate() -> None:
    """Measure what results rest on, with things a kitchen has, and keep it as small files.

    In a terminal each command asks step by step; every answer can be given as an option.
    Nothing is used by runs until `huehold calibrate use NAME` says so.
    """


@calibrate.command("list")
@click.option("--earlier", is_flag=True, help="Superseded versions as well.")
@json_option
def list_all(earlier: bool, json_to: str | None) -> None:
    """List the calibrations, yours and the shipped ones."""
    from huehold.calibration.store import Store
    from huehold.calibration.telling import entry_values

    rows, told = entry_values(Store(), today(), earlier=earlier)
    if json_to is not None:
        write_json(rows, json_to)
    if json_to != "-":
        width = max((len(row["name"]) for row in rows), default=0)
        for row in rows:
            click.echo(_line(row, width))
    for sentence in told:
        click.echo(f"Warning: {sentence}", err=True)


@calibrate.command("page")
@page_options
def page(port: int, open_browser: bool) -> None:
    """Go through the same steps on a page in the browser; Ctrl-C ends it.

    `huehold watch` has that page too, and there takes pictures from the run's camera.
    """
    from huehold.page.serve import PageServer

    server = PageServer(None, port=port)
    click.echo(f"The page: {server.address}", err=True)
    server.run(open_browser=open_browser)


@calibrate.command("show")
@click.argument("name", metavar="NAME|FILE")
@click.option("--file", "as_file", is_flag=True, help="The file itself, as TOML.")
def show(name: str, as_file: bool) -> None:
    """Show one calibration."""
    from huehold.calibration.files import to_toml
    from huehold.calibration.store import Store
    from huehold.calibration.telling import facts

    found = Store().get(name)
    if as_file:
        click.echo(to_toml(found), nl=False)
        return
    click.echo(f"{found.ref}: {found.summary()}")
    for label, text in facts(found):
        click.echo(f"  {label:<13}{text}")
    reminder = found.reminder(today())
    if reminder:
        click.echo(f"  reminder     {reminder}")


@calibrate.command("use")
@click.argument("name", metavar="NAME|FILE")
def use(name: str) -> None:
    """Have runs use a calibration from now on, in place of another of its kind."""
    from huehold.calibration.store import Store

    found = Store().use(name)
    click.echo(f"From now on runs use {found.ref}: {found.summary()}")
    reminder = found.reminder(today())
    if reminder:
        click.echo(f"Warning: {reminder}", err=True)


@calibrate.command("stop")
@click.argument("kind")
def stop(kind: str) -> None:
    """Have runs use no calibration of a KIND any more, such as dropper."""
    from huehold.calibration.store import Store

    Store().use_none(kind)
    click.echo(f"From now on runs use no calibration of the {kind}.")


@calibrate.command("remove")
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask.")
def remove(name: str, yes: bool) -> None:
    """Remove one of your calibrations, with its earlier versions unless NAME has one."""
    from huehold.calibration.store import Store

    store = Store()
    found = _described(store, name)
    if not yes:
        click.confirm(f"Remove {found}?", abort=True, err=True)
    for path in store.remove(name):
        click.echo(f"Removed {path}.")


def _described(store: Any, name: str) -> str:
    try:
        return f"{store.get(name).ref}"
    except HueholdError:
        return name  # a broken file may be removed too; an unknown name is told by `remove`


def _line(row: dict[str, Any], width: int) -> str:
    if not row["readable"]:
        return f"! {row['name']}: {row['fault']}"
    mark = "*" if row["used"] else " "
    age = "shipped" if row["shipped"] else row["date"]
    due = "  (due again)" if row["reminder"] else ""
    return f"{mark} {row['name']:<{width}}  {age:<10}  {row['summary']}{due}"
