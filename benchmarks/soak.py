"""Half a day of watching at speed, to see whether anything grows that should not.

    python -m benchmarks.soak                 12 h of observations through the session
    python -m benchmarks.soak --watch --hours 1   pictures through the live loop and notebook

Runs of the virtual bench, each some minutes long, follow one another on one clock. Printed
as it goes: virtual time, resident memory, open files, threads, and the time an observation
takes; at the end what grew between the first and the last quarter.
"""

from __future__ import annotations

import argparse
import gc
import itertools
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from huehold.capture.live import LiveSource
from huehold.core import Frame, Observation, SourceInfo
from huehold.methods import load_method
from huehold.notebook import Notebook
from huehold.run import Settings
from huehold.session import Session
from huehold.virtual.bench import brisk_bench
from huehold.virtual.observe import View, observe
from huehold.virtual.operator import brisk_operator
from huehold.virtual.run import run_bench
from huehold.watching import Moment, Watch

METHOD = "magnesium-hydroxide-by-vinegar"
RATE_HZ = 12.0
_PAUSE_S = 20.0  # between two runs


@dataclass(frozen=True)
class Sample:
    """How the process stands at a moment."""

    virtual_s: float
    memory_mb: float
    files: int
    threads: int
    each_ms: float

    def __str__(self) -> str:
        return (
            f"{self.virtual_s / 3600:6.2f} h  {self.memory_mb:7.1f} MB  {self.files:3d} files  "
            f"{self.threads:2d} threads  {self.each_ms:.3f} ms each"
        )


class Probe:
    """Takes samples of the process every so much virtual time."""

    def __init__(self, every_s: float) -> None:
        self.samples: list[Sample] = []
        self._every_s = every_s
        self._next_s = every_s
        self._since = (time.process_time(), 0)

    def look(self, virtual_s: float, count: int) -> None:
        """Take a sample if it is time for one; `count` observations have gone by."""
        if virtual_s < self._next_s:
            return
        self._next_s += self._every_s
        gc.collect()
        now, (before, seen) = time.process_time(), self._since
        each_ms = 1e3 * (now - before) / max(1, count - seen)
        self.samples.append(Sample(virtual_s, memory_mb(), files(), threading.active_count(),
                                   each_ms))  # fmt: skip
        self._since = (time.process_time(), count)
        print(self.samples[-1], flush=True)

    def told(self) -> str:
        """Compare the first quarter with the last."""
        quarter = max(1, len(self.samples) // 4)
        first, last = self.samples[:quarter], self.samples[-quarter:]
        span_h = (last[-1].virtual_s - first[0].virtual_s) / 3600
        slope = np.polyfit([s.virtual_s / 3600 for s in self.samples],
                           [s.memory_mb for s in self.samples], 1)[0]  # fmt: skip
        return (
            f"over {span_h:.1f} h: memory {first[0].memory_mb:.1f} to {last[-1].memory_mb:.1f} MB "
            f"({slope:+.2f} MB/h), files {first[0].files} to {last[-1].files}, threads "
            f"{first[0].threads} to {last[-1].threads}, an observation "
            f"{np.mean([s.each_ms for s in first]):.3f} to {np.mean([s.each_ms for s in last]):.3f}"
            " ms"
        )


def memory_mb() -> float:
    """Return the resident memory of this process."""
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0]) / 1024.0


def files() -> int:
    """Return the number of open files of this process."""
    return sum(1 for _ in Path("/proc/self/fd").iterdir()) - 1


def observations(hours: float, benches: int = 4) -> Iterator[Observation]:
    """Yield observations of a few runs, over and over on one clock."""
    runs = []
    for seed in range(benches):
        bench = brisk_bench(seed)
        truth = run_bench(bench, brisk_operator())
        runs.append(observe(truth, bench, View(rate_hz=RATE_HZ, seed=seed)))
    begin_s = 0.0
    for run in itertools.cycle(runs):
        for seen in run:
            if begin_s + seen.time_s > 3600.0 * hours:
                return
            yield replace(seen, time_s=begin_s + seen.time_s)
        begin_s += run[-1].time_s + _PAUSE_S


def soak_session(hours: float, probe: Probe) -> str:
    """Put observations through one session."""
    # No hold lasts that long, so the detector never comes to rest.
    session = Session(load_method(METHOD), Settings(hold_s=600.0))
    events = 0
    for count, seen in enumerate(observations(hours), start=1):
        events += len(session.take(seen))
        probe.look(seen.time_s, count)
    run = session.finish(SourceInfo("virtual bench", 640, 480))
    return f"{len(run.trace)} observations, {events} events, verdict {run.verdict.kind}"


class _FastSource(LiveSource):
    """Pictures of a bench at speed: as many as are asked for, each later by one frame."""

    def __init__(self, pictures: list[np.ndarray], hours: float) -> None:
        super().__init__(SourceInfo("virtual camera", 0, 0), give_up_s=60.0,
                         clock=lambda: self.virtual_s)  # fmt: skip
        self.virtual_s = 0.0
        self._pictures, self._hours = pictures, hours

    def frames(self, *, rate_hz: float = 15.0, patience_s: float = 0.25) -> Iterator[Frame | None]:
        """Yield frames one after the other until the hours are over."""
        for picture in itertools.cycle(self._pictures):
            if self._stopping.is_set() or self.virtual_s > 3600.0 * self._hours:
                break
            self.virtual_s += 1.0 / RATE_HZ
            self._take_in(picture)
            newest = self._newest.take(0, 0.0)
            assert newest is not None
            yield newest[1]
        self._ended = True


def soak_watch(hours: float, probe: Probe) -> str:
    """Put pictures through the live loop and the notebook."""
    from huehold.virtual.presets import load_preset
    from huehold.virtual.presets_settings import with_settings
    from huehold.virtual.simulate_show import Show

    show = Show(with_settings(load_preset("clean"), ["sight.width_px=240", "sight.height_px=180"]))
    pictures = [frame.image for frame in itertools.islice(show.frames(), 300)]
    method = load_method(METHOD)
    with tempfile.TemporaryDirectory() as folder, Notebook(Path(folder) / "book.sqlite3") as book:
        run_id = book.begin(method=method.model_dump_json(by_alias=True), settings={}, source={})
        session = Session(method, Settings(hold_s=30.0))
        watch = Watch(_FastSource(pictures, hours), session, notebook=book, run_id=run_id)
        count = itertools.count(1)

        def listener(moment: Moment, frame: Frame | None) -> None:
            """Look at the process after each picture."""
            probe.look(moment.time_s, next(count))

        watch.listen(listener)
        watch.start()
        while not watch.wait(1.0):
            pass
        run = watch.finish()
        kept = sum(1 for _ in book.observations(run_id))
    assert run is not None
    return f"{run.frames_used} pictures, {kept} kept, warnings: {list(run.warnings)}"


def main() -> None:
    """Run a soak and print what grew."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--hours", type=float, default=12.0, help="Of virtual time.")
    parser.add_argument("--watch", action="store_true", help="Pictures through the live loop.")
    options = parser.parse_args()
    probe = Probe(every_s=3600.0 * options.hours / 24.0)
    soak = soak_watch if options.watch else soak_session
    print(soak(options.hours, probe))
    print(probe.told())


if __name__ == "__main__":
    main()
