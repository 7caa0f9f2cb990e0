"""What a take sends when it is played: its own messages in time, settings, clock and transport, and turns of a loop."""

from __future__ import annotations

from itertools import islice

import pytest

from rules.errors import MidiFileError
from rules.playback.positions import PARTS_A_CLOCK
from rules.playback.take_stream import Part, PlayableTake, loop_part
from rules.smf.midi_file import MidiFile, read
from tests.support.played_files import BAR, BAR_NS, OFF, ON, file_bytes, take_of, track_of

MS = 1_000_000
PEDAL, PEDAL_UP = b"\xb0\x40\x7f", b"\xb0\x40\x00"
CLOCK = b"\xf8"


def playable(file: MidiFile, *, by_clock: bool = False, sends_clock: bool = False) -> PlayableTake:
    """The take, all tracks from one source."""
    return PlayableTake(file, [0] * len(file.tracks), by_clock=by_clock, sends_clock=sends_clock)


def sent(take: PlayableTake, part: Part | None = None, most: int = 1000) -> list[tuple[int, bytes]]:
    """The first messages that are sent, without marks."""
    pieces = (piece for piece in take.play(part or Part()) if piece.mark is None)
    return [(piece.position, piece.message) for piece in islice(pieces, most)]


def positions(found: list[tuple[int, bytes]], wanted: bytes) -> list[int]:
    """Where a message comes."""
    return [position for position, message in found if message == wanted]


def test_messages_come_at_their_times() -> None:
    """At 120 BPM a quarter note takes half a second."""
    assert sent(playable(take_of([(0, ON), (96, OFF)]))) == [(0, ON), (500 * MS, OFF)]


def test_tempo_changes_count_also_from_a_bar_on() -> None:
    """From bar 2 on, the time begins there."""
    tempo = b"\xff\x51\x03\x0f\x42\x40"  # 60 BPM
    take = playable(take_of([(0, ON), (96, OFF), (BAR, tempo), (BAR, ON), (BAR + 96, OFF)], end=2 * BAR))
    assert sent(take)[2:] == [(BAR_NS, ON), (BAR_NS + 1000 * MS, OFF)]
    assert sent(take, Part(take.bar_begin(2))) == [(0, ON), (1000 * MS, OFF)]


def test_what_was_set_before_a_bar_goes_first() -> None:
    """It gets a moment for itself; notes held there are not sent, and their note-offs come as they are."""
    events = [(0, b"\xc0\x05"), (1, b"\xb0\x07\x40"), (2, ON), (BAR + 96, OFF)]
    take = playable(take_of(events, end=2 * BAR))
    assert sent(take, Part(BAR)) == [(0, b"\xc0\x05"), (0, b"\xb0\x07\x40"), (502 * MS, OFF)]


def test_the_end_lets_go_as_a_player_does() -> None:
    """Notes that never end, a pedal that stays down, a bend: all at the end of the file."""
    take = playable(take_of([(0, ON), (0, PEDAL), (1, b"\xe0\x00\x50")]))
    assert sent(take)[3:] == [(BAR_NS, OFF), (BAR_NS, PEDAL_UP), (BAR_NS, b"\xe0\x00\x40")]


def test_a_loop_begins_again_where_it_began() -> None:
    """Its end lets go; its beginning gets the settings that it had the first time, and no note is lost."""
    events = [(0, b"\xb0\x07\x10"), (BAR, ON), (BAR + 1, b"\xb0\x07\x20"), (2 * BAR, OFF), (3 * BAR, ON)]
    take = playable(take_of(events, end=4 * BAR))
    found = sent(take, loop_part(take, None, (2, 2), loops=True), 12)
    assert [message for _, message in found] == [b"\xb0\x07\x10", ON, b"\xb0\x07\x20", OFF] * 3
    first = MS  # what the one setting takes
    assert positions(found, ON) == [first + turn * BAR_NS for turn in range(3)]
    assert positions(found, OFF) == [first + turn * BAR_NS for turn in (1, 2, 3)]


@pytest.mark.parametrize("end", [BAR + 1, 2 * BAR])
def test_a_loop_of_all_ends_with_its_last_bar(end: int) -> None:
    """A file that ends within a bar is filled up; one that ends with a bar is not."""
    take = playable(take_of([(0, ON), (96, OFF)], end=end))
    assert positions(sent(take, loop_part(take, None, None, loops=True), 4), ON) == [0, 2 * BAR_NS]


def test_a_loop_may_begin_with_bars_before_it() -> None:
    """From bar 1, with a loop of bar 2: the first bar is played once."""
    take = playable(take_of([(0, ON), (1, OFF), (BAR, PEDAL), (BAR + 1, PEDAL_UP)], end=2 * BAR))
    found = sent(take, loop_part(take, 1, (2, 2), loops=True), 6)
    assert [message for _, message in found] == [ON, OFF, PEDAL, PEDAL_UP, PEDAL, PEDAL_UP]


