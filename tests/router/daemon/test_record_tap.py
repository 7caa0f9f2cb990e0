"""What a watcher is told of the records that the loop logs."""

from __future__ import annotations

from router.daemon.record_tap import MOST_ENTRIES, Entry, RecordTap
from rules.journal.format import IN, NAMES, OUT, PANIC, TAKE, Names, Record, names_data
from rules.midi.sounding_notes import SoundingNote

ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
NAMES_OF_NOW = Names(("keys", "pads"), ("rack", "box"))


def begun() -> RecordTap:
    """A tap that knows its ports."""
    tap = RecordTap()
    tap.begin(lambda: (NAMES_OF_NOW, []))
    return tap


def taken(tap: RecordTap) -> tuple[list[Entry], int, bool]:
    """What a tap gives."""
    return tap.take(lambda: None)


def test_messages_come_with_the_names_of_their_ports() -> None:
    """Both ways, in order."""
    tap = begun()
    tap.hear([(IN, 5_000, 1, ON), (OUT, 6_999, 0, ON)])
    assert tap.take(lambda: None, 1_000_000) == (
        [[1_005, "in", "pads", "903c64", 3], [1_006, "out", "rack", "903c64", 3]],
        0,
        True,
    )
    assert taken(tap) == ([], 0, False)
    assert tap.sounding.notes == [(0, 0, 60, 6_999)]


def test_new_rules_bring_new_names() -> None:
    """From the moment on when they are in force."""
    tap = begun()
    other = Names(("keys", "pads"), ("rack", "box", "bell"))
    tap.hear([(NAMES, 4, 0, names_data(other)), (OUT, 5_000, 2, ON)])
    assert taken(tap)[0] == [[5, "out", "bell", "903c64", 3]]


def test_a_take_that_plays_has_the_name_of_its_input() -> None:
    """It is a player of its own."""
    tap = begun()
    tap.hear([(TAKE, 4, 2, b"keys"), (IN, 5_000, 2, ON)])
    assert taken(tap)[0] == [[5, "in", "keys", "903c64", 3]]


def test_clock_and_active_sensing_are_no_messages_to_read() -> None:
    """Yet something has happened."""
    tap = begun()
    tap.hear([(IN, 5, 0, b"\xf8"), (OUT, 5, 0, b"\xf8"), (IN, 6, 0, b"\xfe"), (IN, 7, 0, b"\xf1\x00")])
    assert taken(tap) == ([], 0, True)


def test_other_records_are_something_that_has_happened() -> None:
    """A panic, for instance."""
    tap = begun()
    tap.hear([(PANIC, 5, 0, b"\x00")])
    assert taken(tap) == ([], 0, True)


def test_of_many_messages_the_last_ones_come_and_the_others_are_counted() -> None:
    """What sounds is known all the same."""
    tap = begun()
    tap.hear([(OUT, time * 1_000, 0, ON if time == 0 else b"\xb0\x07\x05") for time in range(200)])
    entries, skipped, _ = taken(tap)
    assert [entry[0] for entry in entries] == list(range(200 - MOST_ENTRIES, 200))
    assert skipped == 200 - MOST_ENTRIES
    assert tap.sounding.notes == [(0, 0, 60, 0)]


def test_a_long_sysex_is_cut() -> None:
    """How long it was is known."""
    tap = begun()
    tap.hear([(IN, 5, 0, b"\xf0" + bytes(5_000) + b"\xf7")])
    ((_, _, _, data, length),), _, _ = taken(tap)
    assert (data, length) == ("f0" + "00" * 23, 5_002)


def test_a_watcher_that_doesn_t_read_keeps_no_more_than_so_much() -> None:
    """Then it has to ask again for what sounds; what it missed is counted."""
    tap = begun()
    records: list[Record] = [(OUT, 5, 0, ON)] * 1_000
    for _ in range(25):
        tap.hear(records)
    assert tap.is_behind
    entries, skipped, _ = taken(tap)
    assert len(entries) + skipped == 25_000
    tap.begin(lambda: (NAMES_OF_NOW, [(0, 0, 61, 7)]))
    assert not tap.is_behind
    assert tap.sounding.notes == [(0, 0, 61, 7)]


def test_what_is_missed_while_a_watcher_is_answered_is_not_forgotten() -> None:
    """The note-off that was lost after the answer isn't in it: so it has to ask again."""
    tap = begun()

    def answer() -> tuple[Names, list[SoundingNote]]:
        for _ in range(25):
            tap.hear([(OUT, 9, 0, OFF)] * 1_000)
        return NAMES_OF_NOW, [(0, 0, 60, 7)]

    tap.begin(answer)
    assert tap.is_behind
    tap.begin(lambda: (NAMES_OF_NOW, []))
    assert not tap.is_behind
    assert tap.sounding.notes == []
