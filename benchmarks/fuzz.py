"""The fuzz campaign: damaged and lying files through the real entry point.

    python benchmarks/fuzz.py --recordings 2000 --files 2000 --options 2000 --seed 1

Every input is made from its number and the seed alone. A worker process runs it through
`huehold.cli.run` (assays and calibrations through the function that reads them), under a
wall-clock guard, a bound on memory, and a check of the exit code, of tracebacks and of the
JSON that was written. Inputs that fail are kept in the folder named by --keep.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import select
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.fuzz_bases import write_files, write_recordings
from benchmarks.fuzz_mutate import mutate_notebook, mutate_recording, mutate_text
from benchmarks.fuzz_options import option_cases

EXIT_CODES = (0, 2, 3, 4, 130)
GUARD_S = 30.0
MOST_MB = 700.0
_RESTART_AFTER = 400


@dataclass(frozen=True)
class Case:
    """One input: its name, the file, and the job for the worker."""

    name: str
    path: Path
    job: dict[str, Any]


@dataclass
class Outcome:
    """What a campaign came to."""

    codes: Counter[str] = field(default_factory=Counter)
    failures: list[tuple[str, str]] = field(default_factory=list)
    slowest: tuple[float, str] = (0.0, "")
    peak_mb: float = 0.0
    count: int = 0

    def add(self, case: Case, answer: dict[str, Any], took_s: float) -> str:
        """Count an answer and return what is wrong with it, if anything."""
        self.count += 1
        kind = case.name.split("-")[0]
        self.codes[f"{kind}: {answer.get('code')}"] += 1
        self.slowest = max(self.slowest, (took_s, case.name))
        self.peak_mb = max(self.peak_mb, float(answer.get("peak_mb", 0.0)))
        wrong = fault_of(answer)
        if wrong:
            self.failures.append((case.name, wrong))
        return wrong


def fault_of(answer: dict[str, Any]) -> str:
    """Say what is wrong with an answer; empty if nothing is."""
    if "died" in answer:
        return str(answer["died"])
    if answer["trace"]:
        return str(answer["trace"])
    if answer["code"] not in EXIT_CODES:
        return f"exit code {answer['code']}: {answer['said']}"
    if answer["bad_json"]:
        return f"not JSON: {answer['bad_json']}"
    if answer["peak_mb"] > MOST_MB:
        return f"took {answer['peak_mb']:.0f} MB"
    return ""


class Worker:
    """A process that runs inputs, started anew when one hangs or kills it."""

    def __init__(self, guard_s: float = GUARD_S) -> None:
        self._guard_s = guard_s
        self._process: subprocess.Popen[bytes] | None = None
        self._served = 0

        self._folder = tempfile.TemporaryDirectory()
        self._data = self._folder.name

    def __enter__(self) -> Worker:
        return self

    def __exit__(self, *_: object) -> None:
        self._end()
        self._folder.cleanup()

    def run(self, job: dict[str, Any]) -> dict[str, Any]:
        """Run one job; an answer with "died" tells that it hung or killed the worker."""
        if self._process is None or self._served >= _RESTART_AFTER:
            self._end()
            self._begin()
        process = self._process
        assert process is not None
        assert process.stdin is not None
        process.stdin.write(json.dumps(job).encode() + b"\n")
        process.stdin.flush()
        self._served += 1
        ready, _, _ = select.select([self._answers], [], [], self._guard_s)
        line = self._answers.readline() if ready else ""
        if line:
            return dict(json.loads(line))
        self._end()
        return {"died": f"worker ended by signal {-process.returncode}" if ready else (
            f"no answer within {self._guard_s:.0f} s")}  # fmt: skip

    def _begin(self) -> None:
        reading, writing = os.pipe()
        script = Path(__file__).with_name("fuzz_worker.py")
        self._process = subprocess.Popen(
            [sys.executable, str(script), str(writing)],
            stdin=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            pass_fds=[writing],
            env={**os.environ, "NO_COLOR": "1", "COLUMNS": "100", "HUEHOLD_DATA": self._data},
            cwd=self._data,
        )
        os.close(writing)
        self._answers = os.fdopen(reading)
        self._served = 0

    def _end(self) -> None:
        if self._process is None:
            return
        if self._process.stdin is not None:
            self._process.stdin.close()
        try:
            self._process.wait(1.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._answers.close()
        self._process = None


def recording_cases(count: int, seed: int, folder: Path) -> Iterator[Case]:
    """Make damaged recordings, one at a time, for `huehold review`."""
    bases = [(path, path.read_bytes()) for path in write_recordings(folder)]
    others = [data for _, data in bases]
    for number in range(count):
        rng = random.Random(f"recording {seed} {number}")
        base, data = rng.choice(bases)
        name = f"recording-{seed}-{number}{base.suffix}"
        path = folder / name
        path.write_bytes(mutate_recording(data, rng, others))
        yield Case(name, path, _recording_job(path, folder, rng))


def _recording_job(path: Path, folder: Path, rng: random.Random) -> dict[str, Any]:
    """Mostly a review; at times the quick pass, or the recording played to the live loop."""
    way = rng.random()
    if way < 0.2:
        book = str(folder / "watched.sqlite3")
        return {"arguments": ["watch", "--play", str(path), "--speed", "100", "--no-page",
                              "--no-sound", "--no-resume", "--notebook", book]}  # fmt: skip
    passes = "auto" if way < 0.5 else "full"
    arguments = ["review", str(path), "--json", "-", "--quiet", "--pass", passes]
    return {"arguments": arguments, "json": True}


def typed_cases(count: int, seed: int, folder: Path) -> Iterator[Case]:
    """Make command lines with options that make no sense."""
    clip = write_recordings(folder)[0]
    (folder / "text.csv").write_text("time_s;mass\nsoon,much\n", "utf-8")
    for name, job in option_cases(count, seed, folder):
        yield Case(name, folder / name, job)
        if not clip.exists():
            write_recordings(folder)


def file_cases(count: int, seed: int, folder: Path) -> Iterator[Case]:
    """Make damaged files of every other kind."""
    bases = write_files(folder)
    clip = write_recordings(folder)[0]
    for number in range(count):
        rng = random.Random(f"file {seed} {number}")
        base = bases[number % len(bases)]
        name = f"{base.stem}-{seed}-{number}{base.suffix}"
        path = folder / name
        if base.suffix == ".sqlite3":
            mutate_notebook(base, path, rng)
        else:
            path.write_bytes(mutate_text(base.read_bytes(), rng))
        yield Case(name, path, _file_job(base, path, clip, rng))


def _file_job(base: Path, path: Path, clip: Path, rng: random.Random) -> dict[str, Any]:
    masses = ["--sample-mass", "5.22 g"]
    if base.name == "masses.csv":
        arguments = ["review", str(clip), "--masses", str(path), *masses, "--json", "-", "--quiet"]
    elif base.name == "method.toml":
        arguments = ["compute", "--method", str(path), *masses, "--titrant-mass", "16.5",
                     "--strength", "5 %", "--density", "1.044", "--json", "-"]  # fmt: skip
    elif base.name == "replicates.csv":
        arguments = ["compute", "--replicates", str(path), "--strength", "5 %", "--density",
                     "1.044", "--json", "-"]  # fmt: skip
    elif base.name == "book.sqlite3":
        command = rng.choice((["list", "--json"], ["show", "1", "--json", "-"]))
        arguments = ["runs", "--notebook", str(path), *command]
    else:
        return {"call": {"assay.json": "assay"}.get(base.name, "calibration"), "path": str(path)}
    return {"arguments": arguments, "json": True}


def campaign(cases: Iterator[Case], keep: Path | None = None, progress: bool = False) -> Outcome:
    """Run the cases and return what came of them; failing files go to `keep`."""
    outcome = Outcome()
    with Worker() as worker:
        for case in cases:
            started = time.monotonic()
            answer = worker.run(case.job)
            wrong = outcome.add(case, answer, time.monotonic() - started)
            if wrong and keep is not None:
                keep.mkdir(parents=True, exist_ok=True)
                if case.path.exists():
                    (keep / case.name).write_bytes(case.path.read_bytes())
                words = " ".join(map(repr, case.job.get("arguments", ())))
                (keep / f"{case.name}.txt").write_text(f"{words}\n{wrong}")
            for left in case.path.parent.glob(f"{case.name}*"):
                left.unlink()
            if progress and outcome.count % 100 == 0:
                print(f"{outcome.count} inputs, {len(outcome.failures)} failures", flush=True)
    return outcome


def told(outcome: Outcome) -> str:
    """Return an outcome as lines of Markdown."""
    lines = [
        f"{outcome.count} inputs, {len(outcome.failures)} failures; slowest "
        f"{outcome.slowest[0]:.1f} s ({outcome.slowest[1]}), most memory {outcome.peak_mb:.0f} MB.",
        "",
        "| input: exit code | count |",
        "| --- | --- |",
        *(f"| {key} | {count} |" for key, count in sorted(outcome.codes.items())),
    ]
    causes = Counter(_cause(wrong) for _, wrong in outcome.failures)
    first = {_cause(wrong): name for name, wrong in reversed(outcome.failures)}
    lines += [f"- {count} x {cause} (as in {first[cause]})" for cause, count in causes.items()]
    return "\n".join(lines)


def _cause(wrong: str) -> str:
    """Return the place and the last line of a traceback, or what else is wrong."""
    lines = [line.strip() for line in wrong.strip().splitlines()]
    places = [line for line in lines if line.startswith("File ") and "huehold" in line]
    where = places[-1].split("huehold/")[-1] if places else ""
    return f"{lines[-1][:160]} {where}".strip()


def main() -> int:
    """Run the campaign; exit 1 if any input failed."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--recordings", type=int, default=2000)
    parser.add_argument("--files", type=int, default=2000)
    parser.add_argument("--options", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="Folder for inputs that fail.")
    options = parser.parse_args()
    failed = False
    for make, count in (
        (typed_cases, options.options),
        (file_cases, options.files),
        (recording_cases, options.recordings),
    ):
        if not count:
            continue
        with tempfile.TemporaryDirectory() as folder:
            outcome = campaign(make(count, options.seed, Path(folder)), options.keep, True)
        print(told(outcome), flush=True)
        failed |= bool(outcome.failures)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
