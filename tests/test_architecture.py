"""The house stays as it is drawn: imports flow one way, and what is public says what it is."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def test_imports_flow_one_way():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    assert "0 broken" in done.stdout


def undocumented(source: str) -> Iterator[str]:
    """Modules, classes and functions, methods and inner ones too, without a docstring."""
    kinds = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
    for node in ast.walk(ast.parse(source)):
        name = getattr(node, "name", "the module")
        if isinstance(node, kinds) and not name.startswith("_") and not ast.get_docstring(node):
            yield f"{name}, line {getattr(node, 'lineno', 1)}"


@pytest.mark.parametrize(
    "path",
    sorted((ROOT / "src" / "huehold").rglob("*.py")),
    ids=lambda p: f"{p.parent.name}/{p.name}",
)
def test_all_that_is_public_has_a_docstring(path):
    assert list(undocumented(path.read_text("utf-8"))) == []


def test_what_lacks_a_docstring_is_found():
    source = '"""M."""\nclass _A:\n    def b(self):\n        return 1\ndef _c():\n    pass\n'
    assert list(undocumented(source)) == ["b, line 3"]


def test_the_wheel_carries_what_the_program_needs():
    stated = (ROOT / "pyproject.toml").read_text("utf-8")
    for path in [*(ROOT / "calibration").glob("*.toml"), ROOT / "sample_media" / "demo.mp4"]:
        name = path.relative_to(ROOT).as_posix()
        assert f'"{name}" = "huehold/{name}"' in stated


def test_help_is_quick_to_load_and_imports_nothing_heavy():
    code = (
        "import sys; from huehold.cli import run; run(['--help']); "
        "heavy = {'cv2', 'scipy', 'matplotlib', 'av', 'colour', 'pint', 'numpy', 'skimage'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout.strip().endswith("[]")
    assert "Start with `huehold demo`" in done.stdout
