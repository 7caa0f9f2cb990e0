"""What is due when, and what happens when the one who feeds is late, or the take pauses."""

from __future__ import annotations

import pytest

from rules.playback.playback import MOST_WAITING, Playback
from rules.playback.positions import PARTS_A_CLOCK
from rules.playback.take_stream import Mark, Piece
from rules.timing.delays import NEVER
from tests.support.played_files import OFF, ON

MS = 1_000_000
SECOND = 1_000 * MS
PEDAL = b"\xb0\x40\x7f"


def pieces(*told: tuple[int, bytes]) -> list[Piece]:
    """Messages of one source."""
    return [Piece(position, 0, message) for position, message in told]


def begun_by_clock() -> Playback:
    """By a clock it waits at first, until its transport lets it go on."""
    playback = Playback(0, by_clock=True)
    playback.tick(0, 20)
    assert (playback.is_paused, playback.has_moved) == (True, False)
    playback.go_on(0)
    return playback


def due(playback: Playback, now: int, most: int = 32) -> list[bytes]:
    """The messages that are due."""
    return [message for _, message in playback.due(now, most)]


def test_it_begins_as_the_first_messages_come() -> None:
    """Position 0 is then, and everything comes at its time, no sooner."""
    playback = Playback(0)
    assert playback.next_due == NEVER
    playback.add(pieces((0, ON), (10 * MS, OFF)), 20 * MS, 5 * MS)
    assert (playback.next_due, due(playback, 5 * MS)) == (5 * MS, [ON])
    assert (playback.next_due, due(playback, 14 * MS)) == (15 * MS, [])
    assert due(playback, 15 * MS) == [OFF]
    assert (playback.next_due, playback.is_over) == (NEVER, False)
    playback.add([], 20 * MS, 16 * MS, is_last=True)
    assert playback.is_over


def test_only_so_many_at_once() -> None:
    """So that what arrives has its turn in between."""
    playback = Playback(0)
    playback.add(pieces(*[(0, ON)] * 5), 0, 0)
    assert len(due(playback, 0, 2)) == 2
    assert playback.next_due == 0
    assert len(due(playback, 0, 9)) == 3


def test_what_comes_late_is_not_hurried() -> None:
    """It ran dry for 100 ms: all that follows comes so much later."""
    playback = Playback(0)
    playback.add(pieces((0, ON)), 50 * MS, 0)
    assert due(playback, 0) == [ON]
    playback.add(pieces((60 * MS, OFF), (90 * MS, ON)), 90 * MS, 150 * MS)
    assert playback.next_due == 160 * MS
    assert due(playback, 190 * MS) == [OFF, ON]


def test_a_loop_that_could_not_run_goes_on_from_where_it_was() -> None:
    """The process was stopped for a minute."""
    playback = Playback(0)
    playback.add(pieces((0, ON), (SECOND, OFF)), SECOND, 0)
    due(playback, 0)
    playback.hold_up(60 * SECOND)
    assert playback.next_due == 61 * SECOND
    assert not playback.is_abandoned(60 * SECOND)


def test_a_feeder_that_says_nothing_is_gone() -> None:
    """After three seconds; after thirty, once all has been told."""
    playback = Playback(0)
    playback.add(pieces((0, ON)), 10 * SECOND, 0)
    assert not playback.is_abandoned(3 * SECOND)
    assert playback.is_abandoned(3 * SECOND + 1)
    playback.hear(3 * SECOND)
    assert not playback.is_abandoned(5 * SECOND)
    playback.add([], 10 * SECOND, 5 * SECOND, is_last=True)
    assert not playback.is_abandoned(35 * SECOND)
    assert playback.is_abandoned(35 * SECOND + 1)


@pytest.mark.parametrize("told", [[(5, ON), (4, OFF)], [(5, ON)] * (MOST_WAITING + 1)])
def test_what_is_too_much_or_out_of_order_is_refused(told: list[tuple[int, bytes]]) -> None:
    """So memory is bounded, and nothing is due before what is due first."""
    with pytest.raises(ValueError, match="too much at once, or not in order"):
        Playback(0).add(pieces(*told), 9, 0)


def test_nothing_comes_before_what_was_known() -> None:
    """Up to `until` all was told."""
    playback = Playback(0)
    playback.add([], 9, 0)
    with pytest.raises(ValueError, match="not in order"):
        playback.add(pieces((8, ON)), 9, 0)


def test_long_messages_take_room_too() -> None:
    """A megabyte of sysex is enough."""
    playback = Playback(0)
    playback.add(pieces((0, b"\xf0" + bytes(999_998) + b"\xf7")), 0, 0)
    assert playback.room == 0
    playback.due(0, 1)
    assert playback.room == MOST_WAITING


def test_a_pause_holds_the_position() -> None:
    """Going on tells what is held besides notes, and the rest comes as much later."""
    playback = Playback(0)
    playback.add(pieces((0, ON), (0, PEDAL), (100 * MS, OFF)), 200 * MS, 0)
    due(playback, 0)
    playback.pause(40 * MS)
    assert (playback.next_due, playback.position(90 * MS)) == (NEVER, 40 * MS)
    assert playback.go_on(140 * MS) == [(0, PEDAL)]
    assert playback.next_due == 200 * MS
    assert playback.go_on(150 * MS) == []


def test_marks_are_passed_with_the_messages() -> None:
    """The last one tells bar and time."""
    playback = Playback(0)
    playback.add([Piece(0, 0, b"", Mark(1, 0.0)), *pieces((1, ON)), Piece(2, 0, b"", Mark(2, 2.0))], 9, 0)
    assert due(playback, 1) == [ON]
    assert playback.mark == Mark(1, 0.0)
    assert due(playback, 2) == []
    assert playback.mark == Mark(2, 2.0)


def test_by_a_clock_nothing_comes_before_its_clock_message() -> None:
    """Between two, by the time that the next one is expected; and the clock that stops holds it."""
    playback = begun_by_clock()
    half = PARTS_A_CLOCK // 2
    playback.add(pieces((0, ON), (half, OFF), (2 * PARTS_A_CLOCK, PEDAL)), 9 * PARTS_A_CLOCK, 0)
    assert playback.next_due == NEVER
    playback.tick(100, 20)
    assert due(playback, 100) == [ON]
    assert playback.next_due == 110
    assert due(playback, 110) == [OFF]
    playback.tick(120, 20)
    assert playback.next_due == NEVER
    playback.tick(500, 20)
    assert (playback.next_due, due(playback, 500)) == (500, [PEDAL])


def test_by_a_clock_what_is_late_comes_at_once() -> None:
    """The clock is ahead: then the take stays with it."""
    playback = begun_by_clock()
    playback.add([], 0, 0)
    for at in (0, 20, 40):
        playback.tick(at, 20)
    playback.add(pieces((0, ON), (PARTS_A_CLOCK, OFF), (3 * PARTS_A_CLOCK, PEDAL)), 9 * PARTS_A_CLOCK, 50)
    assert due(playback, 50) == [ON, OFF]
    assert playback.next_due == NEVER
    playback.pause(55)
    playback.tick(60, 20)
    assert playback.position(60) == 2 * PARTS_A_CLOCK
    playback.go_on(70)
    playback.tick(80, 20)
    assert due(playback, 80) == [PEDAL]
