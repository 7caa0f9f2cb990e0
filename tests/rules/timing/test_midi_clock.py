"""The tempo of a MIDI clock. 24 clocks a quarter note: MIDI 1.0 Detailed Specification 4.2.1, p. 30."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.timing.delays import Delay
from rules.timing.midi_clock import SILENCE_NS, ClockReading, LiveTime

MS = 1_000_000
BEAT = Delay(beats=Fraction(1))


def ticked(bpm: float, count: int, start: int = 0) -> tuple[ClockReading, int]:
    """A reading after so many clocks at a tempo, and the time of the last one."""
    reading, now = ClockReading(), start
    for tick in range(count):
        now = start + round(tick * 60_000 * MS / bpm / 24)
        reading.tick(now)
    return reading, now


@given(st.floats(20, 300), st.integers(2, 200))
def test_a_steady_clock_gives_its_tempo(bpm: float, count: int) -> None:
    """From the second clock on the tempo is known."""
    reading, now = ticked(bpm, count)
    found = reading.bpm(now)
    assert found is not None
    assert abs(found - bpm) < 0.01


def test_single_clocks_that_come_late_hardly_move_the_tempo() -> None:
    """A clock that comes 2 ms late changes the tempo by less than one in a hundred."""
    reading, now = ticked(120, 25)
    reading.tick(now + 20_833_333 + 2 * MS)
    found = reading.bpm(now)
    assert found is not None
    assert abs(found - 120) < 1.2


def test_a_clock_that_stopped_has_no_tempo() -> None:
    """After half a second of silence no clock runs, and one message more doesn't make one."""
    reading, now = ticked(120, 25)
    assert reading.bpm(now + SILENCE_NS) is not None
    assert reading.bpm(now + SILENCE_NS + 1) is None
    reading.tick(now + SILENCE_NS + 1)
    assert reading.bpm(now + SILENCE_NS + 1) is None


def test_one_clock_alone_is_no_tempo() -> None:
    """Two clocks at one time don't divide by nothing."""
    reading = ClockReading()
    reading.tick(5)
    assert reading.bpm(5) is None
    reading.tick(5)
    assert reading.bpm(5) is None


