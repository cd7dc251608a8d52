"""What every browser test does: come in, listen for errors, check accessibility."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page

# The colours asked for are in force, nothing is on its way to them, and they have been painted.
_SETTLED = """async (scheme) => {
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  await frame();
  await frame();
  return matchMedia(`(prefers-color-scheme: ${scheme})`).matches
    && document.getAnimations().every((moving) => moving.playState !== "running");
}"""

_REMEMBER = """(place) => {
  const texts = ((globalThis.texts ||= {})[place.id] = [place.textContent]);
  const see = () => texts.push(place.textContent);
  new MutationObserver(see).observe(place, { childList: true, characterData: true, subtree: true });
}"""
_REMEMBERED = "([id, words]) => globalThis.texts[id].some((text) => text.includes(words))"

_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


class Errors(list[str]):
    """Errors of a page's scripts and of its security policy."""

    def listen(self, page: Page) -> Page:
        page.on("pageerror", lambda error: self.append(str(error)))
        page.on("console", lambda said: self._said(said.type, said.text))
        return page

    def _said(self, kind: str, text: str) -> None:
        refused = "status of 4" in text  # a sentence the page shows; browsers log it as well
        if kind == "error" and not refused:
            self.append(text)


def violations(page: Page, script: str) -> list[str]:
    """Accessibility violations in the view as it stands, in light and in dark."""
    found = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        page.wait_for_function(_SETTLED, arg=scheme)
        page.evaluate(script)
        told: dict[str, Any] = page.evaluate(
            "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", _RULES
        )
        for violation in told["violations"]:
            places = [node["target"] for node in violation["nodes"][:4]]
            found.append(f"{scheme}: {violation['id']}: {violation['help']} at {places}")
    return found


def eventually(condition: Callable[[], object], timeout_s: float = 60.0) -> None:
    """Wait until something is so; fail, saying what it was instead, if it is not in due time."""
    until_s = time.monotonic() + timeout_s
    while not (was := condition()):
        assert time.monotonic() < until_s, f"still {was!r} after {timeout_s:.0f} s"
        time.sleep(0.03)


def remember(page: Page, name: str) -> None:
    """Have the page keep every text that this place shows from now on, however briefly."""
    page.locator(f"#{name}").evaluate(_REMEMBER)


def has_shown(page: Page, name: str, words: str, timeout_s: float = 60.0) -> None:
    """Wait until a remembered place shows these words or has shown them before."""
    page.wait_for_function(_REMEMBERED, arg=[name, words], timeout=1000 * timeout_s)


def state(page: Page, word: str, timeout_s: float = 60.0) -> None:
    """Wait until the page shows this state's word."""
    page.locator("#state-word", has_text=word).wait_for(timeout=1000 * timeout_s)


def sideways(page: Page) -> int:
    """How many pixels the page must be scrolled sideways to see all of it."""
    return page.evaluate("document.documentElement.scrollWidth - innerWidth")
