"""A real browser, for tests of the page: one for all tests of a module."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.support.page_server import PATIENCE_S

PHONE: Final = (360, 740)
LAPTOP: Final = (1280, 800)

VIEWS: Final = ("now", "rig", "log", "rules")

_PATIENCE_MS: Final = 1000 * PATIENCE_S

_AXE: Final = Path(__file__).parents[2] / ".cache" / "axe" / "axe-4.14.1.min.js"


@contextmanager
def browser_running() -> Iterator[Browser]:
    """Start chromium, the one that the computer has."""
    program = shutil.which("chromium")
    assert program is not None, "scripts/test installs chromium"
    expect.set_options(timeout=_PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def page_open(browser: Browser, address: str, size: tuple[int, int] = PHONE) -> Iterator[Page]:
    """Open a page that has a state by then; fails where the page itself reports an error, or breaks its own policy.

    Nothing moves that need not. Time goes on as usual, until a test lets it jump: `page.clock.fast_forward(60_000)`.
    """
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce")
    context.set_default_timeout(_PATIENCE_MS)
    faults: list[str] = []
    try:
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on(
            "console", lambda message: faults.append(message.text) if is_fault(message.type, message.text) else None
        )
        page.on("dialog", lambda dialog: faults.append(f"a dialog: {dialog.message}"))
        page.clock.install()
        page.goto(address)
        page.wait_for_selector("html[data-link=live]")
        yield page
    finally:
        context.close()
    assert faults == []


def is_fault(kind: str, text: str) -> bool:
    """Whether a line of the browser's console is about the page, and not about a server that is gone."""
    return kind in ("error", "warning") and "WebSocket" not in text and "Failed to load resource" not in text


def turn_to(page: Page, view: str) -> None:
    """Open one of the four views."""
    page.click(f".tabs a[data-view={view}]")
    page.wait_for_selector(f"#view-{view}:visible")


def serious_findings(page: Page) -> list[tuple[str, list[Any]]]:
    """What axe-core finds wrong with the page as it is shown, and takes for serious: rule and places."""
    assert _AXE.exists(), "scripts/test fetches axe-core; run scripts/fetching/fetch-axe"
    if not page.evaluate("() => 'axe' in globalThis"):
        page.evaluate(_AXE.read_text(encoding="utf-8"))
    found: list[dict[str, Any]] = page.evaluate("async () => (await axe.run()).violations")
    return [
        (f"{one['id']}: {one['help']}", [node["html"] for node in one["nodes"]])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


class ShownTexts:
    """All that an element has shown since: also what was there for a moment, of which a look now and then may miss."""

    def __init__(self, page: Page, selector: str) -> None:
        self._page = page
        page.evaluate(
            """selector => {
                const element = document.querySelector(selector);
                window.shownTexts = [];
                new MutationObserver(() => window.shownTexts.push(element.textContent))
                    .observe(element, {childList: true, characterData: true, subtree: true});
            }""",
            selector,
        )

    def has(self, text: str) -> None:
        """Wait until it has shown a text."""
        for _ in range(int(PATIENCE_S / 0.05)):
            if text in self._page.evaluate("() => window.shownTexts"):
                return
            self._page.wait_for_timeout(50)
        raise AssertionError(f"{text!r} was never shown; {self._page.evaluate('() => window.shownTexts')}")
