"""The request `watch`: a state, then what changes, and the messages."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import pytest

from router.daemon.recent_lines import RecentLines
from router.daemon.watch import LOOK_EVERY_S, Watch
from router.files.clock import Clock
from router.recording.recorder import Recorder
from rules.journal.format import IN, OUT, Names
from rules.midi.sounding_notes import SoundingNote

ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
WALL_S = 1_795_610_000.0
WALL_US = 1_795_610_000_000_000


class Watched:
    """A daemon that counts what it is asked; tests change `state`."""

    def __init__(self) -> None:
        self.state: dict[str, Any] = {"switches": {"up": False}, "tempo": 120, "running_s": 0}
        self.notes: list[SoundingNote] = []
        self.wholes = 0
        self.glances = 0

    def whole(self) -> dict[str, Any]:
        """Tell everything."""
        self.wholes += 1
        return dict(self.state)

    def glance(self) -> dict[str, Any]:
        """Tell a part."""
        self.glances += 1
        return {"switches": self.state["switches"]}

    def sounding(self) -> tuple[Names, Sequence[SoundingNote]]:
        """Tell what sounds."""
        return Names(("keys",), ("rack",)), self.notes


class Rig:
    """A watcher whose time passes only while it waits. `after` are things to do, one in each pause."""

    def __init__(self) -> None:
        self.now = 0
        clock = Clock(lambda: self.now, lambda: WALL_S + self.now / 1e9, self._rest)
        self.watched = Watched()
        self.recorder = Recorder(lambda text: None, clock=clock)
        self.said = RecentLines(lambda text: None, clock)
        self._lines = Watch(self.watched, self.recorder, self.said, clock).lines({}, self._pause)
        self._leaves = False
        self.paused = 0

    def _rest(self, seconds: float) -> None:
        self.now += round(seconds * 1e9)

    def _pause(self, seconds: float) -> bool:
        self._rest(seconds)
        self.paused += 1
        return not self._leaves

    def next(self) -> dict[str, Any]:
        """The next line."""
        return next(self._lines)

    def leaves(self) -> list[dict[str, Any]]:
        """The lines until the server stops, after one more pause."""
        self._leaves = True
        return list(self._lines)


@pytest.fixture
def rig() -> Iterator[Rig]:
    """A watcher that has had its state."""
    rig = Rig()
    yield rig
    rig.leaves()
    assert not rig.recorder._followers


def test_first_comes_the_whole_state(rig: Rig) -> None:
    """With the notes that sound, by port."""
    rig.watched.notes = [(0, 3, 60, 0)]
    assert rig.next() == {
        "state": {
            **rig.watched.state,
            "sounding": [{"port": "rack", "channel": 4, "key": 60, "since": WALL_S}],
            "sounding_notes": 1,
        }
    }


def test_lines_that_were_said_before_come_with_it(rig: Rig) -> None:
    """A watcher wants to know what has just been."""
    rig.said.say("playing")
    assert "state" in rig.next()
    assert rig.next() == {"log": [], "said": [[WALL_US, "playing"]], "skipped": 0}


def test_each_second_there_is_a_sign_of_life(rig: Rig) -> None:
    """Even where nothing has changed. In silence the daemon is asked once a second, and for nothing else."""
    rig.next()
    for _ in range(5):
        assert rig.next() == {"change": {}}
    assert rig.now == 5_000_000_000
    assert (rig.watched.wholes, rig.watched.glances) == (6, 0)


def test_what_changes_while_music_plays_comes_at_the_next_look(rig: Rig) -> None:
    """Only the keys that have changed; then the messages."""
    rig.next()
    rig.recorder.log((IN, 0, 0, ON))
    rig.recorder.log((OUT, 0, 0, ON))
    rig.watched.state["switches"] = {"up": True}
    rig.watched.state["tempo"] = 90
    sounding = [{"port": "rack", "channel": 1, "key": 60, "since": WALL_S}]
    assert rig.next() == {"change": {"switches": {"up": True}, "sounding": sounding, "sounding_notes": 1}}
    assert rig.next() == {
        "log": [[WALL_US, "in", "keys", "903c64", 3], [WALL_US, "out", "rack", "903c64", 3]],
        "said": [],
        "skipped": 0,
    }
    assert rig.now == round(LOOK_EVERY_S * 1e9)
    assert rig.next() == {"change": {"tempo": 90}}


def test_clock_alone_changes_nothing_and_says_nothing(rig: Rig) -> None:
    """The loop is asked for a glance, since the tempo may be another."""
    rig.next()
    rig.recorder.log((IN, 0, 0, b"\xf8"))
    assert rig.next() == {"change": {}}
    assert rig.now == 1_000_000_000
    assert rig.watched.glances == 1


def test_a_line_of_the_log_brings_the_whole_state(rig: Rig) -> None:
    """A port that has gone is said, and shows in the state at once."""
    rig.next()
    rig.watched.state["tempo"] = 90
    rig.said.say("output rack has gone")
    assert rig.next() == {"change": {"tempo": 90}}
    assert rig.next() == {"log": [], "said": [[WALL_US, "output rack has gone"]], "skipped": 0}


def test_it_is_told_to_nobody_more_often_than_20_times_a_second(rig: Rig) -> None:
    """However much is played."""
    rig.next()
    changes = 0
    while rig.now < 2_000_000_000:
        rig.recorder.log((OUT, rig.now, 0, ON if changes % 2 else OFF))
        changes += "change" in rig.next()
    assert changes <= 2 * 20


def test_a_watcher_that_was_away_too_long_asks_again_for_what_sounds(rig: Rig) -> None:
    """What it missed is counted."""
    rig.next()
    for _ in range(25_000):
        rig.recorder.log((OUT, 0, 0, ON))
        if len(rig.recorder._queue) == 1_000:
            rig.recorder.collect()
    rig.watched.notes = [(0, 0, 72, 0)]
    change, log = rig.next(), rig.next()
    assert [note["key"] for note in change["change"]["sounding"]] == [72]
    assert len(log["log"]) + log["skipped"] == 25_000


def test_two_watchers_are_told_the_same(rig: Rig) -> None:
    """One takes nothing away from the other, nor from the recorder."""
    clock = Clock(lambda: rig.now, lambda: WALL_S + rig.now / 1e9)
    other = Watch(rig.watched, rig.recorder, rig.said, clock).lines({}, lambda seconds: True)
    assert next(other) == rig.next()
    rig.recorder.log((IN, 0, 0, ON))
    assert rig.next()["log"] == next(other)["log"]
    other.close()  # type: ignore[attr-defined]  # a generator
    assert rig.recorder.everything().count(ON) == 1
