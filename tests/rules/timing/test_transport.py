"""Where a song is by its clock."""

from __future__ import annotations

from fractions import Fraction

from rules.midi.notation import parse_whole_message
from rules.timing.transport import Transport

BEAT = Fraction(24_000)


def heard(*messages: str, times: int = 1) -> Transport:
    """A transport after messages 1,000 ns apart, the last of them several times."""
    transport = Transport()
    played = [*messages, *[messages[-1]] * (times - 1)]
    for number, message in enumerate(played):
        transport.hear(parse_whole_message(message), number * 1_000)
    return transport


def test_nothing_is_known_at_first() -> None:
    """A clock alone doesn't say where the song is, and neither does continue."""
    assert heard("clock", times=9).beats(9_000, BEAT) is None
    assert heard("continue", "clock", times=9).beats(9_000, BEAT) is None
    assert heard("continue", "clock").is_running


def test_the_clock_after_a_start_is_the_first_beat() -> None:
    """Between two clocks it goes on, but not beyond the next."""
    transport = heard("clock", "start", "clock")
    assert (transport.beats(2_000, BEAT), transport.beats(2_500, BEAT)) == (0.0, 0.5 / 24)
    assert transport.beats(9_999, BEAT) == 1 / 24
    assert heard("start", "clock", times=25).beats(25_000, BEAT) == 1.0


def test_before_its_first_clock_a_song_is_at_its_start() -> None:
    """However long that takes."""
    assert heard("start").beats(1_000_000, BEAT) == 0.0


def test_a_stop_keeps_the_place() -> None:
    """Clocks go on, the song doesn't, until it continues with the clock that comes next."""
    transport = heard("start", "clock", "stop", "clock", "clock")
    assert (transport.is_running, transport.beats(9_000, BEAT)) == (False, 1 / 24)
    transport.hear(b"\xfb", 10_000)
    transport.hear(b"\xf8", 11_000)
    assert (transport.is_running, transport.beats(11_000, BEAT)) == (True, 1 / 24)


def test_a_song_position_is_sixteenths() -> None:
    """14 bits, and the song continues there."""
    transport = heard("song-position 130", "continue", "clock")
    assert transport.beats(2_000, BEAT) == 130 / 4
    transport.hear(b"\xfa", 3_000)
    assert transport.beats(3_000, BEAT) == 0.0
