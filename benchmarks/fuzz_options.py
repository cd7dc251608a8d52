"""What clumsy fingers type: options of the real commands, with values that make no sense.

The options are those the commands themselves declare, so a new one is tried without being
named here.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click

from huehold.cli import cli
from huehold.virtual.presets import load_preset
from huehold.virtual.presets_settings import list_settings

COMMANDS: tuple[tuple[str, ...], ...] = (
    ("compute",),
    ("plan",),
    ("review",),
    ("card",),
    ("doctor",),
    ("simulate",),
    ("runs", "list"),
    ("runs", "show"),
    ("runs", "compare"),
    ("calibrate", "dropper"),
    ("calibrate", "balance"),
    ("calibrate", "density"),
    ("calibrate", "titrant"),
    ("calibrate", "indicator"),
    ("calibrate", "turbidity"),
    ("calibrate", "camera"),
    ("calibrate", "show"),
    ("calibrate", "use"),
)
_SENSE: Mapping[str, str] = {
    "compute": "--sample-mass|5.22|--titrant-mass|16.56|--last-drop|0.05|--acidity|5.0 %",
    "plan": "--claim|1200 mg/15 mL|--acidity|5.0 %",
    "dropper": "--weighings|20:0.95,20:0.97",
    "balance": "--repeat|5.01,5.00,5.01|--check|us-5-cents=5.01",
    "density": "--mass|10.44|--volume|10.0|--graduation|0.5",
    "titrant": "--standard|baking soda|--standard-mass|1.05|--titrant-mass|15.05",
}
"""What makes sense, before something that does not is put in its place."""
_SHORT = ("--set", "operator.longest_s=2", "--set", "sight.width_px=160", "--set",
          "sight.height_px=120")  # fmt: skip
_LEFT_OUT = {"--help", "--open", "--camera", "--list-references", "--show-vision"}
_SOUND = ("5.22", "16.56 g", "0.05 g", "5.0 %", "1.044", "1200 mg/15 mL", "90-115 %", "15 mL",
          "0.1 mol/L", "20:0.97", "3", "US", "baking soda", "6.8 +/- 0.2",
          "2026-11-01")  # fmt: skip
_ODD = ("", " ", "0", "-1", "nan", "inf", "-inf", "1e308", "1e-308", "1e999", "5,22", "1.000,5",
        "1,234", "５", "٣", "🍋", "5 quid", "5 %%", "± 3", "+/-", "5 +/- -1", "--", "-", "/", ".",
        "..", "None", "true", "[1]", "{}", "a" * 400, "9" * 400, "0x10", "1_0", "5 g 5 g", "g",
        "mg/15 mL", "1200 mg/", "1200 mg/0 mL", "115-90 %", "\t5", "5\n6", "%", "100:0",
        "0:1", "1:1e9", "9999-99-99", "$(x)", "%s", "\x1b[31m")  # fmt: skip


def option_cases(count: int, seed: int, folder: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield a name and a job for the worker for each try.

    Parameters
    ----------
    count, seed : int
        How many; a try follows from its number and the seed alone.
    folder : Path
        Where files named by options go; it must hold ``clip.mp4``.
    """
    for number in range(count):
        rng = random.Random(f"options {seed} {number}")
        names = COMMANDS[number % len(COMMANDS)]
        words = [word.replace("\0", "") for word in _words(_command(names), rng, folder)]
        yield "-".join(("options", str(seed), str(number))), {"arguments": [*names, *words]}


def _command(names: tuple[str, ...]) -> click.Command:
    command: click.Command = cli
    for name in names:
        assert isinstance(command, click.Group)
        found = command.get_command(click.Context(command), name)
        assert found is not None, name
        command = found
    return command


def _words(command: click.Command, rng: random.Random, folder: Path) -> list[str]:
    options = [p for p in command.params if isinstance(p, click.Option)]
    options = [p for p in options if not _LEFT_OUT & {*p.opts, *p.secondary_opts}]
    words = _settings(rng) if command.name == "simulate" else []
    if rng.random() < 0.8:
        words += [word for word in _SENSE.get(command.name or "", "").split("|") if word]
    for option in rng.sample(options, min(len(options), rng.choice((0, 1, 1, 1, 2, 2, 3, 6)))):
        words += _option(option, rng, folder)
    for argument in command.params:
        if isinstance(argument, click.Argument) and rng.random() < 0.95:
            words.append(_value(argument, rng, folder))
    return [*words, *_bounds(command, folder)]


def _settings(rng: random.Random) -> list[str]:
    """Return settings of a scenario with odd values."""
    names = [name for name, _, _ in list_settings(load_preset("demo"))]
    chosen = rng.sample(names, rng.randint(0, 3))
    return [word for name in chosen for word in ("--set", f"{name}={rng.choice(_ODD + _SOUND)}")]


def _option(option: click.Option, rng: random.Random, folder: Path) -> list[str]:
    flag = rng.choice((*option.opts, *option.secondary_opts))
    if option.is_flag or (option.flag_value is not None and rng.random() < 0.5):
        return [flag]
    return [flag, _value(option, rng, folder)]


def _value(parameter: click.Parameter, rng: random.Random, folder: Path) -> str:
    names_file = isinstance(parameter.type, click.Path) or parameter.metavar in ("FILE", "DIR")
    if names_file or parameter.name in ("pictures", "photo"):
        places = ("clip.mp4", "nothing.mp4", "text.csv", "out.png", "out.json", "no/such/out.html")
        return str(folder / rng.choice(places)) if rng.random() < 0.9 else rng.choice(_ODD[9:])
    if isinstance(parameter.type, click.Choice) and rng.random() < 0.7:
        return str(rng.choice(list(parameter.type.choices)))
    return rng.choice(_SOUND if rng.random() < 0.5 else _ODD)


def _bounds(command: click.Command, folder: Path) -> list[str]:
    """Keep a try short and inside the folder; a later option goes before an earlier one."""
    bounds: Mapping[str, list[str]] = {
        "simulate": [*_SHORT, "--force", "--quiet", "--out", str(folder / "made.mp4")],
        "card": ["--out", str(folder / "card.pdf")],
    }
    return bounds.get(command.name or "", [])
