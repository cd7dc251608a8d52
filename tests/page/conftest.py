"""A real browser for the page's tests: the distribution's Chromium, driven by Playwright."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.page.story import write_y4m

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
_FLAGS = (
    "--headless", "--no-sandbox", "--no-zygote", "--disable-gpu", "--disable-quic",
    "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync",
)  # fmt: skip
_AXE = "axe-core@4"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave browser tests out where there is no browser, and say why."""
    if CHROMIUM is None:
        skip = pytest.mark.skip(reason="no chromium; install the distribution's package")
        for item in items:
            if item.get_closest_marker("browser"):
                item.add_marker(skip)


@pytest.fixture(scope="session")
def video(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The story as the file a pretended camera plays."""
    return write_y4m(tmp_path_factory.mktemp("video") / "story.y4m", 30.0)


@pytest.fixture
def browser_of() -> Iterator[Callable[..., object]]:
    """Launch browsers, with further flags; all are closed at the end."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = []

        def launch(*flags: str) -> object:
            browser = playwright.chromium.launch(
                executable_path=CHROMIUM, args=[*_FLAGS, *flags], timeout=60_000
            )
            opened.append(browser)
            return browser

        yield launch
        for browser in opened:
            browser.close()


@pytest.fixture
def camera_flags(video: Path) -> tuple[str, ...]:
    """Flags that give the browser the story as its camera, allowed without asking."""
    return (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={video}",
    )


@pytest.fixture(scope="session")
def axe_script(pytestconfig: pytest.Config) -> str:
    """The accessibility checker's script, fetched by npm once and kept in the test cache."""
    folder = pytestconfig.cache.mkdir("axe")
    script = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not script.is_file():
        npm = shutil.which("npm")
        if npm is None:
            pytest.skip("no npm, which brings axe-core")
        quiet = ("--no-audit", "--no-fund", "--ignore-scripts")
        command = [npm, "install", *quiet, "--prefix", str(folder), _AXE]
        done = subprocess.run(command, capture_output=True, text=True, timeout=90, check=False)
        if done.returncode:
            pytest.skip(f"npm cannot bring axe-core: {done.stderr.strip()[-200:]}")
    return script.read_text(encoding="utf-8")
