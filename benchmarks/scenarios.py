"""What the review makes of the scenario recordings, against the truth of their chemistry.

python -m benchmarks.scenarios          # prints the table of docs/accuracy.md
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from huehold.run import Settings
from huehold.session import review

MEDIA = Path(__file__).resolve().parents[1] / "tests" / "media"
HOLDS = {"long_fade": 60.0}


def main() -> None:
    """Review every recording and print verdict and onset beside the truth."""
    print("| scenario | verdict | onset / s | true onset / s | trusted share |")
    print("| --- | --- | --- | --- | --- |")
    errors = []
    for truth_file in sorted(MEDIA.glob("*.truth.json")):
        name = truth_file.name.removesuffix(".truth.json")
        if name.startswith("blue"):  # another indicator, reviewed by a method file of its own
            continue
        truth = json.loads(truth_file.read_text("utf-8"))
        video = next(p for p in MEDIA.glob(f"{name}.*") if p.suffix not in (".json", ".csv"))
        run = review(video, settings=Settings(hold_s=HOLDS.get(name, 30.0)))
        onset_s, true_s = run.verdict.onset_s, truth["onset_s"]
        if run.verdict.kind == "endpoint":
            errors.append(abs(onset_s - true_s))
        shown = [f"{value:.2f}" if value is not None else "–" for value in (onset_s, true_s)]
        share = float(np.mean(run.trace.trust >= 0.5)) if len(run.trace) else 0.0
        print(f"| {name} | {run.verdict.kind} | {' | '.join(shown)} | {100 * share:.0f} % |")
    print(f"\n{len(errors)} endpoints; onset off by {np.median(errors):.2f} s (median), "
          f"{np.max(errors):.2f} s (largest).")  # fmt: skip


if __name__ == "__main__":
    main()
