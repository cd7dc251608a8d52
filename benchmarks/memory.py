"""Peak memory of a review by the length of the recording.

    python -m benchmarks.memory [--minutes 1 15] [--coding 1080p] [--passes auto full]
    python -m benchmarks.memory --minutes 1 15 120 --coding 360p --passes full

Each review runs in a fresh interpreter; the ratio is to the first length.
"""

from __future__ import annotations

import argparse
import subprocess
import sys

from benchmarks.clips import CODINGS, long_clip
from benchmarks.tables import show

_SCRIPT = """
import resource, sys
from huehold.run import Settings
from huehold.session import review
run = review(sys.argv[1], settings=Settings(hold_s=30.0), passes=sys.argv[2])
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(peak / (2**20 if sys.platform == "darwin" else 2**10), run.frames_used, run.verdict.kind)
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--minutes", nargs="+", type=float, default=[1.0, 15.0])
    parser.add_argument("--coding", choices=CODINGS, default="1080p")
    parser.add_argument("--passes", nargs="+", default=["auto"])
    options = parser.parse_args()
    rows = []
    for passes in options.passes:
        first_mb = None
        for minutes in options.minutes:
            peak_mb, used, verdict = _peak(str(long_clip(options.coding, minutes)), passes)
            first_mb = first_mb or peak_mb
            ratio = f"{peak_mb / first_mb:.2f}"
            rows.append([ratio, passes, f"{minutes:g}", f"{peak_mb:.0f}", used, verdict])
    head = ["ratio", "passes", "minutes", "peak MB", "frames analysed", "verdict"]
    show(f"Memory of a review, {options.coding}", head, rows)


def _peak(path: str, passes: str) -> tuple[float, str, str]:
    done = subprocess.run(
        [sys.executable, "-c", _SCRIPT, path, passes], capture_output=True, text=True, check=True
    )
    peak_mb, used, verdict = done.stdout.split()
    return float(peak_mb), used, verdict


if __name__ == "__main__":
    main()
