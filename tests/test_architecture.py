"""The house stays as it is drawn: imports flow one way."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def test_imports_flow_one_way():
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    assert "0 broken" in done.stdout


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
