"""What became of the notes of a recording."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_rules
from rules.drawing.take_notes import Bar, Fate, Lane, TakeNotes, notes_as_recorded, notes_through_rules
from rules.errors import MidiFileError
from rules.rulefile.reading import read_rules
from rules.smf.midi_file import read
from rules.smf.report import Playing
from tests.support.smf_bytes import END, one_track

PORTS = """
[ports]
seq = { input = true }
rack = { output = true }
box = { output = true }
[devices]
organ = { port = "rack", channel = 4 }
choir = { port = "rack", channel = 4 }
"""

NOTE = "00 90 3C 64 60 80 3C 40"  # C4 on channel 1, for 96 ticks


def through(rule: str, body: str = NOTE) -> TakeNotes:
    """The notes of a track through one rule."""
    ruleset = read_rules([("rules.toml", f'{PORTS}[[rules]]\nfrom = "seq"\n{rule}\n'.encode())])
    return notes_through_rules(read(one_track(body + END)), ruleset, compile_rules(ruleset), Playing("seq"))


def lanes(found: tuple[Lane, ...]) -> list[tuple[str, list[Bar]]]:
    """Titles and notes."""
    return [(lane.title, lane.bars) for lane in found]


def test_a_note_that_stays() -> None:
    """On its channel and its key, though it may be louder."""
    notes = through('steps = [{ velocity = 100 }]\nto = "rack"')
    assert lanes(notes.before) == [("seq, channel 1", [Bar(0, 96, 60, Fate.KEPT)])]
    assert lanes(notes.after) == [("rack, channel 1", [Bar(0, 96, 60, Fate.KEPT)])]
    assert notes.before[0].leads_to == {"rack, channel 1": 1}
    assert notes.end == 96


def test_a_note_that_moves_to_a_device() -> None:
    """To its channel, or to another key. Devices that share a channel share a lane."""
    notes = through('to = "organ"')
    assert lanes(notes.before) == [("seq, channel 1", [Bar(0, 96, 60, Fate.MOVED)])]
    assert lanes(notes.after) == [("organ and choir, channel 4", [Bar(0, 96, 60, Fate.MOVED)])]
    higher = through('steps = [{ transpose = 12 }]\nto = "rack"')
    assert lanes(higher.after) == [("rack, channel 1", [Bar(0, 96, 72, Fate.MOVED)])]


def test_a_note_that_is_dropped() -> None:
    """Nothing of it comes out."""
    notes = through('match = { channel = 2 }\nto = "rack"')
    assert lanes(notes.before) == [("seq, channel 1", [Bar(0, 96, 60, Fate.DROPPED)])]
    assert notes.after == ()


def test_notes_that_come_later() -> None:
    """Delayed, or echoes of a note that stays."""
    delayed = through('steps = [{ delay = { beats = 1 } }]\nto = "rack"')
    assert delayed.before[0].bars == [Bar(0, 96, 60, Fate.LATER)]
    assert lanes(delayed.after) == [("rack, channel 1", [Bar(96, 192, 60, Fate.LATER)])]
    echo = through('steps = [{ echo = { beats = 2, times = 1 } }]\nto = "rack"')
    assert echo.before[0].bars == [Bar(0, 96, 60, Fate.KEPT)]
    assert lanes(echo.after) == [("rack, channel 1", [Bar(0, 96, 60, Fate.KEPT), Bar(192, 288, 60, Fate.LATER)])]


def test_a_chord_adds_notes() -> None:
    """To the one that was played, or on another channel to the one with its key; else to the first."""
    for steps, keys in (("", (60, 64)), (", { rechannel = 4 }", (60, 64)), (", { transpose = 1 }", (61, 65))):
        notes = through(f'steps = [{{ chord = [0, 4] }}{steps}]\nto = "rack"')
        fate = Fate.KEPT if not steps else Fate.MOVED
        assert notes.before[0].bars == [Bar(0, 96, 60, fate)]
        assert sorted(notes.after[0].bars) == [Bar(0, 96, keys[0], fate), Bar(0, 96, keys[1], Fate.ADDED)]


def test_a_layer_leads_to_several_places() -> None:
    """A note that sounds where it was, and elsewhere too, stays."""
    notes = through('to = ["box", "organ"]')
    assert notes.before[0].bars == [Bar(0, 96, 60, Fate.KEPT)]
    assert notes.before[0].leads_to == {"box, channel 1": 1, "organ and choir, channel 4": 1}
    assert [title for title, _ in lanes(notes.after)] == ["organ and choir, channel 4", "box, channel 1"]


def test_other_messages_are_counted() -> None:
    """Those that came, and those that came to nothing."""
    rule = 'steps = [{ filter = { drop = { controller = 7 } } }]\nto = "rack"'
    (lane,) = through(rule, "00 B0 07 64 00 B0 40 7F").before
    assert (lane.other, lane.other_dropped, lane.bars) == (2, 1, [])


@pytest.mark.parametrize("end", ["60 80 3C 40", "60 90 3C 00", "60 B0 7B 00", "60 B0 78 00"])
def test_what_ends_a_note(end: str) -> None:
    """A note-off in both forms, and messages that end every note."""
    (lane,) = notes_as_recorded(read(one_track(f"00 90 3C 64 {end} 60 B0 40 00 {END}"))).before
    assert lane.bars == [Bar(0, 96, 60, Fate.KEPT)]


def test_notes_that_never_end_and_notes_struck_twice() -> None:
    """The first last to the end of all; a note-off ends every strike of its key."""
    notes = notes_as_recorded(read(one_track(f"00 90 3C 64 60 3C 64 60 3C 00 00 3E 64 60 B0 40 00 {END}")))
    assert notes.before[0].bars == [
        Bar(0, 192, 60, Fate.KEPT),
        Bar(96, 192, 60, Fate.KEPT),
        Bar(192, 288, 62, Fate.KEPT),
    ]
    assert notes.end == 288


def test_a_recording_without_rules() -> None:
    """Its channels, in order, and nothing after them."""
    notes = notes_as_recorded(read(one_track(f"00 95 3C 64 60 85 3C 40 {NOTE}{END}")))
    assert [lane.title for lane in notes.before] == ["channel 1", "channel 6"]
    assert notes.after == ()


def test_pieces_without_a_common_time_are_refused() -> None:
    """Tracks of a file of format 2."""
    data = bytearray(one_track(NOTE + END))
    data[9] = 2
    ruleset = read_rules([("rules.toml", f'{PORTS}[[rules]]\nfrom = "seq"\nto = "rack"\n'.encode())])
    with pytest.raises(MidiFileError, match="format 2"):
        notes_through_rules(read(bytes(data)), ruleset, compile_rules(ruleset), Playing("seq"))
