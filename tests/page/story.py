"""A short titration painted from a few numbers, and servers that watch it."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import count
from pathlib import Path

import cv2
import numpy as np

from huehold.capture.browser import BrowserSource
from huehold.capture.live import LiveSource
from huehold.capture.playback import PlaybackSource
from huehold.core import Frame, Observation, SourceInfo
from huehold.methods import load_method
from huehold.notebook import Notebook
from huehold.page.desk import Desk
from huehold.page.serve import PageServer
from huehold.past_runs import open_run
from huehold.report.result import result_dict
from huehold.run import Settings
from huehold.session import Session
from huehold.watching import Watch
from tests.vision.painter import GREEN, ORANGE, Picture, paint

HOLD_S = 6.0
_LEAD_S = 4.0
METHOD = load_method("magnesium-hydroxide-by-vinegar")

# Time, share of the end colour, clearness: three squirts that fade back, one that holds.
_PATH = (
    (0.0, 0.00, 0.00),
    (6.0, 0.00, 0.00), (6.3, 1.00, 0.10), (7.6, 0.95, 0.15), (9.0, 0.20, 0.20),
    (11.0, 0.02, 0.20),
    (12.0, 0.02, 0.20), (12.3, 1.00, 0.30), (14.4, 0.95, 0.40), (16.2, 0.20, 0.40),
    (18.4, 0.02, 0.40),
    (20.0, 0.02, 0.40), (20.3, 1.00, 0.60), (60.0, 1.00, 0.90),
)  # fmt: skip


def green_share(time_s: float) -> float:
    """Share of the end colour at a moment."""
    times, shares, _ = zip(*_PATH, strict=True)
    return float(np.interp(time_s, times, shares))


@lru_cache(maxsize=256)
def _painted(share: float, clear: float, seed: int, width_px: int) -> np.ndarray:
    start, end = np.array(ORANGE), np.array(GREEN)
    colour = tuple((start ** (1 - share) * end**share).tolist())
    picture = Picture(
        width_px=width_px, height_px=width_px * 9 // 16, liquid=colour, clear=clear, check=0.25,
        seed=seed,
    )  # fmt: skip
    return paint(picture)


def picture_at(time_s: float, width_px: int = 640) -> np.ndarray:
    """The camera's picture at a moment, sRGB uint8; noise differs from frame to frame."""
    times, _, clear = zip(*_PATH, strict=True)
    share = round(green_share(time_s) * 20) / 20
    clearness = round(float(np.interp(time_s, times, clear)) * 10) / 10
    return _painted(share, clearness, int(time_s * 10) % 4, width_px)


def frames(until_s: float = 30.0, rate_hz: float = 12.0, width_px: int = 320) -> Iterator[Frame]:
    """The story as frames."""
    for time_s in np.arange(0.0, until_s, 1.0 / rate_hz).tolist():
        yield Frame(time_s, picture_at(time_s, width_px))


def write_y4m(path: Path, until_s: float, rate_hz: int = 12) -> Path:
    """The story as the file a browser's pretended camera plays: BT.601, limited range.

    Before it the start colour stays for a while, in which a slow browser may begin.
    """
    header = f"YUV4MPEG2 W384 H216 F{rate_hz}:1 Ip A1:1 C420jpeg\n"
    with path.open("wb") as file:
        file.write(header.encode())
        for number in range(round(until_s * rate_hz)):
            time_s = number / rate_hz
            image = picture_at(time_s if time_s < _LEAD_S else time_s - _LEAD_S, 384)
            file.write(b"FRAME\n" + limited_i420(image).tobytes())
    return path


def limited_i420(image: np.ndarray) -> np.ndarray:
    """RGB to planar YCbCr by BT.601 in limited range; OpenCV's I420 is just that."""
    return cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_RGB2YUV_I420)


def jpeg(image: np.ndarray, quality: int = 90) -> bytes:
    """A picture as a JPEG file."""
    return cv2.imencode(".jpg", image[..., ::-1], (cv2.IMWRITE_JPEG_QUALITY, quality))[1].tobytes()


@dataclass
class Served:
    """A running server and what it serves."""

    server: PageServer
    desk: Desk
    notebook: Notebook

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self.server.port}"


