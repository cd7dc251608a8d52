"""Listing what a well-filled notebook keeps: runs of a quarter of an hour, each with its result.

    python -m benchmarks.notebook [--runs 500]

The ratio is to reading every result, which a list needs not.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from benchmarks.tables import show
from huehold.methods import load_method
from huehold.notebook import Notebook

_POINTS = 15 * 60 * 12
_COLUMNS = ("time_s", "hue_deg", "chroma", "lightness", "turbidity", "trust")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--runs", type=int, default=500)
    count = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.sqlite3"
        with Notebook(path) as book:
            fill(book, count)
        size_mb = path.stat().st_size / 1e6
        with Notebook(path) as book:
            listed_ms = took_ms(lambda: book.runs())
            whole_ms = took_ms(lambda: [book.result(record.id) for record in book.runs()], 1)
    row = [f"{listed_ms / whole_ms:.3f}", f"{listed_ms:.0f}", f"{whole_ms:.0f}", f"{size_mb:.0f}"]
    show(f"A list of {count} runs", ["ratio", "ms, list", "ms, with results", "MB on disk"], [row])


def fill(book: Notebook, count: int) -> None:
    method = load_method("magnesium-hydroxide-by-vinegar").model_dump_json(by_alias=True)
    numbers = np.random.default_rng(1).uniform(0, 100, _POINTS).round(3).tolist()
    results = {"dose": {"text": "1180 mg per 15 mL"}}
    result = {"assay": {"results": results}, "trace": dict.fromkeys(_COLUMNS, numbers)}
    for number in range(count):
        source = {"name": "camera 0"}
        run = book.begin(method=method, settings={}, source=source, title=f"cup {number}")
        book.finish(run, {"kind": "endpoint", "onset_s": 600.0}, result)


def took_ms(call: Callable[[], object], times: int = 5) -> float:
    """Median of the time a call takes."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        spent.append(1e3 * (time.perf_counter() - start))
    return statistics.median(spent)


if __name__ == "__main__":
    main()
