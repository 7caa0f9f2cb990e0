"""The tempo of a performance as it grows."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from rules.timing.delays import Delay
from rules.timing.tempo_map import GrowingTempoMap

MS = 1_000_000
BEAT = Delay(beats=Fraction(1))


def beat_at(bpm: int) -> Fraction:
    """A quarter note in ns."""
    return Fraction(60_000 * MS, bpm)


def changing(*changes: tuple[int, int]) -> GrowingTempoMap:
    """A map of (time in ms, BPM), the first from the beginning on."""
    times = GrowingTempoMap(beat_at(changes[0][1]))
    for at, bpm in changes[1:]:
        times.change(beat_at(bpm), at * MS)
    return times


def test_what_began_in_an_earlier_tempo_goes_on_in_the_later_one() -> None:
    """At 120 half a beat takes 250 ms, and the other half at 60 takes 500."""
    times = changing((0, 120), (250, 60))
    assert times.later(0, BEAT) == 750 * MS
    assert times.later(250 * MS, BEAT) == 1250 * MS
    assert times.later(100 * MS, Delay(beats=Fraction(1, 4))) == 225 * MS


def test_a_delay_may_last_through_several_tempos() -> None:
    """Two beats from 0: one at 120 until 500 ms, half a one at 60 until 1000, the rest at 240."""
    times = changing((0, 120), (500, 60), (1000, 240))
    assert times.later(0, Delay(beats=Fraction(2))) == 1125 * MS


def test_milliseconds_come_before_beats_and_know_no_tempo() -> None:
    """300 ms end at 60 BPM, where the quarter of a beat begins that takes 250 ms."""
    times = changing((0, 120), (250, 60))
    assert times.later(0, Delay(ms=Fraction(300), beats=Fraction(1, 4))) == 550 * MS
    assert times.later(0, Delay(ms=Fraction(300))) == 300 * MS


def test_what_ends_as_a_tempo_begins_ends_there() -> None:
    """Not one of either tempo is left."""
    times = changing((0, 120), (500, 60))
    assert times.later(0, BEAT) == 500 * MS


def test_of_two_tempos_at_one_time_the_last_counts() -> None:
    """As in a file."""
    times = changing((0, 120), (250, 30), (250, 60))
    assert times.later(0, BEAT) == 750 * MS
    assert times.beat == beat_at(60)


def test_tempos_that_are_over_are_forgotten_and_those_that_are_needed_stay() -> None:
    """What begins later than that comes at the same time as before."""
    times = changing((0, 120), (500, 60), (1000, 240), (2000, 120))
    kept = [times.later(at * MS, Delay(beats=Fraction(8))) for at in (600, 1000, 1500, 2500)]
    times.forget_before(600 * MS)
    assert [times.later(at * MS, Delay(beats=Fraction(8))) for at in (600, 1000, 1500, 2500)] == kept
    times.forget_before(10_000 * MS)
    assert times.later(10_000 * MS, BEAT) == 10_500 * MS


def by_steps(tempos: list[tuple[int, Fraction]], begin: int, delay: Delay) -> int:
    """When a delay is over, from tempo to tempo in fractions; `tempos` are times (ns) and quarter notes (ns)."""
    at, left = begin + delay.ms * MS, delay.beats
    for (start, beat), (end, _) in pairwise([*tempos, (1 << 80, tempos[-1][1])]):
        if start <= at < end:
            beats = (end - at) / beat
            if beats >= left:
                return int(at + left * beat + Fraction(1, 2))
            at, left = Fraction(end), left - beats
    raise AssertionError("the last tempo has no end")


TEMPOS = st.lists(st.tuples(st.integers(1, 3 * 10**9), st.floats(10, 1_000)), min_size=1, max_size=6)
DELAYS = st.builds(
    Delay,
    st.fractions(0, 2_000, max_denominator=1_000) | st.just(Fraction(0)),
    st.fractions(Fraction(1, 64), 16, max_denominator=64),
)


@given(TEMPOS, st.integers(0, 3 * 10**9), DELAYS, st.integers(0, 3 * 10**9))
def test_it_is_exact_through_all_tempos(
    changes: list[tuple[int, float]], begin: int, delay: Delay, forgotten: int
) -> None:
    """To the nanosecond, whatever fractions tempos and delays are; also once earlier tempos are forgotten."""
    tempos = {0: Fraction(500 * MS)} | {at: 60_000 * MS / Fraction(bpm) for at, bpm in sorted(changes)}
    times = GrowingTempoMap(tempos[0])
    for at, beat in tempos.items():
        times.change(beat, at)
    wanted = by_steps(list(tempos.items()), begin, delay)
    assert times.later(begin, delay) == wanted
    times.forget_before(min(forgotten, begin))
    assert times.later(begin, delay) == wanted


CHANGES = st.lists(st.tuples(st.integers(1, 2_000), st.integers(20, 300)), max_size=5)


@given(CHANGES, st.integers(0, 3_000), st.integers(0, 3_000), st.fractions(0, 4, max_denominator=48))
def test_later_begun_is_never_sooner_over(
    changes: list[tuple[int, int]], one: int, other: int, beats: Fraction
) -> None:
    """Whatever the tempos, what has the same delay keeps its order."""
    times = changing((0, 120), *sorted(changes))
    early, late = sorted((one, other))
    assert early * MS <= times.later(early * MS, Delay(beats=beats)) <= times.later(late * MS, Delay(beats=beats))


@given(CHANGES, st.integers(0, 2_000), st.fractions(0, 8, max_denominator=48), st.integers(20, 300))
def test_a_new_tempo_moves_nothing_into_the_past(
    changes: list[tuple[int, int]], begin: int, beats: Fraction, bpm: int
) -> None:
    """What is over by now stays, and what is pending comes now or later."""
    times = changing((0, 120), *sorted(changes))
    now = 2_000 * MS
    before = times.later(begin * MS, Delay(beats=beats))
    times.change(beat_at(bpm), now)
    after = times.later(begin * MS, Delay(beats=beats))
    assert after == before if before < now else after >= now
