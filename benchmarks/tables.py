"""What all benchmarks share: timing, the machine's name, Markdown tables."""

from __future__ import annotations

import os
import platform
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path


@dataclass(frozen=True)
class Spent:
    """Seconds on the clock, and processor seconds of all threads."""

    wall_s: float
    cpu_s: float


def spend(work: Callable[[], object]) -> Spent:
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    work()
    return Spent(time.perf_counter() - wall_s, time.process_time() - cpu_s)


def interleaved(ways: dict[str, Callable[[], object]], repeats: int) -> dict[str, Spent]:
    """Median of the repeats of each way; the ways take turns, so that load hits all alike."""
    spent: dict[str, list[Spent]] = {name: [] for name in ways}
    for _ in range(repeats):
        for name, work in ways.items():
            spent[name].append(spend(work))
    return {
        name: Spent(
            statistics.median(s.wall_s for s in all_of),
            statistics.median(s.cpu_s for s in all_of),
        )
        for name, all_of in spent.items()
    }


def machine() -> str:
    """Name the machine and what runs on it."""
    libraries = ", ".join(
        f"{name} {version(name)}" for name in ("av", "opencv-python-headless", "numpy")
    )
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return (
        f"{_processor()}, {os.cpu_count()} cores{load}; {platform.system()}, "
        f"Python {platform.python_version()}, {libraries}"
    )


def _processor() -> str:
    about = Path("/proc/cpuinfo")
    if about.exists():
        for line in about.read_text().splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


def table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """Lay out a Markdown table."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(str(cell) for cell in line) + " |" for line in lines)


def show(title: str, head: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    print(f"\n**{title}**\n\n{table(head, rows)}\n\n{machine()}", flush=True)
