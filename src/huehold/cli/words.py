"""What is typed on the command line, read kindly: command names, numbers, and mistakes in them."""

from __future__ import annotations

import difflib
from typing import Any

import click

__all__ = ["Number", "WordGroup", "mistake"]


class WordGroup(click.Group):
    """A group that answers a command it does not have with the nearest one, or with all."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; a name that does not exist is answered with the nearest one."""
        known = self.list_commands(ctx)
        if args[0] not in known and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], known, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(known)}."
            ctx.fail(f"There is no command {args[0]!r}; {hint}")
        return super().resolve_command(ctx, args)


class Number(click.ParamType):  # type: ignore[type-arg]
    """A number between limits, with a decimal point or comma.

    Parameters
    ----------
    low, high : float, optional
        Limits, inclusive.
    whole : bool
        Whether it must be a whole number.
    """

    name = "number"

    def __init__(
        self, low: float | None = None, high: float | None = None, *, whole: bool = False
    ) -> None:
        self._low = low
        self._high = high
        self._whole = whole

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float | int:
        """Read the number, or say which would do."""
        text = str(value).strip()
        try:
            number = int(text) if self._whole else float(text.replace(",", "."))
        except ValueError:
            self.fail(f"{text!r} is not {self._wanted()}.", param, ctx)
        if not self._inside(number):
            self.fail(f"{text} is not {self._wanted()}.", param, ctx)
        return number

    def _inside(self, number: float) -> bool:
        low = -float("inf") if self._low is None else self._low
        high = float("inf") if self._high is None else self._high
        return low <= number <= high and abs(number) < float("inf")

    def _wanted(self) -> str:
        kind = "a whole number" if self._whole else "a number"
        if self._low is None or self._high is None:
            return kind if self._low is None else f"{kind} of {self._low:g} or more"
        return f"{kind} from {self._low:g} to {self._high:.10g}"


def mistake(error: click.UsageError) -> str:
    """Tell what was typed wrongly, and where the right way is written.

    Parameters
    ----------
    error : click.UsageError
        As click found it.
    """
    told = error.format_message().strip()
    if not told.endswith((".", "?", ")")):
        told += "."
    if error.ctx is None:
        return told
    eaten = error.ctx.params.get("json_to")
    if isinstance(error, click.MissingParameter) and eaten not in (None, "-"):
        told += f" (--json took {eaten!r} as its file; write --json last, or --json=-.)"
    return f"{told}\nTry '{error.ctx.command_path} --help'."
