"""Questions in the terminal, step by step; without a terminal the options must say it all."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import date
from typing import TypeVar

import click

from huehold.errors import HueholdError, UsageError

__all__ = ["ask", "ask_several", "interactive", "today"]

T = TypeVar("T")


def interactive() -> bool:
    """Whether somebody sits at a terminal who could answer."""
    return sys.stdin is not None and sys.stdin.isatty()


def today() -> date:
    """Date of today where the user is."""
    return date.today()


def ask(
    given: str | None, flag: str, question: str, read: Callable[[str], T], *,
    default: str | None = None,
) -> T:  # fmt: skip
    """Read what an option gave, or ask until the answer can be read.

    Parameters
    ----------
    given : str or None
        What the option said.
    flag : str
        The option, for those who have no terminal.
    question : str
        What to ask, with the unit.
    read : callable
        Turns text into the value; raises a `HueholdError` that says what is wrong.
    default : str, optional
        Taken when just Enter is pressed, or there is no terminal.

    Raises
    ------
    UsageError
        If nothing was given, nobody can be asked and there is no default.
    HueholdError
        If what the option gave cannot be read.
    """
    if given is not None:
        return read(given)
    if not interactive():
        if default is None:
            raise UsageError(f"Give {flag}, or run this in a terminal to be asked step by step.")
        return read(default)
    while True:
        text = click.prompt(question, default=default, err=True, show_default=default is not None)
        try:
            return read(str(text))
        except HueholdError as error:
            click.echo(str(error), err=True)


def ask_several(question: str, read: Callable[[str], T], *, least: int = 1) -> tuple[T, ...]:
    """Ask again and again until just Enter is pressed; wrong answers are asked anew."""
    found: list[T] = []
    while True:
        text = str(click.prompt(f"{question} {len(found) + 1}", default="", err=True,
                                show_default=False)).strip()  # fmt: skip
        if not text and len(found) >= least:
            return tuple(found)
        try:
            if text:
                found.append(read(text))
        except HueholdError as error:
            click.echo(str(error), err=True)
