"""Guided calibration in a browser: by keyboard alone, in both guides with and without pictures."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from huehold.calibration.store import Store
from huehold.page.serve import PageServer
from tests.calibration.chart_scene import camera_patches, chart_picture
from tests.page.driving import Errors, sideways, violations
from tests.page.story import jpeg, picture_at, served
from tests.page.test_calibrate import cup

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HUEHOLD_DATA", str(tmp_path / "data"))


@contextmanager
def calibrating() -> Iterator[PageServer]:
    server = PageServer(None)
    ready = threading.Event()
    thread = threading.Thread(
        target=lambda: server.run(open_browser=False, on_ready=ready.set), daemon=True
    )
    thread.start()
    try:
        assert ready.wait(60.0)
        yield server
    finally:
        server.stop()
        thread.join(10.0)


def press(page, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def to(page, name: str) -> None:
    """Go on with the Tab key until a field or button of that id has the focus."""
    for _ in range(60):
        if page.evaluate("document.activeElement.id") == name:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{name} is not reached by the Tab key")


def titled(page, text: str) -> None:
    """Wait for a step's title; the focus must be on it."""
    page.locator("#step-title", has_text=text).wait_for(timeout=60_000)
    page.wait_for_function("() => document.activeElement.id === 'step-title'")


def test_a_dropper_by_keyboard(browser_of, axe_script):
    errors = Errors()
    with calibrating() as server:
        page = errors.listen(browser_of().new_page(viewport={"width": 1000, "height": 800}))
        page.goto(server.address)
        page.locator("#open-dropper").wait_for(timeout=60_000)
        assert violations(page, axe_script) == []
        to(page, "open-dropper")
        press(page, "Enter")
        titled(page, "What drips")
        to(page, "f-liquid")
        page.keyboard.type("vinegar")
        press(page, "Enter")
        titled(page, "Weigh counted drops")
        for row, mass in enumerate(("0.95", "x", "0,96")):
            to(page, f"f-mass-{row}")
            page.keyboard.type(mass)
        press(page, "Enter")
        page.locator("#fault", has_text="'x' is not a number").wait_for(timeout=60_000)
        page.wait_for_function("() => document.activeElement.id === 'f-mass-1'")
        assert page.get_attribute("#f-mass-1", "aria-invalid") == "true"
        assert violations(page, axe_script) == []
        press(page, "Control+A")
        page.keyboard.type("0.97")
        press(page, "Enter")
        titled(page, "Result")
        assert "one drop weighs 0.04800 +/- 0.00031 g" in page.inner_text("#summary")
        assert violations(page, axe_script) == []
        to(page, "use")
        press(page, "Space")
        to(page, "next")
        press(page, "Enter")
        page.locator("#word", has_text="Kept as dropper/vinegar@1").wait_for(timeout=60_000)
        assert [found.ref for found in Store().chosen()[0]] == ["dropper/vinegar@1"]
        page.locator("#kept", has_text="dropper/vinegar@1").wait_for()
        page.set_viewport_size({"width": 320, "height": 640})
        assert sideways(page) <= 0
    assert errors == []


def test_an_indicator_by_pictures_and_keyboard(browser_of, axe_script):
    errors = Errors()
    with calibrating() as server:
        page = errors.listen(browser_of().new_page(viewport={"width": 1000, "height": 900}))
        page.goto(server.address)
        page.locator("#open-indicator").focus()
        press(page, "Enter")
        titled(page, "Dye and light")
        to(page, "f-light")
        page.keyboard.type("lamp")
        press(page, "Enter")
        titled(page, "A picture at each pH")
        for row, ph in enumerate((5.0, 6.9, 7.6, 8.3, 9.2, 10.0, 10.9)):
            if row >= 4:
                to(page, "more")
                press(page, "Enter")
            to(page, f"f-picture-{row}")
            picture = {"name": "cup.jpg", "mimeType": "image/jpeg", "buffer": cup(ph)}
            page.set_input_files(f"#f-picture-{row}", picture)
            page.locator("#word", has_text=f"picture {row + 1}. A cup was found").wait_for(
                timeout=60_000
            )
            to(page, f"f-ph-{row}")
            page.keyboard.type(f"{ph} +/- 0.05")
        assert page.locator("fieldset ellipse.line").count() == 7
        assert violations(page, axe_script) == []
        to(page, "next")
        press(page, "Enter")
        titled(page, "Where the liquid is")
        press(page, "Tab", "Enter")
        titled(page, "Result")
        assert "green below pH" in page.inner_text("#summary")
        assert violations(page, axe_script) == []
        to(page, "next")
        press(page, "Enter")
        page.locator("#word", has_text="Kept as indicator/").wait_for(timeout=60_000)
    assert errors == []
    chart = Store().get("indicator/turmeric-and-spirulina-food-colouring")
    low, high = chart.turning_ph()
    assert 6.5 < low < 8.0 < 9.0 < high < 10.5


def test_a_chart_by_four_clicks(browser_of, axe_script):
    image, middles = chart_picture(camera_patches("A"))
    height, width = image.shape[:2]
    errors = Errors()
    with calibrating() as server:
        page = errors.listen(browser_of().new_page(viewport={"width": 1000, "height": 1400}))
        page.goto(server.address)
        page.click("#open-camera")
        page.fill("#f-device", "Phone X")
        page.click("#next")
        titled(page, "A picture of the chart")
        chart = {"name": "chart.jpg", "mimeType": "image/jpeg", "buffer": jpeg(image, 97)}
        page.set_input_files("#f-picture", chart)
        page.locator("#word", has_text="Taken: picture 1.").wait_for(timeout=60_000)
        picture = page.locator("#step-fields svg")
        box = picture.bounding_box()
        for patch in (0, 5, 23, 18):
            x, y = middles[patch]
            place = {"x": x * box["width"] / width, "y": y * box["height"] / height}
            picture.click(position=place)
        page.locator("#word", has_text="4 of 4").wait_for()
        assert len(page.input_value("#f-corners").split(",")) == 8
        assert violations(page, axe_script) == []
        page.click("#next")
        titled(page, "Result")
        assert "after (CIEDE2000" in page.inner_text("#summary")
        assert page.input_value("#name") == "phone-x"
    assert errors == []


@contextmanager
def pushing(desk) -> Iterator[None]:
    """Have a camera send its pictures to the run until the block ends."""
    over = threading.Event()

    def push() -> None:
        count = 0
        while not over.wait(0.2):
            count += 1
            desk.phone.push(jpeg(picture_at(1.0, 480)), 100.0 + 0.2 * count)

    thread = threading.Thread(target=push, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(5.0)


def test_from_the_run_to_a_picture_of_its_camera(tmp_path, browser_of):
    errors = Errors()
    with served(tmp_path) as s, pushing(s.desk):
        page = errors.listen(browser_of().new_page(viewport={"width": 1000, "height": 900}))
        page.goto(s.server.address)
        page.click("nav a[href='/calibrate']")
        page.click("#open-turbidity")
        titled(page, "Cup and light")
        page.click("#next")
        titled(page, "Fresh suspension, and clear water")
        assert page.input_value("#f-share-0") == "1"
        page.click("#f-picture-0-live")
        page.locator("#word", has_text="A cup was found, orange").wait_for(timeout=60_000)
        assert page.locator("fieldset svg image").count() == 1
        page.click("#to-run")
        page.locator("#state-word").wait_for(timeout=60_000)
    assert errors == []
