"""Earlier runs on the page: list, open, compare, put away with undo."""

from __future__ import annotations

import pytest

from huehold.notebook import Notebook
from tests.page.driving import Errors, sideways, violations
from tests.page.story import keep_run, served

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300)]

_INKED = """() => {
  const canvas = document.querySelector("#run-shown canvas");
  const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  return data.filter((v, i) => i % 4 === 3 && v > 0).length / (data.length / 4);
}"""


def test_list_open_compare_put_away(tmp_path, browser_of, axe_script):
    with Notebook(tmp_path / "notebook.sqlite3") as notebook:
        first = keep_run(notebook, "cup A")
        second = keep_run(notebook, "cup B", 1.1)
    errors = Errors()
    with served(tmp_path) as s:
        page = errors.listen(browser_of().new_page(viewport={"width": 1280, "height": 800}))
        page.goto(s.server.address)
        page.click("#nav-runs")
        rows = page.locator("#runs-list tr")
        rows.nth(2).wait_for()  # both, and the one being watched
        assert page.locator("#runs-list", has_text="Endpoint").count() == 1
        assert "mg" in rows.nth(1).inner_text()
        assert violations(page, axe_script) == []

        page.click(f"a[href='#run-{first}']")
        page.locator("#run-shown .result-lines").wait_for(timeout=60_000)
        shown = page.inner_text("#run-shown")
        assert "cup A" in shown
        assert "tap water, boiled" in shown
        assert "Faded back" in shown
        assert page.locator("#run-shown a[download]").count() == 3
        assert violations(page, axe_script) == []

        for box in (f"Compare cup A (run {first})", f"Compare cup B (run {second})"):
            page.get_by_label(box).check()
        page.click("#runs-compare")
        page.locator("#run-shown th", has_text="cup B").wait_for(timeout=60_000)
        assert "dash" in page.inner_text("#run-shown table")  # lines differ by more than colour
        assert page.evaluate(_INKED) > 0.3
        assert violations(page, axe_script) == []

        page.get_by_label(f"Put away cup A (run {first})").click()
        page.locator("#runs-word", has_text="put away").wait_for()
        assert notebook_ids(s) == {second, second + 1}
        page.get_by_role("button", name="Undo").click()
        page.locator("#runs-word", has_text="brought back").wait_for()
        assert notebook_ids(s) == {first, second, second + 1}

        page.get_by_label(f"Put away Run {second + 1}").click()
        page.locator("#runs-word", has_text="being watched").wait_for()

        page.set_viewport_size({"width": 320, "height": 640})
        assert sideways(page) <= 0
    assert errors == []


def notebook_ids(s) -> set[int]:
    return {record.id for record in s.notebook.runs()}
