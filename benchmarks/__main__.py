"""List the benchmarks, or run those that make up the page on speed.

python -m benchmarks            list
python -m benchmarks speed      all of docs/speed.md, in its order
python -m benchmarks NAME ...   one, with its own options
"""

from __future__ import annotations

import ast
import runpy
import subprocess
import sys
from pathlib import Path

_HELPERS = (
    "__init__", "__main__", "assays", "clips", "judging", "tables", "fuzz_bases", "fuzz_mutate",
    "fuzz_options", "fuzz_worker",
)  # fmt: skip
_SPEED = (
    ["review"],
    ["review", "--minutes", "15"],
    ["review", "--coding", "1080p-hevc", "--minutes", "3"],
    ["review", "--coding", "4k", "--minutes", "3"],
    ["stages"],
    ["live"],
    ["startup"],
    ["memory"],
    ["memory", "--minutes", "1", "15", "120", "--coding", "360p", "--passes", "full"],
)


def main() -> None:
    if len(sys.argv) < 2:
        _list()
    elif sys.argv[1] == "speed":
        for arguments in _SPEED:
            print(f"\n`python -m benchmarks.{' '.join(arguments)}`", flush=True)
            command = [sys.executable, "-m", f"benchmarks.{arguments[0]}", *arguments[1:]]
            subprocess.run(command, check=True)
    else:
        sys.argv = sys.argv[1:]
        runpy.run_module(f"benchmarks.{sys.argv[0]}", run_name="__main__", alter_sys=True)


def _list() -> None:
    for path in sorted(Path(__file__).parent.glob("*.py")):
        if path.stem not in _HELPERS:
            about = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
            print(f"{path.stem:12s} {about.partition(chr(10))[0]}")


if __name__ == "__main__":
    main()
