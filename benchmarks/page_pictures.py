"""Take the page's pictures for docs/: phone, laptop and projector, light and dark.

    python -m benchmarks.page_pictures [FOLDER]

The shipped sample recording is played to the page at a few times its speed.
"""

from __future__ import annotations

import csv
import io
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright
from tests.page.browser import launch
from tests.page.driving import state
from tests.page.story import METHOD, Served, served, write_y4m

from huehold.capture.live import LiveSource
from huehold.capture.playback import play_recording
from huehold.past_runs import open_run
from huehold.report.result import result_dict
from huehold.run import Settings
from huehold.session import Session

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_media" / "demo.mp4"
SPEED = 3.0
MOST_BYTES = 290_000
SIZES = {"phone": (390, 844), "laptop": (1366, 768), "projector": (1920, 1080)}
INPUTS = {
    "sample_mass": "4.93 g", "strength": "5.0 +/- 0.1 %", "density": "1.043 g/mL",
    "water_mass": "90 g", "blank_mass": "0.00 g", "claim": "1200 mg/15 mL",
    "tolerance": "90-115 %",
}  # fmt: skip


def sample() -> LiveSource:
    return play_recording(SAMPLE, speed=SPEED, rate_hz=12.0)


def masses() -> list[tuple[float, str]]:
    with SAMPLE.with_suffix(".masses.csv").open(encoding="utf-8") as file:
        return [(float(row["time_s"]), row["cumulative_g"]) for row in csv.DictReader(file)]


def shoot(
    page: Page,
    folder: Path,
    name: str,
    size: str,
    scheme: str,
    full: bool = False,
    settle_ms: int = 600,
) -> None:
    """Take one picture; its colours are reduced if it would be too large."""
    sized(page, size)
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    page.wait_for_timeout(settle_ms)
    data = page.screenshot(full_page=full)
    path = folder / f"page-{name}-{size}-{scheme}.png"
    image = Image.open(io.BytesIO(data)).convert("RGB")
    image.save(path, optimize=True)
    if path.stat().st_size > MOST_BYTES:
        image.quantize(128).save(path, optimize=True)
    print(path.name, image.size, path.stat().st_size // 1000, "kB")


def sized(page: Page, size: str) -> None:
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})


def type_masses(page: Page, s: Served, waiting: list[tuple[float, str]]) -> None:
    now_s = s.desk.watch.moment.time_s if s.desk.watch.moment else 0.0
    while waiting and waiting[0][0] < now_s:
        page.fill("#mass", waiting.pop(0)[1])
        page.press("#mass", "Enter")


def until(
    page: Page, s: Served, waiting: list[tuple[float, str]], done: Callable[[], bool]
) -> None:
    """Type the masses as their time comes, until the page stands as wanted."""
    while not done():
        type_masses(page, s, waiting)
        page.wait_for_timeout(60)


def live_pictures(browser: Browser, s: Served, folder: Path) -> None:
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    page.goto(s.server.address)
    state(page, "")
    page.mouse.click(5, 300)
    page.set_viewport_size({"width": 1366, "height": 768})
    for key, text in INPUTS.items():
        page.fill(f"#input-{key}", text)
    page.press("#input-tolerance", "Tab")
    page.evaluate("scrollTo(0, 0)")
    waiting = masses()

    def word() -> str:
        return page.inner_text("#state-word")

    def ready() -> bool:
        return word() == "Start colour" and page.inner_text("#advice").startswith("Ready")

    sized(page, "projector")
    until(page, s, waiting, lambda: len(waiting) < 20 and word() == "Fading back")
    shoot(page, folder, "fading", "projector", "light", settle_ms=30)  # it soon has faded
    sized(page, "phone")
    until(page, s, waiting, ready)
    shoot(page, folder, "start", "phone", "light", settle_ms=30)
    until(page, s, waiting, lambda: word() == "Holding" and not waiting)
    page.wait_for_timeout(1000)
    shoot(page, folder, "holding", "laptop", "light")
    shoot(page, folder, "holding", "laptop", "dark")
    shoot(page, folder, "holding", "phone", "dark")
    until(page, s, waiting, lambda: word() == "Endpoint")
    shoot(page, folder, "endpoint", "projector", "dark")
    page.click("#finish")
    page.click("#finish-yes")
    page.locator("#result:not([hidden])").wait_for()
    page.wait_for_timeout(400)
    shoot(page, folder, "result", "laptop", "light", full=True)
    shoot(page, folder, "result", "phone", "light")
    page.close()


def runs_pictures(browser: Browser, s: Served, folder: Path) -> None:
    number = s.desk.watch.run_id or 0
    seen = [replace(o, time_s=1.06 * o.time_s) for o in s.notebook.observations(number)]
    other = s.notebook.begin(
        method=METHOD.model_dump_json(by_alias=True),
        settings={"hold_s": 30.0},
        source={"name": "sample"},
    )
    s.notebook.append(other, seen)
    for entry in s.notebook.masses(number):
        s.notebook.add_mass(other, 1.06 * entry.time_s, entry.mass_g - 0.1, entry.typed)
    s.notebook.set_inputs(other, INPUTS)
    s.notebook.rename(number, "cup A")
    s.notebook.rename(other, "cup B")
    run = open_run(s.notebook, other)
    s.notebook.finish(other, {"kind": run.verdict.kind}, result_dict(run))
    page = browser.new_page()
    page.goto(s.server.address)
    page.click("#nav-runs")
    for name in (f"cup A (run {number})", f"cup B (run {other})"):
        page.get_by_label(f"Compare {name}").check()
    page.click("#runs-compare")
    page.locator("#run-shown canvas").wait_for(timeout=60_000)
    shoot(page, folder, "compare", "laptop", "dark")
    page.close()


def phone_pictures(browser: Browser, folder: Path) -> None:
    with tempfile.TemporaryDirectory() as place, served(Path(place), lan=True) as s:
        context = browser.new_context(ignore_https_errors=True, has_touch=True)
        page = context.new_page()
        page.goto(f"{s.server.lan_address}/enter#{s.server.keys.new_token('phone')}")
        page.click("#start")
        state(page, "Start colour")
        page.wait_for_timeout(1500)
        for scheme in ("light", "dark"):
            shoot(page, folder, "camera", "phone", scheme)
        context.close()


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        video = write_y4m(Path(place) / "story.y4m", 20.0)
        browser = launch(
            playwright, Path(place), "--use-fake-device-for-media-stream",
            "--use-fake-ui-for-media-stream", f"--use-file-for-fake-video-capture={video}",
        )  # fmt: skip
        with served(Path(place), sample, session=Shorter) as s:
            live_pictures(browser, s, folder)
            runs_pictures(browser, s, folder)
        phone_pictures(browser, folder)
        browser.close()


class Shorter(Session):
    """With a hold that ends well before the recording does."""

    def __init__(self, method: object, settings: Settings) -> None:
        super().__init__(METHOD, Settings(hold_s=30.0))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else ROOT / "docs" / "pictures")
