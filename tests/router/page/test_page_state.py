"""What the page shows, made of what the daemon says."""

from __future__ import annotations

from typing import Any

import pytest

from router.page.page_state import PageState
from router.page.rule_facts import read_facts
from tests.support.fake_clock import FakeClock
from tests.support.watched_daemon import NEVER_RELOADED, RULES, WATCHED

CALM: dict[str, Any] = {**WATCHED, "ports": [port for port in WATCHED["ports"] if port["state"] == "open"]}


class Page:
    """The state of a page, whose time a test sets."""

    def __init__(self, told: dict[str, Any] = CALM, rules: str | None = RULES) -> None:
        self.clock = FakeClock(wall_s=1_000.0)
        self.state = PageState(self.clock.clock)
        self.state.begin(told)
        if rules is not None:
            self.state.use_rules(read_facts((("pit.toml", rules.encode()),)), [])

    @property
    def shown(self) -> dict[str, Any]:
        """Everything."""
        return self.state.whole


def note(port: str = "cable_a", channel: int = 4, key: int = 60, since: float = 1_000.0) -> dict[str, Any]:
    """A note that sounds."""
    return {"port": port, "channel": channel, "key": key, "since": since}


def test_what_status_tells_is_there() -> None:
    """But for what only this computer needs."""
    shown = Page().shown
    assert (shown["name"], shown["switches"], shown["held"]) == ("pit", WATCHED["switches"], 3)
    assert "pid" not in shown
    assert shown["activity"] == {"keyboard": 12_034, "cable_a": 2_018}


def test_only_what_is_new_is_told() -> None:
    """Each key with its whole value."""
    page = Page()
    assert page.state.change({"held": 3}) == {}
    assert page.state.change({"held": 4}) == {"held": 4}
    assert page.shown["held"] == 4


def test_notes_are_shown_by_device_in_the_words_of_the_rule_file() -> None:
    """A channel that no device has by itself is one for all channels; at a port without devices, it is the port's."""
    page = Page()
    sounding = [note(), note(key=64), note("cable_b", 9, 62), note("elsewhere", 1, 61)]
    assert page.state.change({"sounding": sounding})["sounding"] == [
        {"device": "organ", "port": "cable_a", "notes": ["C4", "E4"], "longest_s": 0},
        {"device": "harp", "port": "cable_b", "notes": ["D4"], "longest_s": 0},
        {"device": None, "port": "elsewhere", "notes": ["C#4"], "longest_s": 0},
    ]


def test_a_rule_file_that_counts_middle_c_otherwise_is_followed() -> None:
    """In notes that sound and in messages."""
    page = Page(rules='middle_c = "C3"\n' + RULES)
    assert page.state.change({"sounding": [note()]})["sounding"][0]["notes"] == ["C3"]
    (entry,) = page.state.entries([[5, "in", "keyboard", "903c64", 3]])
    assert entry["text"] == "note-on 1 C3 100"


def test_a_note_that_sounds_for_half_a_minute_is_trouble() -> None:
    """It may hang."""
    page = Page()
    page.state.change({"sounding": [note(since=970.5)]})
    assert page.shown["trouble"] == []
    page.clock.wall += 1
    change = page.state.change({})
    assert change["trouble"] == [
        {"kind": "held", "words": "organ: a note has sounded for 30 s; if it hangs, press PANIC"}
    ]
    assert change["sounding"][0]["longest_s"] == 30


def test_the_worst_trouble_comes_first() -> None:
    """Ports that are missing, then rules, then what was lost, then busy cables."""
    rules = {**WATCHED["rules"], "error": "pit.toml:2: what?", "refused": "files"}
    busy = {**WATCHED["ports"][1], "load": 0.93, "lost": 2}
    told = {**WATCHED, "ports": [busy, WATCHED["ports"][2]], "rules": rules, "sounding": [note(since=0)]}
    kinds = [trouble["kind"] for trouble in Page(told).shown["trouble"]]
    assert kinds == ["port", "rules", "rules", "lost", "lost", "held", "cable"]


