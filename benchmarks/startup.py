"""Start-up: how long a person waits before a command does anything.

    python -m benchmarks.startup [--repeats 5]

Each command runs in a fresh interpreter; the ratio is to an interpreter that does nothing.
The least of the repeats is shown: it is what the command costs when nothing else runs.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time

from benchmarks.tables import show

_COMMANDS = {
    "python -c pass": ["-c", "pass"],
    "huehold --help": ["-m", "huehold", "--help"],
    "huehold review --help": ["-m", "huehold", "review", "--help"],
    "huehold compute": [
        "-m", "huehold", "compute", "--sample-mass", "0.65", "--titrant-mass", "2.04",
    ],
    "import huehold": ["-c", "import huehold"],
    "import huehold.session": ["-c", "import huehold.session"],
}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--repeats", type=int, default=5)
    repeats = parser.parse_args().repeats
    least = {name: float("inf") for name in _COMMANDS}
    for _ in range(repeats):
        for name, arguments in _COMMANDS.items():
            least[name] = min(least[name], _once(arguments))
    base = least["python -c pass"]
    rows = [[f"{s / base:.1f}", name, f"{s:.2f}"] for name, s in least.items()]
    show("Start-up", ["ratio", "command", "s"], rows)


def _once(arguments: list[str]) -> float:
    start = time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, check=False)
    took = time.perf_counter() - start
    if done.returncode:
        raise SystemExit(f"{arguments}: {done.stderr.decode()}")
    return took


if __name__ == "__main__":
    main()
