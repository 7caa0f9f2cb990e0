#!/usr/bin/env python3
"""Takes the pictures of the page that README shows, of a daemon in the middle of an evening. It needs chromium.

Look at them before you commit them. They aren't the same bytes on every computer, so that no test compares them.
"""

from __future__ import annotations

import base64
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from playwright.sync_api import Page

from tests.support.browser import browser_running, page_open, turn_to
from tests.support.page_server import PageServer
from tests.support.page_states import evening_state

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PICTURES = {"now": EXAMPLES / "page-now.webp", "rig": EXAMPLES / "page-rig.webp"}
"""The views that are shown, and where."""

_QUALITY = 80


def main() -> int:
    state = evening_state()
    state["trouble"] = state["trouble"][:1]
    with browser_running() as browser, PageServer(state) as server, page_open(browser, server.address) as page:
        for view, path in PICTURES.items():
            turn_to(page, view)
            if view == "rig":
                page.locator(".node.device", has_text="bell box").click()
            page.mouse.move(0, 0)
            path.write_bytes(_photograph(page))
            print(f"examples/{path.name} written")
    return 0


def _photograph(page: Page) -> bytes:
    """What the page shows now, as WebP."""
    devtools = page.context.new_cdp_session(page)
    taken = devtools.send("Page.captureScreenshot", {"format": "webp", "quality": _QUALITY})
    return base64.b64decode(taken["data"])


if __name__ == "__main__":
    sys.exit(main())
