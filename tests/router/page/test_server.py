"""The page over real sockets: what a browser gets, and what becomes of what it asks."""

from __future__ import annotations

import pytest

from router.page.access import Access
from tests.support.page_rig import PageRig, page_of
from tests.support.watched_daemon import NEVER_RELOADED, WatchedDaemon


def test_a_browser_gets_the_page_and_its_files(page: PageRig) -> None:
    """HTML that asks for its own files, and for nothing else."""
    answer, body = page.get("/")
    assert (answer.status, answer.getheader("content-type")) == (200, "text/html; charset=utf-8")
    assert b"/static/main.js" in body
    answer, _ = page.get("/static/main.js")
    assert answer.status == 200
    assert "javascript" in (answer.getheader("content-type") or "")


def test_a_browser_first_gets_the_whole_state(page: PageRig) -> None:
    """With what the rule files say, a moment later at the latest."""
    browser = page.browser()
    told = browser.next("state")
    assert told["may_control"] is False
    assert told["state"]["name"] == "pit"
    rig = told["state"]["rig"]
    if not rig["rules"]:
        rig = browser.next_change(lambda change: "rig" in change)["rig"]
    assert [(rule["name"], rule["to"], rule["open"]) for rule in rig["rules"]] == [
        ("left hand", ["organ"], True),
        ("cave only", ["organ", "harp"], True),
    ]
    browser.close()


def test_what_changes_comes_to_every_browser(page: PageRig, daemon: WatchedDaemon) -> None:
    """Whole values of the keys that have changed."""
    browsers = [page.browser() for _ in range(3)]
    for browser in browsers:
        browser.next("state")
    daemon.change(switches={"giant": True, "place": "garden", "key": 0})
    for browser in browsers:
        change = browser.next_change(lambda change: "switches" in change)
        assert change["switches"] == {"giant": True, "place": "garden", "key": 0}
        browser.close()
    assert daemon.watchers == 1


def test_messages_come_in_words(page: PageRig, daemon: WatchedDaemon) -> None:
    """In the notation of the rule file; a browser that comes later gets them as well."""
    first = page.browser()
    first.next("state")
    daemon.tell(log=[[5_000_000, "in", "keyboard", "903c64", 3]], said=[[6_000_000, "playing"]], skipped=7)
    wanted = [
        {"at": 5.0, "port": "keyboard", "direction": "in", "text": "note-on 1 C4 100"},
        {"at": 6.0, "say": "playing"},
    ]
    assert first.next_log() == {"type": "log", "log": wanted, "skipped": 7}
    second = page.browser()
    assert second.next_log() == {"type": "log", "log": wanted, "skipped": 0}
    for browser in (first, second):
        browser.close()


def test_a_daemon_that_has_ended_is_missed_and_comes_back(page: PageRig, daemon: WatchedDaemon) -> None:
    """The page waits for the next one of its name."""
    browser = page.browser()
    browser.next("state")
    daemon.stop()
    browser.next("gone")
    other = page.browser()
    assert other.next() == {"type": "gone"}
    again = WatchedDaemon()
    again.state["running_s"] = 1
    again.start()
    try:
        for one in (browser, other):
            one.next("back")
            assert one.next("state")["state"]["running_s"] == 1
            one.close()
    finally:
        again.stop()


def test_a_line_that_can_t_be_understood_is_survived(page: PageRig, daemon: WatchedDaemon) -> None:
    """A daemon of another version may say one: the page begins anew with it."""
    browser = page.browser()
    browser.next("state")
    daemon.tell(change={"ports": [{}]})
    browser.next("gone")
    browser.next("back")
    assert browser.next("state")["state"]["name"] == "pit"
    browser.close()


def test_new_rules_are_read(page: PageRig, daemon: WatchedDaemon) -> None:
    """When the daemon says that it has others."""
    browser = page.browser()
    browser.next("state")
    text = daemon.playing["pit.toml"].replace(b"left hand", b"bass")
    daemon.playing = daemon.found = {"pit.toml": text}
    daemon.change(last_reload={**NEVER_RELOADED, "serial": 1, "words": ["1 rule changed"]})
    change = browser.next_change(lambda change: "bass" in str(change.get("rig")))
    assert change["rules_files"] == [{"name": "pit.toml", "text": text.decode(), "errors": []}]
    browser.close()