def pushed_source() -> LiveSource:
    return BrowserSource("browser camera")


def played_source() -> LiveSource:
    """The start colour, before anything is added, for as long as a test may take."""
    stamps = (number / 12 for number in count())
    fresh = (Frame(time_s, picture_at(time_s % 4.0, 320)) for time_s in stamps)
    return PlaybackSource(fresh, SourceInfo("story", 320, 180))


class WitnessedSource(BrowserSource):
    """A browser's camera that keeps, apart from all analysis, what came and when it turned green.

    Attributes
    ----------
    stamps_s : dict of float to float
        The sender's stamp of each picture, by its time in the run.
    turned_s : list of float
        Times of the first green pictures after others.
    """

    def __init__(self) -> None:
        super().__init__("browser camera")
        self.stamps_s: dict[float, float] = {}
        self.turned_s: list[float] = []
        self._stamp_s = 0.0
        self._green = False

    def push(self, data: bytes, stamp_s: float) -> bool:
        self._stamp_s = stamp_s
        return super().push(data, stamp_s)

    def _take_in(self, image: np.ndarray, taken_s: float | None = None) -> None:
        super()._take_in(image, taken_s)
        assert taken_s is not None
        assert self._first_s is not None
        time_s = taken_s - self._first_s
        self.stamps_s[time_s] = self._stamp_s
        height_px, width_px = image.shape[:2]
        red, green, _ = image[height_px // 2, width_px // 2].tolist()
        if green > red + 10 and not self._green:
            self.turned_s.append(time_s)
        if abs(green - red) > 10:
            self._green = green > red


def begin_watch(
    notebook: Notebook,
    source: LiveSource,
    hold_s: float = HOLD_S,
    session: type[Session] = Session,
) -> Watch:
    """A watch of a run that the notebook keeps."""
    settings = Settings(hold_s=hold_s)
    number = notebook.begin(
        method=METHOD.model_dump_json(by_alias=True),
        settings={"hold_s": hold_s},
        source={"name": source.info.name},
    )
    seen_by = session(METHOD, settings)
    return Watch(source, seen_by, notebook=notebook, run_id=number, summarise=result_dict)


@contextmanager
def served(folder: Path, open_source=pushed_source, *, lan: bool = False, session=Session):
    """Serve a run whose frames come from `open_source`, until the block ends."""
    with Notebook(folder / "notebook.sqlite3") as notebook:
        desk = Desk(lambda: begin_watch(notebook, open_source(), HOLD_S, session), notebook)
        server = PageServer(desk, lan=lan)
        ready = threading.Event()
        thread = threading.Thread(
            target=lambda: server.run(open_browser=False, on_ready=ready.set), daemon=True
        )
        thread.start()
        try:
            assert ready.wait(60.0)
            yield Served(server, desk, notebook)
        finally:
            desk.close()
            server.stop()
            thread.join(10.0)


def keep_run(notebook: Notebook, title: str, stretch: float = 1.0) -> int:
    """Put a finished run of the story into a notebook, without waiting for it."""
    source = pushed_source()
    watch = begin_watch(notebook, source)
    assert watch.run_id is not None
    seen = [replace(o, time_s=o.time_s * stretch) for o in observations()]
    notebook.append(watch.run_id, seen)
    for time_s, mass_g in ((8.0, 0.8), (14.0, 1.6), (27.5, 2.4)):
        notebook.add_mass(watch.run_id, time_s * stretch, mass_g, f"{mass_g} g")
    notebook.add_note(watch.run_id, 5.0, "tap water, boiled")
    inputs = {"sample_mass": "0.61 g", "claim": "1200 mg/15 mL", "tolerance": "90-115 %"}
    notebook.set_inputs(watch.run_id, inputs)
    notebook.rename(watch.run_id, title)
    run = open_run(notebook, watch.run_id)
    notebook.finish(watch.run_id, {"kind": run.verdict.kind}, result_dict(run))
    return watch.run_id


@lru_cache(maxsize=1)
def observations() -> tuple[Observation, ...]:
    """What is seen of the story at six pictures a second."""
    session = Session(METHOD, Settings(hold_s=HOLD_S))
    return tuple(session.feed(frame).observation for frame in frames(29.0, 6.0))
