"""A live run killed at any moment: the notebook opens, a second is missing at most, no mass is."""

import os
import random
import signal
import subprocess
import sys
import textwrap
import time

import pytest

from huehold.capture.recording import open_recording
from huehold.notebook import Notebook

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is of POSIX")

LIVE = """
    import itertools, sys, time
    import numpy as np
    from huehold.capture.playback import PlaybackSource
    from huehold.core import Frame, SourceInfo
    from huehold.methods import load_method
    from huehold.notebook import Notebook
    from huehold.session import Session
    from huehold.watching import Watch

    rng = np.random.default_rng(1)
    pictures = [rng.integers(0, 255, (60, 80, 3), np.uint8) for _ in range(4)]
    frames = (Frame(n / 15, pictures[n % 4]) for n in itertools.count())
    method = load_method("magnesium-hydroxide-by-vinegar")
    book = Notebook(sys.argv[1])
    text = method.model_dump_json(by_alias=True)
    run = book.begin(method=text, settings={}, source={"name": "x"})
    source = PlaybackSource(frames, SourceInfo("x", 80, 60))
    watch = Watch(source, Session(method), notebook=book, run_id=run).start()
    for n in itertools.count(1):
        time.sleep(0.05)
        watch.type_mass(f"{n / 100:.2f}")
        moment = watch.moment
        print(n, moment.time_s if moment else 0.0, flush=True)
"""


RECORD = """
    import itertools, sys, time
    import numpy as np
    from huehold.capture.writing import FrameWriter
    from huehold.core import Frame

    rng = np.random.default_rng(1)
    writer = FrameWriter(sys.argv[1], live=True)
    for n in itertools.count():
        picture = np.kron(rng.integers(0, 255, (6, 8, 3), np.uint8), np.ones((16, 16, 1), np.uint8))
        writer.write(Frame(n / 15, picture))
        print(n, n / 15, flush=True)
        time.sleep(1 / 15)
"""


def kill_after(path, wait_s: float, script: str = LIVE) -> tuple[int, float]:
    """Start a live run, kill it when it has told of so many seconds of its own time.

    Returns what it had told: masses saved, seconds watched.
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script), str(path)],
        stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": os.getcwd()},  # noqa: PTH109
    )  # fmt: skip
    assert process.stdout is not None
    told = [process.stdout.readline()]
    while float(told[-1].split()[1]) < wait_s:
        told.append(process.stdout.readline())
    time.sleep(wait_s % 0.1)  # not always just after something was told
    process.send_signal(signal.SIGKILL)
    told += process.stdout.readlines()
    process.stdout.close()
    process.wait()
    count, seconds = next(line for line in reversed(told) if line.endswith("\n")).split()
    return int(count), float(seconds)


def check(path, wait_s: float) -> None:
    masses, watched_s = kill_after(path, wait_s)
    with Notebook(path) as book:
        kept = [entry.mass_g for entry in book.masses(1)]
        assert kept[:masses] == [n / 100 for n in range(1, masses + 1)]
        seen = [observation.time_s for observation in book.observations(1)]
        assert watched_s - (seen[-1] if seen else 0.0) <= 1.3  # one second, and the loop's pace
        assert book.run(1).finished_at is None


@pytest.mark.parametrize("wait_s", [0.3, 1.7])
def test_killed(tmp_path, wait_s):
    check(tmp_path / "book.sqlite3", wait_s)


@pytest.mark.parametrize("wait_s", [0.8, 2.3])
def test_the_recording_of_a_killed_run_plays_up_to_its_last_second(tmp_path, wait_s):
    path = tmp_path / "film.mkv"
    _, written_s = kill_after(path, wait_s, RECORD)
    with open_recording(path, rate_hz=60.0) as recording:
        times = [frame.time_s for frame in recording.frames()]
    assert times[-1] >= written_s - 1.0


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_killed_at_a_hundred_random_moments(tmp_path):
    draw = random.Random(7)
    for number in range(100):
        check(tmp_path / f"book-{number}.sqlite3", draw.uniform(0.0, 2.5))