def blurred(bpm: float, count: int, period: int, start: int = 0) -> list[int]:
    """Clocks at a steady tempo as a sound server hands them out: once a period (ns), at its end."""
    return [-(-(start + round(tick * 60_000 * MS / bpm / 24)) // period) * period for tick in range(count)]


@pytest.mark.parametrize("frames", [64, 128, 256, 512, 1_024])
@pytest.mark.parametrize("bpm", [60, 97.3, 120, 174])
def test_the_periods_of_a_sound_server_do_not_shake_the_tempo(bpm: float, frames: int) -> None:
    """From the eighth beat on a steady tempo shows as one number (BPM, one decimal)."""
    reading = ClockReading()
    shown = set()
    for tick, now in enumerate(blurred(bpm, 24 * 40, frames * 1_000 * MS // 48_000, 12_345)):
        reading.tick(now)
        if tick >= 24 * 8:
            found = reading.bpm(now)
            assert found is not None
            shown.add(round(found, 1))
    assert len(shown) == 1 or frames > 256
    assert all(abs(one - bpm) < (0.35 if frames > 256 else 0.15) for one in shown)


@pytest.mark.parametrize(("before", "after", "beats"), [(120, 60, 1), (60, 180, 2), (120, 130, 3), (120, 122, 9)])
def test_another_tempo_is_followed(before: float, after: float, beats: int) -> None:
    """To half a percent, so many beats after it began."""
    reading, now = ticked(before, 24 * 12)
    for tick in range(1, 24 * beats + 1):
        reading.tick(now + round(tick * 60_000 * MS / after / 24))
    found = reading.bpm(now + round(beats * 60_000 * MS / after))
    assert found is not None
    assert abs(found - after) < after / 200


def test_a_moment_of_standstill_is_no_other_tempo() -> None:
    """Four clocks come together, 60 ms late: the tempo is what it was, to a hundredth."""
    reading, now = ticked(120, 24 * 8)
    step = 60_000 * MS / 120 / 24
    for tick in range(1, 49):
        reading.tick(now + round(max(tick, 4 if tick < 4 else tick) * step))
        found = reading.bpm(now + round(tick * step))
        assert found is not None
        assert abs(found - 120) < 1.2


def clocks(bpm: float, beats: float, start: int = 0) -> list[int]:
    """The times of a steady clock (ns)."""
    return [start + round(tick * 60_000 * MS / bpm / 24) for tick in range(round(24 * beats) + 1)]


def test_beats_follow_the_clock_and_keep_its_tempo_when_it_stops() -> None:
    """A beat is half a second at 120; with a clock at 60 it is a second, and goes on so when that stops.

    Its first clock after that changes nothing. Our own tempo, set now, counts.
    """
    time = LiveTime(120)
    assert time.later(0, BEAT) == 500 * MS
    for at in clocks(60, 1):
        time.tick(0, at)
    last = 1_000 * MS
    assert abs(time.later(last, BEAT) - last - 1_000 * MS) <= 20
    assert time.running(last) == 0
    stopped = last + SILENCE_NS + 1
    assert abs(time.later(stopped, BEAT) - stopped - 1_000 * MS) <= 20
    assert time.running(stopped) is None
    assert not time.tick(0, stopped)
    assert abs(time.later(stopped, BEAT) - stopped - 1_000 * MS) <= 20
    assert time.set(240, stopped)
    assert time.later(stopped, BEAT) == stopped + 250 * MS


def test_our_own_tempo_waits_while_a_clock_runs() -> None:
    """It is remembered as ours, and changes no beat."""
    time = LiveTime(120)
    for at in clocks(60, 1):
        time.tick(0, at)
    assert not time.set(240, 1_000 * MS)
    assert (round(time.bpm), time.own_bpm) == (60, 240)


def test_the_same_tempo_is_no_change() -> None:
    """Nothing that is pending moves by it."""
    assert not LiveTime(120).set(120, 5)


def changes(time: LiveTime, ticks: list[int], player: int = 0) -> list[int]:
    """At which of the clocks, by number from 1, the tempo changes."""
    return [number for number, at in enumerate(ticks, start=1) if time.tick(player, at)]


def test_a_clock_that_begins_sets_the_tempo_within_a_quarter_of_a_beat() -> None:
    """A steady one needs no more than that; the tempo of the rule files needs no change at all."""
    assert changes(LiveTime(120), clocks(60, 8)) == [6]
    assert changes(LiveTime(120), clocks(120, 8)) == []


def test_a_clock_is_read_once_a_quarter_note() -> None:
    """One that gets slower and slower changes the tempo then, and never in between."""
    ticks, at = [], 0.0
    for tick in range(24 * 24):
        ticks.append(round(at))
        at += 60_000 * MS / (120 - tick / 48) / 24
    time = LiveTime(120)
    found = changes(time, ticks)
    assert len(found) > 8
    assert all(number % 24 == 0 for number in found)
    assert abs(time.bpm - 110) < 2.5


def test_a_jump_of_the_clock_is_followed_within_a_quarter_of_a_beat() -> None:
    """To twice the tempo, after a while: at the sixth clock that comes too early, and no more than roughly before."""
    time = LiveTime(120)
    ticks = clocks(120, 8)
    assert changes(time, ticks) == []
    found = changes(time, clocks(40, 4, ticks[-1])[1:])
    assert found[0] <= 8
    assert abs(time.bpm - 40) < 0.4


@pytest.mark.parametrize("frames", [64, 128, 256])
@pytest.mark.parametrize("bpm", [60, 97.3, 120, 174])
def test_the_periods_of_a_sound_server_move_nothing_that_is_pending(bpm: float, frames: int) -> None:
    """From the eighth beat on a steady clock is one tempo, however it is blurred."""
    time = LiveTime(120)
    found = changes(time, blurred(bpm, 24 * 40, frames * 1_000 * MS // 48_000, 12_345))
    assert not [number for number in found if number > 24 * 8]
    assert abs(time.bpm - bpm) < bpm / 200


def test_of_two_clocks_that_stop_the_tempo_that_was_in_force_is_kept() -> None:
    """Both stop at once, the second a moment after the first, which had set the tempo."""
    time = LiveTime(120)
    for tick in range(50):
        time.tick(0, tick * 20 * MS)
        time.tick(1, tick * 10 * MS + 500 * MS)
    assert round(time.bpm) == 125


def test_of_two_clocks_the_first_source_counts() -> None:
    """Whichever began first tonight, the order of the rule file decides."""
    time = LiveTime(120)
    for tick in range(25):
        time.tick(1, tick * 10 * MS)
        time.tick(0, tick * 20 * MS)
    assert time.running(250 * MS) == 0
    assert round(time.bpm) == 125


def test_when_the_first_clock_stops_the_second_takes_over_at_once() -> None:
    """At its first clock after the silence of the first, not only at its next quarter note."""
    time = LiveTime(120)
    ticks = [tick * 10 * MS for tick in range(200)]
    for at in ticks:
        if at < 1_000 * MS:
            time.tick(0, at * 2)
    found = [at for at in ticks if time.tick(1, at + 1_500 * MS)]
    assert [at + 1_500 * MS for at in found] == [(1_980 + 510) * MS]
    assert round(time.bpm) == 250


@given(st.integers(0, 10**15), st.integers(0, 10**6))
def test_milliseconds_stay_milliseconds(now: int, ms: int) -> None:
    """A delay in milliseconds knows no tempo."""
    assert LiveTime(77).later(now, Delay(ms=Fraction(ms))) == now + ms * MS
