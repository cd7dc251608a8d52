"""Start-up: how long a person waits before a command does anything.

    python -m benchmarks.startup [--repeats 5]

Each command runs in a fresh interpreter; the ratio is to an interpreter that does nothing.
The least of the repeats is shown: it is what the command costs when nothing else runs. On a
busy machine processor time says more than time on the clock.
"""

from __future__ import annotations

import argparse
import resource
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
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in _COMMANDS}
    for _ in range(repeats):
        for name, arguments in _COMMANDS.items():
            taken[name].append(_once(arguments))
    least = {name: tuple(map(min, zip(*both, strict=True))) for name, both in taken.items()}
    base_s = least["python -c pass"][1]
    rows = [
        [f"{cpu_s / base_s:.1f}", name, f"{cpu_s:.2f}", f"{wall_s:.2f}"]
        for name, (wall_s, cpu_s) in least.items()
    ]
    show("Start-up", ["ratio, processor", "command", "processor s", "s"], rows)


def _once(arguments: list[str]) -> tuple[float, float]:
    """Seconds on the clock and of processor time for one command."""
    start, before = time.perf_counter(), _children_s()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, check=False)
    took = time.perf_counter() - start, _children_s() - before
    if done.returncode:
        raise SystemExit(f"{arguments}: {done.stderr.decode()}")
    return took


def _children_s() -> float:
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


if __name__ == "__main__":
    main()
