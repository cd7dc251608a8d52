"""Every option of every command explains itself."""

import click
import pytest

from huehold.cli import cli
from tests.cli.calling import outcome


def _walk(group, context):
    """Every command below a group, as the words that call it and its context."""
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        below = click.Context(command, parent=context, info_name=name, **command.context_settings)
        yield below
        if isinstance(command, click.Group):
            yield from _walk(command, below)


@pytest.fixture(scope="module")
def contexts():
    return list(_walk(cli, click.Context(cli, info_name="huehold", **cli.context_settings)))


@pytest.fixture(scope="module")
def options(contexts):
    return [
        (f"{context.command_path} {option.opts[-1]}", option, context)
        for context in contexts
        for option in context.command.params
        if isinstance(option, click.Option)
    ]


def test_the_walk_finds_the_commands(contexts, options):
    paths = {context.command_path for context in contexts}
    assert {"huehold watch", "huehold calibrate dropper", "huehold runs export"} <= paths
    assert len(options) > 150


def test_every_command_has_help_and_both_ways_to_it(contexts):
    wrong = [
        context.command_path
        for context in contexts
        if not context.command.help or set(context.help_option_names) != {"-h", "--help"}
    ]
    assert wrong == []


def test_every_option_says_what_it_is_in_a_sentence(options):
    wrong = [(path, option.help) for path, option, _ in options if not _is_told(option.help or "")]
    assert wrong == []


def _is_told(text):
    begins = text[:1].isupper() or text.startswith(("pH", "...", "auto:"))
    return begins and text.endswith(".")


def test_every_value_has_a_name_that_says_its_unit(options):
    bare = [
        path
        for path, option, _ in options
        if not option.is_flag and not option.metavar and not isinstance(option.type, click.Choice)
    ]
    assert bare == []


def test_every_default_is_shown(options):
    hidden = [
        path for path, option, _ in options if _has_default(option) and not option.show_default
    ]
    assert hidden == []


def _has_default(option):
    default = option.to_info_dict()["default"]
    two_ways = bool(option.secondary_opts) and default is not None
    return two_ways or default not in (None, "", (), False)


_DEMO = ("--titrant-mass", "15", "--sample-mass", "5")


@pytest.mark.parametrize(
    "words",
    [
        ("card", "--out", "{}.pdf"),
        ("simulate", "--out", "{}.mp4"),
        ("plan", "--plot", "{}.png"),
        ("plan", "--json", "{}.json"),
        ("compute", *_DEMO, "--json", "{}.json"),
        ("calibrate", "list", "--json", "{}.json"),
        ("calibrate", "dropper", "--weighings", "20:1", "--dry-run", "--json", "{}.json"),
        ("doctor", "--no-camera", "--json", "{}.json"),
        ("runs", "list", "--json", "{}.json"),
        ("runs", "backup", "{}.sqlite3"),
        *(("review", "none.mp4", f"--{to}") for to in ("json", "csv")),
        ("review", "none.mp4", "--plot", "{}.png"),
        ("review", "none.mp4", "--report", "{}.html"),
        ("review", "none.mp4", "--show-vision", "{}.mp4"),
    ],
    ids=" ".join,
)
def test_a_missing_folder_is_told_alike_by_every_command(capsys, tmp_path, words):
    place = tmp_path / "no such folder" / "x"
    given = [word.format(place) for word in words]
    code, _, err = outcome(capsys, *given, *([str(place)] if words[-1].startswith("--") else []))
    assert code == 3
    assert "no such folder does not exist" in err


@pytest.mark.parametrize(
    "words",
    [
        ("card", "--out", "card.txt"),
        ("plan", "--plot", "plan.pdf"),
        ("review", "none.mp4", "--plot", "trace.jpg"),
        ("review", "none.mp4", "--csv", "x", "--json", "x"),
    ],
    ids=" ".join,
)
def test_a_name_of_the_wrong_kind_is_wrong_usage(capsys, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    assert outcome(capsys, *words)[0] == 2
    assert list(tmp_path.iterdir()) == []
