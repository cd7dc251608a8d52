"""A real browser for the page's tests: the distribution's Chromium, driven by Playwright."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.page.browser import CHROMIUM, alone, launch
from tests.page.story import write_y4m

_AXE = "axe-core@4"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put browser tests first, so that one worker gets them all; leave them out if there is none.

    They mostly wait for a run that takes as long as it takes, while other workers go on.
    """
    items.sort(key=lambda item: item.get_closest_marker("browser") is None)
    if CHROMIUM is None:
        skip = pytest.mark.skip(reason="no chromium; install the distribution's package")
        for item in items:
            if item.get_closest_marker("browser"):
                item.add_marker(skip)


@pytest.fixture(scope="session")
def video(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The story as the file a pretended camera plays, over and over: longer than a test takes."""
    return write_y4m(tmp_path_factory.mktemp("video") / "story.y4m", 64.0)


@pytest.fixture
def browser_of(pytestconfig: pytest.Config, tmp_path: Path) -> Iterator[Callable[..., object]]:
    """Launch browsers, with further flags, while no other test has one; close them at the end."""
    from playwright.sync_api import sync_playwright

    with alone(pytestconfig.cache.mkdir("browser")), sync_playwright() as playwright:
        opened = []

        def launched(*flags: str) -> object:
            opened.append(launch(playwright, tmp_path, *flags))
            return opened[-1]

        yield launched
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
    with alone(folder):
        if not script.is_file():
            _fetch_axe(folder)
        return script.read_text(encoding="utf-8")


def _fetch_axe(folder: Path) -> None:
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("no npm, which brings axe-core")
    quiet = ("--no-audit", "--no-fund", "--ignore-scripts")
    command = [npm, "install", *quiet, "--prefix", str(folder), _AXE]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=90, check=False)
    except subprocess.TimeoutExpired:
        pytest.skip("npm does not bring axe-core in due time")
    if done.returncode:
        pytest.skip(f"npm cannot bring axe-core: {done.stderr.strip()[-200:]}")
