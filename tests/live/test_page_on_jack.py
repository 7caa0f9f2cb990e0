"""The page in a real browser, of a daemon on a real JACK server: what is pressed there is heard."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from router.page.access import Access
from tests.live.daemon import NAME, Daemon
from tests.live.peer import Peer
from tests.live.server import until
from tests.support.browser import browser_running, page_open, turn_to
from tests.support.page_rig import page_of

RULES = """
[ports]
keys = { input = "Pit Keyboard*" }
rack = { output = "Rack*" }

[devices]
"reed box" = { port = "rack", channel = 3 }

[switches]
giant = { from = "keys", controller = 66 }

[[rules]]
name = "small"
from = "keys"
when = "not giant"
to = "reed box"

[[rules]]
name = "large"
from = "keys"
when = "giant"
steps = [{ transpose = -12 }]
to = "reed box"
"""

MakePeer = Callable[..., Peer]
MakeDaemon = Callable[..., Daemon]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all of these tests."""
    with browser_running() as running:
        yield running


def test_a_switch_turned_on_the_page_and_panic_are_heard(
    browser: Browser, peer: MakePeer, daemon: MakeDaemon, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The next note is an octave lower; the page shows that it sounds and which way it took; panic ends it."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    keys, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    playing = daemon(RULES)
    playing.has_opened("keys", "rack")
    with page_of(NAME, Access(may_control=True)) as rig, page_open(browser, f"http://{rig.host}/") as page:
        giant = page.get_by_role("switch", name="giant")
        giant.click()
        expect(giant).to_have_attribute("aria-checked", "true")
        turn_to(page, "rig")
        keys.play(b"\x90\x3c\x64")
        rack.hears([b"\x92\x30\x64"])
        expect(page.locator(".node.device", has_text="reed box")).to_contain_text("C3")
        expect(page.locator(".node.rule", has_text="small")).to_contain_text("closed")
        page.get_by_role("button", name="large").click()
        page.get_by_role("button", name="large → reed box").click()
        expect(page.locator(".messages li").first).to_contain_text("note-on 1 C4 100")
        page.click("#panic")
        expect(page.locator("#panic-note")).to_have_text("done: silent")
        until(lambda: b"\x82\x30\x40" in rack.heard, "the end of the note")
        expect(page.get_by_text("Nothing sounds.")).to_be_visible()
        turn_to(page, "log")
        expect(page.locator(".entries")).to_contain_text("note-on 3 C3 100")
        page.get_by_role("button", name="Save the last 5 minutes").click()
        expect(page.get_by_role("alert")).to_contain_text("Saved")
        assert len(list(tmp_path.rglob("*.mid"))) == 1


def test_a_daemon_that_ends_and_returns_is_on_the_page_again(
    browser: Browser, peer: MakePeer, daemon: MakeDaemon
) -> None:
    """The page says that it is gone, and shows what is new when it is back; a rule file with a mistake is marked."""
    peer("Pit Keyboard", "out"), peer("Rack", "in")
    first = daemon(RULES)
    with page_of(NAME, Access()) as rig, page_open(browser, f"http://{rig.host}/") as page:
        turn_to(page, "rules")
        expect(page.locator(".code")).to_contain_text('name = "small"')
        assert first.leave() == 0
        expect(page.locator("#banner")).to_contain_text("The daemon is not running")
        page.click("#panic")
        expect(page.get_by_role("alert")).to_contain_text("PANIC failed.")
        second = daemon(RULES.replace('"small"', '"tiny"'))
        expect(page.locator(".code")).to_contain_text('name = "tiny"')
        expect(page.locator("#banner")).to_be_hidden()
        second.save(RULES.replace('from = "keys"\nwhen = "giant"', 'from = "kezs"\nwhen = "giant"'))
        expect(page.locator(".code .wrong + .mistake")).to_contain_text("kezs")
        expect(page.locator("#trouble-count")).to_be_visible()
