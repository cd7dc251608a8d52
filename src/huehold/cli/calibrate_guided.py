"""`huehold calibrate WHAT` in the terminal: the guides' steps as options and questions."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from huehold.calibration.guide_reading import choices_of
from huehold.calibration.guides import Answers, Field, Guide, Step, guide_of
from huehold.cli.asking import ask, ask_several, interactive, today
from huehold.cli.keeping import keep, keep_options
from huehold.errors import InputError, UsageError

__all__ = ["command_of"]

Given = dict[str, Any]
_LONG = 6  # a list longer than this is shown by an option, not in the question


def command_of(kind: str) -> click.Command:
    """Build the command of a guide."""
    guide = guide_of(kind)

    @keep_options
    def run(
        name: str | None, use_it: bool, dry_run: bool, json_to: str | None, **options: Any
    ) -> None:
        """Make the calibration from what was given and asked, and keep it."""
        if _told_list(guide, options):
            return
        from huehold.calibration.guided import make

        made = make(kind, _answered(guide, options), name=name or "", made=today())
        for line in made.seen:
            click.echo(line, err=True)
        for line in made.doubts:
            click.echo(f"Note: {line}", err=True)
        keep(made.calibration, use_it=use_it, dry_run=dry_run, json_to=json_to)

    command = click.command(
        kind, help=_help(guide), epilog=f"Example: {guide.example}",
        context_settings={"help_option_names": ["-h", "--help"]},
    )(run)  # fmt: skip
    command.params = [*_parameters(guide), *command.params]
    return command


def _help(guide: Guide) -> str:
    words = [line for step in guide.steps if step.shown for line in step.words]
    return "\n\n".join([guide.what, guide.needs, *words])


def _parameters(guide: Guide) -> list[click.Parameter]:
    found: list[click.Parameter] = []
    for step in guide.steps:
        if step.argument:
            found.append(click.Argument([step.key], nargs=-1, metavar=f"[{step.metavar} ...]"))
        elif step.rows:
            found.append(
                click.Option([_flag(step.key)], multiple=step.several, metavar=step.metavar,
                             help=f"{step.title}.")
            )  # fmt: skip
        else:
            found += [_parameter(field) for field in step.fields]
    lists = {f.choices for step in guide.steps for f in step.fields if f.choices in _LISTED}
    found += [
        click.Option([f"--list-{name}"], is_flag=True, help=f"List the {name} and stop.")
        for name in sorted(lists)
    ]
    return found


_LISTED = ("coins", "references")


def _parameter(field: Field) -> click.Parameter:
    if field.argument:
        return click.Argument([field.key], required=False, metavar=field.key.upper())
    told = field.label + (f" [{field.default}]" if field.default else "")
    if field.choices == "lights":
        told += f": {', '.join(key for key, _ in choices_of(field.choices))}"
    metavar = (field.unit or "TEXT").upper()
    return click.Option([_flag(field.key)], metavar=metavar, default=None, help=f"{told}.")


def _flag(key: str) -> str:
    return f"--{key.replace('_', '-')}"


def _told_list(guide: Guide, options: Given) -> bool:
    for name in _LISTED:
        if options.pop(f"list_{name}", False):
            for key, text in choices_of(name):
                click.echo(f"{key:<26} {text}")
            return True
    return False


def _answered(guide: Guide, options: Given) -> Given:
    """Answers from the options, and for the rest from whoever sits at the terminal."""
    answers: Given = {}
    for step in guide.steps:
        for key in [step.key] if step.rows else [field.key for field in step.fields]:
            if options[key]:
                answers[key] = _from_option(step, options[key]) if step.rows else options[key]
    read = Answers(guide, answers)
    read.check_given()
    for step in guide.steps:
        _check_pictures(step, answers.get(step.key, []) if step.rows else [])
        if not (step.unless and read.has(step.unless)):
            _ask_rows(step, answers) if step.rows else _ask_fields(guide, step, answers)
    return answers


def _from_option(step: Step, given: str | tuple[str, ...]) -> list[dict[str, str]]:
    if isinstance(given, tuple):
        return [step.row_of(text) for text in given]
    return step.rows_of(given)


def _check_pictures(step: Step, rows: list[dict[str, str]]) -> None:
    for key in [field.key for field in step.fields if field.kind == "picture"]:
        for row in rows:
            if not Path(row[key]).is_file():
                raise InputError(
                    f"There is no picture or clip {row[key]}: check the name and the folder."
                )


def _ask_fields(guide: Guide, step: Step, answers: Given) -> None:
    if interactive() and any(field.asked and not answers.get(field.key) for field in step.fields):
        click.echo(" ".join(step.words), err=True)
    for field in step.fields:
        if not field.asked or answers.get(field.key):
            continue
        offered = choices_of(field.choices, _method(guide, answers)) if field.choices else ()
        default = field.default or (offered[0][0] if len(offered) == 1 else None)
        question = field.label + (f" ({field.unit})" if field.unit else "")
        if 1 < len(offered) <= _LONG:
            question += f" ({', '.join(key for key, _ in offered)})"
        flag = field.key.upper() if field.argument else _flag(field.key)

        def read(text: str, field: Field = field) -> str:
            """Check an answer and return it as typed."""
            field.read(text, Answers(guide, answers))
            return text

        answers[field.key] = ask(None, flag, question, read, default=default)


def _method(guide: Guide, answers: Given) -> str:
    known = Answers(guide, answers)
    return str(known["method"].name) if "method" in _keys(guide) else ""


def _keys(guide: Guide) -> set[str]:
    return {field.key for step in guide.steps for field in step.fields}


def _ask_rows(step: Step, answers: Given) -> None:
    if answers.get(step.key) or not step.asked:
        return
    if not interactive():
        if step.least:
            flag = f"{step.metavar} ..." if step.argument else _flag(step.key)
            other = f" or {_flag(step.unless)}" if step.unless else ""
            raise UsageError(f"Give {flag}{other}, or run this in a terminal to be asked.")
        return
    click.echo(" ".join(step.words), err=True)
    read = _rows_reader(step)
    lines = ask_several(f"{step.line}, Enter ends", read, least=min(step.least, 1))
    answers[step.key] = [row for rows in lines for row in rows]


def _rows_reader(step: Step) -> Callable[[str], list[dict[str, str]]]:
    def read(line: str) -> list[dict[str, str]]:
        """Return the rows of a line, each of their fields checked."""
        rows = [step.row_of(line)] if step.several or step.argument else step.rows_of(line)
        for field in step.fields:
            for row in rows:
                field.read(row[field.key])
        _check_pictures(step, rows)
        return rows

    return read