@pytest.mark.parametrize(
    ("from_bar", "bars", "said"),
    [
        (9, None, "there is no bar 9: it ends in bar 2"),
        (3, None, "there is no bar 3: it ends in bar 2"),
        (None, (1, 9), "there is no bar 9: it ends in bar 2"),
        (2, (1, 1), "bar 2 is behind the loop, which ends with bar 1"),
    ],
)
def test_bars_that_are_not_there_are_named(from_bar: int | None, bars: tuple[int, int] | None, said: str) -> None:
    """In words for the player."""
    take = playable(take_of([(0, ON)], end=2 * BAR))
    with pytest.raises(ValueError, match=said):
        loop_part(take, from_bar, bars, loops=bars is not None)


def test_its_tempo_goes_out_as_clock() -> None:
    """Start, 24 clock messages a quarter note from the first beat on, and stop at the end."""
    found = sent(playable(take_of([(96, ON), (100, OFF)], end=192), sends_clock=True))
    assert positions(found, CLOCK) == [round(number * 500 * MS / 24) for number in range(48)]
    assert found[:2] == [(0, b"\xfa"), (0, CLOCK)]
    assert found[-1] == (1000 * MS, b"\xfc")
    assert [message for position, message in found if position == 500 * MS] == [CLOCK, ON]


def test_from_a_bar_on_the_clock_continues() -> None:
    """The song position tells where: 16 sixteenths are a bar."""
    take = playable(take_of([(BAR, ON)], end=2 * BAR), sends_clock=True)
    assert [message for _, message in sent(take, Part(BAR), 4)] == [b"\xf2\x10\x00", b"\xfb", CLOCK, ON]


def test_the_clock_runs_on_over_the_end_of_a_loop() -> None:
    """No second start, and no gap."""
    take = playable(take_of([(0, ON)]), sends_clock=True)
    found = sent(take, loop_part(take, None, None, loops=True), 250)
    clocks = positions(found, CLOCK)
    assert clocks == [round(number * 500 * MS / 24) for number in range(len(clocks))]
    assert len(positions(found, b"\xfa")) == 1


def test_clock_that_the_take_holds_goes_as_it_is() -> None:
    """Then none is made."""
    take = playable(take_of([(0, b"\xf7\xfa"), (5, b"\xf7\xf8")]), sends_clock=True)
    assert [message for _, message in sent(take)] == [b"\xfa", CLOCK]


def test_by_a_clock_positions_count_its_messages() -> None:
    """A quarter note is 24 of them, whatever the tempo of the file; and none is sent."""
    take = playable(take_of([(0, ON), (96, OFF), (97, PEDAL)]), by_clock=True, sends_clock=True)
    assert sent(take)[:3] == [(0, ON), (24 * PARTS_A_CLOCK, OFF), (24_250_000, PEDAL)]
    assert positions(sent(take), CLOCK) == []


def test_frames_have_no_beats() -> None:
    """Such a file plays by its own time, and neither by a clock nor from a bar."""
    frames = take_of([(0, ON), (1000, OFF)], end=1000, division=0xE728)  # 25 frames of 40 ticks: milliseconds
    take = playable(frames, sends_clock=True)
    assert sent(take) == [(0, ON), (1000 * MS, OFF)]
    assert {piece.mark.bar for piece in take.play(Part()) if piece.mark} == {0}
    with pytest.raises(ValueError, match="so it has no bars"):
        take.bar_begin(2)
    with pytest.raises(ValueError, match="no beats for a clock"):
        playable(frames, by_clock=True)


def test_marks_tell_bar_and_time() -> None:
    """One at each beat, before what is played there."""
    take = playable(take_of([(0, ON), (BAR, OFF)], end=BAR + 96))
    pieces = list(take.play(Part()))
    marks = [(piece.mark.bar, piece.mark.seconds) for piece in pieces if piece.mark]
    assert marks == [(1, 0.0), (1, 0.5), (1, 1.0), (1, 1.5), (2, 2.0), (2, 2.5)]
    assert pieces[0].mark is not None


def test_tracks_play_as_their_sources() -> None:
    """In the order of playing: by tick, then by track."""
    take = PlayableTake(take_of([(5, ON)], [(0, OFF), (5, OFF)]), [1, 0], by_clock=False, sends_clock=False)
    pieces = [(piece.source, piece.message) for piece in take.play(Part()) if piece.mark is None]
    assert pieces[:3] == [(0, OFF), (1, ON), (0, OFF)]


def test_patterns_without_a_common_time_are_refused() -> None:
    """A file of format 2."""
    data = bytearray(file_bytes(track_of([(0, ON)], 1)))
    data[9] = 2
    with pytest.raises(MidiFileError, match="export each one"):
        playable(read(bytes(data)))
