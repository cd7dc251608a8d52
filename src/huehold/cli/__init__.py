"""The command line, thin: each command lives in a module of its own, loaded when called."""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from collections.abc import Sequence

import click

from huehold import __version__
from huehold.cli.words import WordGroup, mistake
from huehold.errors import HueholdError

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("huehold.cli.demo:demo", "Review the shipped recording and show what comes out."),
    "review": ("huehold.cli.review:review", "Find the endpoint in a recording of a titration."),
    "watch": ("huehold.cli.watch:watch", "Watch a titration live, call the endpoint by sound."),
    "compute": ("huehold.cli.compute:compute", "Turn masses into a result, without a camera."),
    "plan": ("huehold.cli.plan:plan", "How much to take, what to expect, where to slow down."),
    "card": ("huehold.cli.card:card", "The bench card to print; it lies under the cup."),
    "calibrate": ("huehold.cli.calibrate:calibrate", "Measure the dye, drop, balance, camera."),
    "runs": ("huehold.cli.runs:runs", "Runs kept in the notebook: list, show, compare, export."),
    "simulate": ("huehold.cli.simulate:simulate", "Render a made-up titration with its truth."),
    "doctor": ("huehold.cli.doctor:doctor", "What works on this machine, and what to do."),
}
"""Name of a command -> where it lives, and the line `huehold --help` shows."""


class LazyGroup(WordGroup):
    """A group that imports a command only when it is asked for, so `--help` stays quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the command names in the order people meet them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, or None if there is no such name."""
        if cmd_name not in COMMANDS:
            return None
        module, attribute = COMMANDS[cmd_name][0].split(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="huehold")
def cli() -> None:
    """Watch the hue of a kitchen titration, call the endpoint that holds, compute the result.

    Start with `huehold demo`. Results go to standard output or to files, progress and
    messages to standard error.

    Exit codes: 0 the work was done, whatever the verdict; 2 wrong usage; 3 an input cannot be
    read or makes no sense, or an output cannot be written; 4 the camera was lost; 130
    interrupted, what there was is saved.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with an exit code of the list.

    Parameters
    ----------
    arguments : sequence of str, optional
        In place of the process's own.
    """
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code.

    0 the work was done, 2 wrong usage, 3 an input cannot be read, 4 the camera was lost,
    130 interrupted after saving.
    """
    os.environ.setdefault("OPENCV_LOG_LEVEL", "ERROR")  # what it warns of is told in a sentence
    for stream in (sys.stdout, sys.stderr):
        # A console of another encoding must not break on a degree sign.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    try:
        outcome = cli.main(args=arguments, prog_name="huehold", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
    except HueholdError as error:
        return _complain(str(error), error.exit_code)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return 2
    except click.UsageError as error:
        return _complain(mistake(error), 2)
    except click.ClickException as error:
        return _complain(error.format_message(), error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        return _complain("Interrupted.", 130)
    except (BrokenPipeError, SystemExit):  # click leaves like this when its reader has gone
        return _without_reader(0)
    except OSError as error:
        place = f" ({error.filename})" if error.filename else ""
        return _without_reader(_complain(f"This cannot be written: {error.strerror}{place}.", 3))
    return outcome if isinstance(outcome, int) else 0


def _without_reader(exit_code: int) -> int:
    """Let go of an output that takes nothing any more, or Python would complain when it ends."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return exit_code


def _complain(message: str, exit_code: int) -> int:
    from huehold.report.words import sentence

    first, _, hint = message.partition("\n")
    click.echo(f"huehold: {sentence(first)}" + (f"\n{hint}" if hint else ""), err=True)
    return exit_code