def test_the_rig_shows_what_is_open_and_what_is_missing() -> None:
    """As the switches are."""
    page = Page(WATCHED)
    rig = page.shown["rig"]
    assert rig["ports"][2] == {
        "name": "cable_b",
        "direction": "out",
        "device_of_computer": None,
        "missing": True,
    }
    assert rig["devices"] == [
        {"name": "organ", "port": "cable_a", "channel": 4},
        {"name": "harp", "port": "cable_b", "channel": None},
    ]
    assert [rule["open"] for rule in rig["rules"]] == [True, True]
    change = page.state.change({"switches": {"giant": False, "place": "garden", "key": 0}})
    assert [rule["open"] for rule in change["rig"]["rules"]] == [True, False]


def test_the_rig_is_the_same_until_it_may_be_another() -> None:
    """To ask which rules are open takes its time."""
    page = Page()
    before = page.shown["rig"]
    page.state.change({"held": 9})
    assert page.shown["rig"] is before


def test_switches_come_with_what_they_can_be_at() -> None:
    """On-off, values, and numbers."""
    assert Page().shown["switch_states"] == {
        "giant": {"at": False, "kind": "on-off", "values": []},
        "place": {"at": "cave", "kind": "values", "values": ["garden", "cave"]},
        "key": {"at": -2, "kind": "numbers", "values": [-3, 3]},
    }


def test_a_recording_says_how_long_it_takes() -> None:
    """In whole seconds."""
    page = Page({**CALM, "recording_since": 990.2})
    assert page.shown["recording_s"] == 9
    assert page.state.change({"recording_since": None})["recording_s"] is None


def test_the_last_reload_is_shown_without_what_only_we_need() -> None:
    """And whether there are former rules."""
    reload = {**NEVER_RELOADED, "serial": 4, "differences": ["silent now"], "has_former": True, "going_back": True}
    page = Page({**CALM, "last_reload": reload})
    assert set(page.shown["last_reload"]) == {"at", "outcome", "refused", "words", "differences"}
    assert (page.shown["former_rules"], page.shown["going_back"], page.state.serial) == (True, True, 4)


@pytest.mark.parametrize(
    ("data", "length", "text"),
    [
        (b"\xb0\x40\x7f", 3, "controller 1 sustain 127"),
        (b"\xf0\x7d\x01\xf7", 4, "sysex F0 7D 01 F7"),
        (b"\xf0\x7d\x01", 5_000, "sysex of 5,000 bytes: F0 7D 01 ..."),
    ],
)
def test_messages_are_put_in_words(data: bytes, length: int, text: str) -> None:
    """A long sysex by its length and its beginning."""
    assert Page().state.entries([[5, "in", "keyboard", data.hex(), length]])[0]["text"] == text


def test_messages_and_lines_come_in_the_order_of_their_times() -> None:
    """In seconds since 1970."""
    messages = [[time, "in", "keyboard", "c005", 2] for time in (1_500_000, 2_500_000)]
    entries = Page().state.entries(messages, [[2_000_000, "playing"]])
    assert [entry["at"] for entry in entries] == [1.5, 2.0, 2.5]


def test_the_log_is_remembered_for_browsers_that_come() -> None:
    """The last 400 entries; of a new daemon there are none."""
    page = Page()
    for number in range(500):
        page.state.entries([], [[number * 1_000_000, "line\x1b[2J"]])
    assert len(page.state.log) == 400
    assert page.state.log[-1] == {"at": 499, "say": "line\\x1b[2J"}
    page.state.begin(CALM)
    assert not page.state.log


def test_before_the_rules_are_read_the_rest_is_there() -> None:
    """A page need not wait for that."""
    shown = Page(rules=None).shown
    assert shown["rig"] == {"ports": [], "rules": [], "devices": []}
    assert shown["switch_states"] == {}
    assert shown["switches"] == WATCHED["switches"]


def test_a_song_comes_with_the_notes_of_the_player() -> None:
    """Those of the song that plays."""
    songs = {"names": ["Harbour", "Tide"], "at": 0, "wrap": False}
    text = RULES + '[[songs]]\nname = "Harbour"\nabout = "wait for the singer"\n[[songs]]\nname = "Tide"\n'
    page = Page({**CALM, "songs": songs}, text)
    assert page.shown["songs"] == {**songs, "about": "wait for the singer"}
    assert page.state.change({"songs": {**songs, "at": 1}})["songs"]["about"] is None
    assert Page({**CALM, "songs": songs}, None).shown["songs"]["about"] is None
