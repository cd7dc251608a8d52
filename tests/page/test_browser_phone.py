"""The phone as the camera, over HTTPS; reloads and lost connections lose nothing."""

from __future__ import annotations

import pytest

from huehold.page.addresses import lan_addresses
from tests.page.driving import (
    Errors,
    eventually,
    has_shown,
    remember,
    sideways,
    state,
    violations,
)
from tests.page.story import served

pytestmark = [
    pytest.mark.browser,
    pytest.mark.timeout(300),
    pytest.mark.skipif(not lan_addresses(), reason="this computer is in no local network"),
]

# A browser that refuses WebSockets to a certificate it does not trust.
_NO_SOCKETS = """
const Real = globalThis.WebSocket;
globalThis.WebSocket = class extends Real {
  constructor(address) { super(address.replace(/:\\d+\\//, ":9/")); }
};
"""


def phone_page(browser, s, errors=None):
    context = browser.new_context(
        ignore_https_errors=True, viewport={"width": 390, "height": 844}, has_touch=True
    )
    page = context.new_page()
    if errors is not None:
        errors.listen(page)
    return context, page


def link_for_phone(s) -> str:
    return f"{s.server.lan_address}/enter#{s.server.keys.new_token('phone')}"


def test_a_phone_watches_while_the_desk_reloads_and_loses_touch(
    tmp_path, browser_of, camera_flags, axe_script
):
    errors = Errors()
    with served(tmp_path, lan=True) as s:
        browser = browser_of(*camera_flags)
        desk = errors.listen(browser.new_page(viewport={"width": 1280, "height": 800}))
        desk.goto(s.server.address)
        state(desk, "No picture yet")
        desk.click("#phone-open")
        desk.locator("#phone-qr:not([hidden])").wait_for()
        link = desk.inner_text("#phone-link")
        assert desk.inner_text("#phone-print").count(":") == 31
        assert violations(desk, axe_script) == []
        desk.keyboard.press("Escape")

        context, phone = phone_page(browser, s, errors)
        phone.goto(link)
        phone.wait_for_url("**/phone")
        assert phone.evaluate("isSecureContext")
        assert violations(phone, axe_script) == []
        remember(phone, "twin")
        assert sideways(phone) <= 0
        phone.click("#start")
        phone.locator("#figures", has_text="by WebSocket").wait_for(timeout=60_000)
        assert "under way" in phone.inner_text("#figures")
        phone.locator("#sound-state", has_text="Sound is on").wait_for()
        state(desk, "Start colour")
        state(phone, "Start colour")
        desk.locator("#stage.seen").wait_for()  # the laptop shows the phone's picture

        desk.fill("#mass", "0.8")
        desk.press("#mass", "Enter")
        desk.locator("#mass-total", has_text="0.8 g").wait_for()
        has_shown(phone, "twin", "Fading back")
        points = desk.evaluate("huehold.columns.length")
        desk.reload()
        state(desk, "")
        desk.locator("#mass-total", has_text="0.8 g").wait_for()
        assert desk.evaluate("huehold.columns.length") >= points
        assert desk.locator("#events li", has_text="Addition").count() >= 1

        # Out of touch: the mass typed meanwhile waits, survives a reload, and is saved once.
        desk.context.set_offline(True)
        desk.evaluate("dispatchEvent(new Event('offline'))")
        state(desk, "Out of touch")
        desk.fill("#mass", "1.6")
        desk.press("#mass", "Enter")
        desk.locator("#mass-list .waiting", has_text="not saved yet").wait_for()
        assert len(s.desk.watch.masses) == 1
        typed_s = desk.evaluate("huehold.run.moment.time_s")
        eventually(lambda: s.desk.watch.source.now_s > typed_s + 1.5)
        desk.context.set_offline(False)
        desk.reload()
        desk.locator("#mass-total", has_text="1.6 g").wait_for(timeout=60_000)
        desk.locator("#mass-list .waiting").wait_for(state="detached")
        assert [m.mass_g for m in s.desk.watch.masses] == [0.8, 1.6]
        assert s.desk.watch.masses[1].time_s == pytest.approx(typed_s, abs=1.0)

        # The phone loses touch and comes back by itself.
        context.set_offline(True)
        phone.evaluate("dispatchEvent(new Event('offline'))")
        phone.evaluate("huehold.camera._sender._socket?.close()")
        desk.locator("#alarm", has_text="No picture is coming").wait_for(timeout=60_000)
        state(desk, "No picture")
        seen = s.desk.watch.source.frames_seen
        context.set_offline(False)
        phone.locator("#link-state", has_text="connected").wait_for(timeout=60_000)
        phone.locator("#figures", has_text="by WebSocket").wait_for(timeout=60_000)
        eventually(lambda: s.desk.watch.source.frames_seen > seen + 3)

        desk.click("#finish")
        desk.click("#finish-yes")
        desk.locator("#result:not([hidden]) .verdict").wait_for(timeout=60_000)
        phone.locator("#advice", has_text="end colour").wait_for()
        times = s.desk.watch.finished.trace.time_s
        assert (times[1:] > times[:-1]).all()
    assert [e for e in errors if "ERR_INTERNET_DISCONNECTED" not in e] == []


def test_plain_requests_where_websockets_are_refused(tmp_path, browser_of, camera_flags):
    with served(tmp_path, lan=True) as s:
        context, phone = phone_page(browser_of(*camera_flags), s)
        context.add_init_script(_NO_SOCKETS)
        phone.goto(link_for_phone(s))
        phone.wait_for_url("**/phone")
        phone.click("#start")
        phone.locator("#figures", has_text="by requests").wait_for(timeout=60_000)
        phone.locator("#link-state", has_text="connected by requests").wait_for()
        state(phone, "Start colour")
        eventually(lambda: s.desk.watch.source.frames_seen > 5)


def test_a_used_link_says_so(tmp_path, browser_of):
    with served(tmp_path, lan=True) as s:
        browser = browser_of()
        link = link_for_phone(s)
        _, phone = phone_page(browser, s)
        phone.goto(link)
        phone.wait_for_url("**/phone")
        _, other = phone_page(browser, s)
        other.goto(link)
        other.locator("#word", has_text="used up or wrong").wait_for()
        assert "#" not in other.url


def test_a_camera_that_is_not_allowed_or_not_there(tmp_path, browser_of):
    with served(tmp_path) as s:
        page = browser_of().new_page()
        page.goto(s.server.address)
        state(page, "No picture yet")
        page.click("#camera-start")
        page.locator("#camera-state", has_text="camera").filter(has_text=".").wait_for()
        words = page.inner_text("#camera-state")
        assert words.startswith(("The camera was not allowed", "No camera was found")), words


def test_locks_are_asked_one_by_one_and_read_back(tmp_path, browser_of):
    """The pretended camera without a file has exposure and focus, but no white balance."""
    flags = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
    with served(tmp_path) as s:
        page = browser_of(*flags).new_page()
        page.goto(s.server.address)
        page.click("#camera-start")
        page.locator("#locks li").nth(2).wait_for(timeout=60_000)
        words = page.inner_text("#locks").splitlines()
        eventually(lambda: s.desk.watch.source.locks.get("exposure") == "locked")
        assert s.desk.watch.source.locks["white balance"] == "refused"
    assert words[0] == "✓ Exposure: locked, as the browser says"
    assert words[1] == "– White balance: cannot be locked from here"
    assert words[2] == "✓ Focus: locked, as the browser says"
