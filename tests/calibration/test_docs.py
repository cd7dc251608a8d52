"""The page on calibration: its examples run, its file and its tables are true."""

import doctest
import re
import shlex
from pathlib import Path

import click
import pytest

from huehold.calibration.files import read_calibration
from huehold.calibration.guides import list_guides
from huehold.calibration.store import Store
from huehold.cli.calibrate import calibrate
from huehold.errors import InputError

PAGE = Path(__file__).parents[2] / "docs" / "calibration.md"
TEXT = PAGE.read_text("utf-8")


def test_examples_run(tmp_path, monkeypatch):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path))
    failures, tried = doctest.testfile(str(PAGE), module_relative=False)
    assert tried > 8
    assert failures == 0


def test_the_file_on_the_page_is_read_and_its_slip_is_told(tmp_path):
    block = re.search(r"```toml\n(.*?)```", TEXT, re.DOTALL).group(1)
    path = tmp_path / "dropper.kitchen.toml"
    path.write_text(block)
    assert Store(tmp_path).get("kitchen@2").drop_mass.value == 0.048
    path.write_text(block.replace("weighings = 3", "weighing = 3"))
    with pytest.raises(InputError) as told:
        read_calibration(path)
    assert str(told.value) in TEXT.replace("\n    ", "")


def test_every_command_on_the_page_is_one():
    lines = re.sub(r"\\\n\s+", "", TEXT)
    commands = re.findall(r"^huehold calibrate (.*)$", lines, re.MULTILINE)
    assert len(commands) >= 5
    for command in commands:
        name, *arguments = shlex.split(command)
        part = calibrate.get_command(click.Context(calibrate), name)
        assert part is not None, name
        known = {option for p in part.params for option in p.opts}
        assert {a for a in arguments if a.startswith("--")} <= known


def test_the_table_names_all_of_them():
    table = re.findall(r"^\| `(\w+)` \|", TEXT, re.MULTILINE)
    assert sorted(table) == sorted(list_guides())