def test_rules_that_can_t_be_used_are_shown_with_their_errors(page: PageRig, daemon: WatchedDaemon) -> None:
    """The rig stays that of the rules that play on."""
    browser = page.browser()
    browser.next("state")
    daemon.found = {"pit.toml": b"[ports]\nkeyboard = 7\n"}
    problem = {"file": "pit.toml", "line": 2, "place": "port keyboard", "text": "7 is not a port"}
    daemon.change(
        last_reload={**NEVER_RELOADED, "serial": 1, "outcome": "rejected", "refused": "files", "problems": [problem]}
    )
    change = browser.next_change(lambda change: "7 is not" in str(change.get("rules_files")))
    assert change["rules_files"] == [
        {
            "name": "pit.toml",
            "text": "[ports]\nkeyboard = 7\n",
            "errors": [{"line": 2, "words": "port keyboard: 7 is not a port"}],
        }
    ]
    browser.close()


def test_rules_that_the_page_fails_to_read_are_reported(
    page: PageRig, daemon: WatchedDaemon, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the terminal. The page stays as it was, and reads the next ones."""
    browser = page.browser()
    browser.next("state")
    daemon.change(last_reload={**NEVER_RELOADED, "serial": 1, "outcome": "rejected", "problems": [{"words": "?"}]})
    browser.next_change(lambda change: change.get("last_reload", {}).get("outcome") == "rejected")
    text = daemon.playing["pit.toml"].replace(b"left hand", b"bass")
    daemon.playing = daemon.found = {"pit.toml": text}
    said = ""
    for _ in range(40):  # half a second each, at most
        browser.next("change")
        said += capsys.readouterr().err
        if "KeyError" in said:
            break
    assert said.startswith("Internal error, the page goes on. Please report: Traceback")
    daemon.change(last_reload={**NEVER_RELOADED, "serial": 2})
    browser.next_change(lambda change: "bass" in str(change.get("rig")))
    browser.close()


def test_panic_is_for_everybody(page: PageRig, daemon: WatchedDaemon) -> None:
    """Also on a page that only shows."""
    browser = page.browser()
    assert browser.order(do="panic")["ok"]
    assert daemon.asked == [("panic", {})]
    browser.close()


ORDERS = [
    {"do": "switch", "name": "giant", "value": True},
    {"do": "record", "on": True},
    {"do": "record", "on": False},
    {"do": "save", "minutes": 5},
    {"do": "tap"},
    {"do": "clock", "command": "start"},
    {"do": "song", "to": "next"},
    {"do": "former rules"},
]


@pytest.mark.parametrize("order", ORDERS, ids=str)
def test_a_page_that_only_shows_changes_nothing(page: PageRig, daemon: WatchedDaemon, order: dict[str, object]) -> None:
    """The answer says how to allow it; the daemon isn't asked."""
    browser = page.browser()
    answer = browser.order(**order)
    assert not answer["ok"]
    assert "pointsman page --control" in answer["error"]
    assert daemon.asked == []
    browser.close()


def test_a_page_that_may_control_turns_switches(control: PageRig, daemon: WatchedDaemon) -> None:
    """On and off, values, and numbers."""
    browser = control.browser()
    assert browser.next("state")["may_control"] is True
    for name, value in (("giant", True), ("giant", False), ("place", "cave"), ("key", -2)):
        assert browser.order(do="switch", name=name, value=value)["ok"]
    assert daemon.asked == [
        ("switch", {"name": "giant", "value": "on"}),
        ("switch", {"name": "giant", "value": "off"}),
        ("switch", {"name": "place", "value": "cave"}),
        ("switch", {"name": "key", "value": "-2"}),
    ]
    browser.close()


def test_what_the_daemon_refuses_comes_back_in_its_words(control: PageRig, daemon: WatchedDaemon) -> None:
    """The browser shows them."""
    daemon.refusal = 'there is no switch named "up"'
    browser = control.browser()
    answer = browser.order(do="switch", name="up", value=True)
    assert (answer["ok"], answer["error"], answer["data"]) == (False, 'there is no switch named "up"', {})
    browser.close()


def test_without_a_daemon_an_order_fails_in_words(login: object) -> None:
    """It isn't the page's fault."""
    with page_of("pit", Access(may_control=True)) as rig:
        browser = rig.browser()
        assert browser.next() == {"type": "gone"}
        assert browser.order(do="panic")["error"].startswith('there is no daemon named "pit"')
        browser.close()
