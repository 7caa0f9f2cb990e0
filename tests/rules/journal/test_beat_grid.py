"""Beats of a recording: on the grid where a clock ran, and as long as the performance took."""

from itertools import accumulate, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.journal.beat_grid import TICKS_A_BEAT, Grid, beat_runs, blur_of
from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START, STOP

MS = 1_000_000
HALF_SECOND = 500 * MS
TICK, GO, ON, HALT = (bytes((status,)) for status in (CLOCK, START, CONTINUE, STOP))


def clocks(begin: int, count: int, beat: int = HALF_SECOND) -> list[tuple[int, bytes]]:
    """So many clock messages at an even pace."""
    return [(begin + number * beat // 24, TICK) for number in range(count)]


def position(sixteenths: int) -> bytes:
    """A song position."""
    return bytes((SONG_POSITION, sixteenths & 0x7F, sixteenths >> 7))


def test_every_24th_clock_is_a_beat() -> None:
    """MIDI 1.0 p. 30: 24 clocks a quarter note."""
    assert beat_runs(clocks(0, 73)) == [[0, HALF_SECOND, 2 * HALF_SECOND, 3 * HALF_SECOND]]


def test_start_makes_the_next_clock_beat_0() -> None:
    """MIDI 1.0 p. 30: the first clock after start is the first beat, wherever the clock was."""
    begin = 30 * HALF_SECOND // 24
    runs = beat_runs([*clocks(0, 30), (begin, GO), *clocks(begin + MS, 25)])
    assert runs == [[0, HALF_SECOND], [begin + MS, begin + MS + HALF_SECOND]]


def test_continue_goes_on_within_the_beat() -> None:
    """A song position of 5 sixteenths is a beat and a quarter, so the next beat comes 18 clocks later (p. 27)."""
    runs = beat_runs([(0, position(5)), (1, ON), *clocks(2, 43)])
    assert runs == [[2 + 18 * HALF_SECOND // 24, 2 + 42 * HALF_SECOND // 24]]


def test_continue_after_a_short_stop_begins_a_new_run() -> None:
    """The beat that the stop fell into is as long as it was played, however soon it goes on."""
    later = 24 * HALF_SECOND // 24 + 100 * MS
    runs = beat_runs([*clocks(0, 24), (later - 2, HALT), (later - 1, ON), *clocks(later, 25)])
    assert runs == [[0], [later, later + HALF_SECOND]]


def test_a_clock_that_falls_silent_begins_a_new_run() -> None:
    """What lies between is no beat of the clock."""
    later = 5_000 * MS
    assert beat_runs([*clocks(0, 24), *clocks(later, 25)]) == [[0], [later, later + HALF_SECOND]]


def test_without_a_clock_our_own_tempo_counts() -> None:
    """Half a second at 120 is a quarter note."""
    grid = Grid(7, HALF_SECOND)
    assert [grid.tick(7 + HALF_SECOND * beats) for beats in (0, 1, 5)] == [0, 960, 4800]
    assert [(tempo.tick, tempo.beat) for tempo in grid.tempos()] == [(0, 500_000)]


def test_the_first_beat_of_a_clock_begins_a_bar() -> None:
    """What was played before it is an upbeat, at our own tempo, with silence before it up to the bar."""
    grid = Grid(0, HALF_SECOND, [[300 * MS, 700 * MS, 1100 * MS]])
    assert grid.tick(300 * MS) == 4 * TICKS_A_BEAT
    assert grid.tick(0) == 4 * TICKS_A_BEAT - 576
    assert [(tempo.tick, tempo.beat) for tempo in grid.tempos()] == [(0, 500_000), (4 * TICKS_A_BEAT, 400_000)]


def test_a_new_run_begins_a_bar_where_that_nearly_fits() -> None:
    """Seven and a half beats of rest become eight at a slightly other tempo, so that bars stay bars."""
    run = [number * HALF_SECOND for number in range(5)]
    later = run[-1] + 15 * HALF_SECOND // 2
    grid = Grid(0, HALF_SECOND, [run, [later, later + HALF_SECOND]])
    assert grid.tick(later) == 12 * TICKS_A_BEAT


def test_a_restart_within_a_beat_lengthens_the_beat_before() -> None:
    """A beat of a few milliseconds would be no tempo."""
    run = [number * HALF_SECOND for number in range(3)]
    again = run[-1] + 20 * MS
    grid = Grid(0, HALF_SECOND, [run, [again, again + HALF_SECOND]])
    assert grid.tick(again) == 2 * TICKS_A_BEAT
    assert [tempo.beat for tempo in grid.tempos()] == [500_000, 520_000, 500_000]


STEPS = st.tuples(st.integers(0, 2_000 * MS), st.sampled_from([TICK] * 20 + [GO, ON, HALT, position(3), position(96)]))
CLOCKWORKS = st.lists(STEPS, max_size=60).map(
    lambda steps: list(zip(accumulate(step[0] for step in steps), (step[1] for step in steps), strict=True))
)
EVEN = st.builds(clocks, st.integers(0, 10**10), st.integers(0, 200), st.integers(60 * MS, 6_000 * MS))


@given(CLOCKWORKS | EVEN, st.integers(60 * MS, 6_000 * MS), st.lists(st.integers(0, 10**11), max_size=20))
def test_time_never_runs_back(clock: list[tuple[int, bytes]], beat: int, moments: list[int]) -> None:
    """Whatever a clock does, what came later has no lower tick."""
    grid = Grid(clock[0][0] if clock else 0, beat, beat_runs(clock), blur_of(clock))
    ticks = [grid.tick(moment) for moment in sorted(moments)]
    assert all(one <= other for one, other in pairwise(ticks))


@given(EVEN, st.integers(60 * MS, 6_000 * MS), st.data())
def test_the_file_plays_as_long_as_the_performance_took(
    clock: list[tuple[int, bytes]], beat: int, data: st.DataObject
) -> None:
    """By the tempos of the file, every moment lies where it was, to a tick; roundings don't add up."""
    runs = beat_runs(clock)
    grid = Grid(0, beat, runs, data.draw(st.sampled_from([0, blur_of(clock)])))
    tempos = grid.tempos()
    moment = data.draw(st.integers(0, 2 * 10**10))
    tick = grid.tick(moment)
    played = 0.0
    for place, tempo in enumerate(tempos):
        end = tempos[place + 1].tick if place + 1 < len(tempos) else tick
        played += max(min(end, tick) - tempo.tick, 0) * tempo.beat / TICKS_A_BEAT
    # the tempo goes on unchanged behind the last beat, by the microseconds that a tempo event can hold
    behind = max(moment - (runs[-1][-1] if runs else 0), 0) / beat
    slack = 6_000_000 / TICKS_A_BEAT + 2 + behind
    assert played == pytest.approx((moment - grid.start) / 1000, abs=slack)


@given(CLOCKWORKS | EVEN)
def test_beats_of_a_clock_lie_on_the_grid(clock: list[tuple[int, bytes]]) -> None:
    """Of each run, the last beat at least, and all of them where the clock ran on."""
    runs = beat_runs(clock)
    grid = Grid(clock[0][0] if clock else 0, HALF_SECOND, runs)
    assert all(grid.tick(run[-1]) % TICKS_A_BEAT == 0 for run in runs[-1:])
    if len(runs) == 1:
        assert [grid.tick(time) % TICKS_A_BEAT for time in runs[0]] == [0] * len(runs[0])


def test_a_burst_of_clocks_makes_no_beats_of_its_own() -> None:
    """A computer that stood still takes two beats of clock at once; no beat is shorter than 60 ms (1000 BPM)."""
    clock = [(20 * MS * number, bytes((CLOCK,))) for number in range(25)]
    burst = [(5000 * MS + number, bytes((CLOCK,))) for number in range(96)]
    later = [(5000 * MS + 20 * MS * number, bytes((CLOCK,))) for number in range(1, 49)]
    beats = [beat for run in beat_runs([*clock, *burst, *later]) for beat in run]
    assert all(later - earlier >= 60 * MS for earlier, later in pairwise(beats))
    assert len(beats) >= 4


def blurred(bpm: float, count: int, period: int, begin: int = 0) -> list[tuple[int, bytes]]:
    """Clocks at a steady tempo as a sound server hands them out: once a period (ns), at its end."""
    times = [begin + round(tick * 60_000 * MS / bpm / 24) for tick in range(count)]
    return [(-(-time // period) * period, TICK) for time in times]


@pytest.mark.parametrize("frames", [64, 128, 256, 512, 1_024])
@pytest.mark.parametrize("bpm", [60, 97.5, 120, 174])
def test_a_steady_clock_has_one_tempo(bpm: float, frames: int) -> None:
    """Two minutes of it over a sound server: one tempo event, and every beat within a period of the grid."""
    period = frames * 1_000 * MS // 48_000
    clock = blurred(bpm, round(bpm * 2 * 24), period, 12_345)
    runs = beat_runs(clock)
    grid = Grid(clock[0][0], HALF_SECOND, runs, blur_of(clock))
    assert [(tempo.tick, tempo.beat) for tempo in grid.tempos()] == [(0, round(60_000_000 / bpm))]
    off = [(grid.tick(time) + 480) % TICKS_A_BEAT - 480 for time in runs[0]]
    assert max(map(abs, off)) <= 1 + TICKS_A_BEAT * max(period, MS) * bpm / (60_000 * MS)


def test_a_steady_clock_whose_beat_is_no_whole_microsecond_has_one_tempo() -> None:
    """The microseconds of an odd tempo are rounded once, not from beat to beat."""
    clock = [(round(tick * 60_000 * MS / 121 / 24), TICK) for tick in range(24 * 200)]
    assert [tempo.beat for tempo in Grid(0, HALF_SECOND, beat_runs(clock), blur_of(clock)).tempos()] == [495_868]


def test_another_tempo_of_a_clock_is_another_tempo_in_the_file() -> None:
    """120, then 132 BPM: the change lies within two beats of where it was, and no third tempo lasts."""
    clock = blurred(120, 24 * 16, 2_666_667)
    clock += blurred(132, 24 * 16, 2_666_667, 16 * HALF_SECOND)
    tempos = Grid(0, HALF_SECOND, beat_runs(clock), blur_of(clock)).tempos()
    ends = [tempo.tick for tempo in tempos[1:]] + [31 * TICKS_A_BEAT]
    lasting = [
        (tempo.tick // TICKS_A_BEAT, round(60_000_000 / tempo.beat))
        for tempo, end in zip(tempos, ends, strict=True)
        if end - tempo.tick > 2 * TICKS_A_BEAT
    ]
    assert [bpm for _, bpm in lasting] == [120, 132]
    assert 15 <= lasting[1][0] <= 18


@given(CLOCKWORKS | EVEN)
def test_no_beat_lies_further_from_the_grid_than_clocks_are_blurred(clock: list[tuple[int, bytes]]) -> None:
    """Of a clock that ran on: to a tick more."""
    runs, blur = beat_runs(clock), blur_of(clock)
    grid = Grid(clock[0][0] if clock else 0, HALF_SECOND, runs, blur)
    if len(runs) == 1:
        for beat, time in enumerate(runs[0]):
            begin = grid.tick(runs[0][0]) + beat * TICKS_A_BEAT
            assert grid.tick(time - blur - 1) - 1 <= begin <= grid.tick(time + blur + 1) + 1
