"""What every browser test does: come in, listen for errors, check accessibility."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import Page

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
        page.wait_for_timeout(150)
        page.evaluate(script)
        told: dict[str, Any] = page.evaluate(
            "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", _RULES
        )
        for violation in told["violations"]:
            places = [node["target"] for node in violation["nodes"][:4]]
            found.append(f"{scheme}: {violation['id']}: {violation['help']} at {places}")
    return found


def state(page: Page, word: str, timeout_s: float = 30.0) -> None:
    """Wait until the page shows this state's word."""
    page.locator("#state-word", has_text=word).wait_for(timeout=1000 * timeout_s)


def sideways(page: Page) -> int:
    """How many pixels the page must be scrolled sideways to see all of it."""
    return page.evaluate("document.documentElement.scrollWidth - innerWidth")
