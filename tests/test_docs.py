"""What the documents show is run: code, commands and links."""

import re
import shutil
from pathlib import Path

import pytest

from huehold.cli import COMMANDS, run

ROOT = Path(__file__).resolve().parents[1]
DOCUMENTS = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md")])


def test_the_python_page_runs_as_written(rendered, tmp_path, monkeypatch):
    paths = rendered("clean")
    shutil.copy(paths.recording, tmp_path / "titration.mp4")
    shutil.copy(paths.masses, tmp_path / "titration.masses.csv")
    monkeypatch.chdir(tmp_path)
    page = (ROOT / "docs" / "python.md").read_text("utf-8")
    names: dict[str, object] = {}
    for block in re.findall(r"```python\n(.*?)```", page, re.DOTALL):
        exec(block, names)
    assert names["run"].verdict.kind == "endpoint"
    assert (tmp_path / "report.html").exists()


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_links_and_pictures_lead_somewhere(document):
    text = document.read_text("utf-8")
    for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert (document.parent / target).exists(), f"{document.name} points to {target}"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself(command, capsys):
    assert run([command, "--help"]) == 0
    shown = capsys.readouterr().out
    assert "Usage:" in shown
    assert len(shown.splitlines()) > 5


def test_commands_in_the_readme_exist():
    text = (ROOT / "README.md").read_text("utf-8")
    named = set(re.findall(r"^huehold (\w+)", text, re.MULTILINE))
    assert named
    assert named <= set(COMMANDS)
