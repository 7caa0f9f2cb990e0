"""Ticks, milliseconds and beats."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import MidiFileError
from rules.smf.midi_file import read
from rules.smf.tempo import TempoMap, tempo_map
from tests.support.smf_bytes import END, FORMAT_0, FORMAT_1, header, one_track, track

HALF = Fraction(1, 2)
DIVISIONS = st.one_of(st.integers(1, 960), st.sampled_from([0xE250, 0xE728, 0xE850, 0xE301, 0xF060]))
CHANGES = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 0xFFFFFF)), max_size=6)
DELAYS = st.one_of(
    st.integers(0, 2000),
    st.fractions(0, 2000, max_denominator=1000),
    st.floats(0, 2000, allow_nan=False).map(lambda number: round(number, 3)),
)


def seconds_of_ticks(division: int, changes: list[tuple[int, int]], ticks: int) -> list[Fraction]:
    """Return the time of each tick from 0, in milliseconds, counted tick by tick as the standard says."""
    times = [Fraction(0)]
    tempo = 500_000
    for tick in range(ticks):
        for at, new in changes:
            tempo = new if at == tick else tempo
        if division & 0x8000:
            frames = {29: Fraction(30_000, 1001)}.get(256 - (division >> 8), Fraction(256 - (division >> 8)))
            times.append(times[-1] + 1000 / (frames * (division & 0xFF)))
        else:
            times.append(times[-1] + Fraction(tempo, division * 1000))
    return times


def test_worked_example_of_the_standard() -> None:
    """6144 ticks at 96 a quarter and 500,000 microseconds are 32,000 ms (RP-001, "Calculating Delta Times")."""
    times = TempoMap(96)
    assert times.milliseconds(6144) == 32_000
    assert times.ticks_after(0, 32_000) == 6144


def test_no_tempo_is_120_beats_a_minute() -> None:
    """Without a tempo event a quarter note lasts 500,000 microseconds (RP-001, "Formats")."""
    assert TempoMap(480).milliseconds(480) == 500


# M1 p.30, derived: 24 clocks a quarter, so a clock lasts 2500 / BPM ms.
@pytest.mark.parametrize(
    ("bpm", "milliseconds"),
    [(40, "62.5"), (60, "41.6667"), (90, "27.7778"), (100, "25"), (120, "20.8333"), (125, "20"), (240, "10.4167")],
)
def test_length_of_a_clock(bpm: int, milliseconds: str) -> None:
    """At 24 ticks a quarter a tick lasts as long as a MIDI clock."""
    time = TempoMap(24, [(0, 60_000_000 // bpm)]).milliseconds(1)
    assert float(time) == pytest.approx(float(milliseconds), abs=0.0001)


def test_25_frames_of_40_ticks_are_milliseconds() -> None:
    """Division E728, 25 frames a second of 40 ticks, counts milliseconds (RP-001, "Header Chunks")."""
    times = TempoMap(0xE728, [(0, 1)])
    assert times.milliseconds(1234) == 1234
    assert times.ticks_after(100, 62.5) == 163


def test_30_drop_frame() -> None:
    """29 stands for 30 drop frame, 30,000 frames in 1,001 seconds (common practice)."""
    assert TempoMap(0xE301).milliseconds(30_000) == 1_001_000


@pytest.mark.parametrize(("bpm", "ticks"), [(120, 500), (60, 1000), (100, 600), (90, 667), (0.5, 120_000)])
def test_beats_in_a_smpte_division(bpm: float, ticks: int) -> None:
    """Where the division is SMPTE, a beat lasts as `bpm` says (ruling 29)."""
    assert TempoMap(0xE728, bpm=bpm).ticks_after(7, beats=1) == 7 + ticks


@pytest.mark.parametrize(
    ("beats", "ticks"), [(1, 96), (0.5, 48), (Fraction(1, 3), 32), (4, 384), (Fraction(1, 7), 14), (0, 0)]
)
def test_beats_are_exact_in_ticks(beats: float | Fraction, ticks: int) -> None:
    """A beat is the division's quarter note, whatever the tempo does meanwhile."""
    assert TempoMap(96, [(10, 1), (20, 9_000_000)]).ticks_after(5, beats=beats) == 5 + ticks


@pytest.mark.parametrize(
    ("ms", "tick"), [(2, 0), (Fraction(5, 2), 1), (2.5, 1), (2.4999, 0), (7, 1), (7.5, 2), (12.5, 3)]
)
def test_half_a_tick_rounds_up(ms: float | Fraction, tick: int) -> None:
    """Milliseconds go to the nearest tick, half up (ruling 29); here a tick is 5 ms."""
    assert TempoMap(100).ticks_after(0, ms) == tick


def test_decimal_numbers_mean_what_they_say() -> None:
    """A number like 0.3, which no float holds exactly, still is three tenths: it is half a tick of 0.6 ms."""
    assert TempoMap(1, [(0, 600)]).ticks_after(0, 0.3) == 1


def test_echoes_do_not_add_up_their_rounding() -> None:
    """Ten times 33 ms is 330 ms from the original, not ten rounded steps."""
    times = TempoMap(96)
    assert [times.ticks_after(0, 33 * count) for count in (1, 2, 3, 10)] == [6, 13, 19, 63]


def test_delay_across_tempo_changes() -> None:
    """A delay in milliseconds passes through every tempo on its way."""
    # 100 ticks a quarter: 5 ms a tick, from tick 10 on 10 ms, from tick 20 on 1 ms
    times = TempoMap(100, [(10, 1_000_000), (20, 100_000)])
    assert [times.ticks_after(0, ms) for ms in (49, 50, 60, 150, 151, 160)] == [10, 10, 11, 20, 21, 30]
    assert times.ticks_after(9, 5 + 100 + 7) == 27
    assert times.milliseconds(30) == 160


def test_milliseconds_then_beats() -> None:
    """Milliseconds and beats together are rounded once, at the end."""
    assert TempoMap(3).ticks_after(0, Fraction(250, 3), Fraction(1, 6)) == 1
    assert TempoMap(96).ticks_after(10, 500, 1) == 10 + 192


def test_last_tempo_of_a_tick_counts() -> None:
    """Of several tempo changes at one tick the last one counts, also at the start."""
    times = TempoMap(100, [(10, 5), (0, 1_000_000), (0, 2_000_000), (10, 100_000)])
    assert times.milliseconds(11) == 200 + 1


@pytest.mark.parametrize(("ms", "beats"), [(-1, 0), (0, -1), (-0.5, 0), (0, Fraction(-1, 2))])
def test_nothing_lies_in_the_past(ms: float, beats: float | Fraction) -> None:
    """A negative delay is a mistake of the caller's."""
    with pytest.raises(ValueError, match="is in the past"):
        TempoMap(96).ticks_after(100, ms, beats)


@pytest.mark.parametrize("division", [0, 0xE200])
def test_division_without_ticks(division: int) -> None:
    """A division without ticks, which reading refuses, gives no time."""
    with pytest.raises(ValueError, match="has no ticks"):
        TempoMap(division)


@given(DIVISIONS, CHANGES, st.integers(0, 80))
def test_time_of_a_tick_is_the_sum_of_all_ticks_before(
    division: int, changes: list[tuple[int, int]], tick: int
) -> None:
    """The time of a tick is exactly what counting tick by tick gives, and the nearest tick to it is itself."""
    times = TempoMap(division, changes)
    time = seconds_of_ticks(division, changes, tick)[tick]
    assert times.milliseconds(tick) == time
    assert times.ticks_after(0, time) == tick


@given(DIVISIONS, CHANGES, st.integers(0, 80), DELAYS)
def test_delay_ends_at_the_nearest_tick(
    division: int, changes: list[tuple[int, int]], tick: int, ms: float | Fraction
) -> None:
    """No tick is nearer to the time wanted than the one returned; of two equally near the later is taken."""
    times = TempoMap(division, changes)
    wanted = times.milliseconds(tick) + Fraction(str(ms))
    end = times.ticks_after(tick, ms)
    assert end >= tick
    after = times.milliseconds(end + 1)
    here = times.milliseconds(end)
    assert wanted < here + (after - here) / 2
    if end:
        before = times.milliseconds(end - 1)
        assert wanted >= before + (here - before) / 2


@given(
    DIVISIONS, CHANGES, st.integers(0, 80), st.integers(0, 5), DELAYS, DELAYS, st.fractions(0, 8, max_denominator=96)
)
def test_later_never_ends_earlier(
    division: int,
    changes: list[tuple[int, int]],
    tick: int,
    further: int,
    ms: float | Fraction,
    more: float | Fraction,
    beats: Fraction,
) -> None:
    """A later start or a longer delay never ends before an earlier or shorter one."""
    times = TempoMap(division, changes)
    total = Fraction(str(ms)) + Fraction(str(more))
    assert times.ticks_after(tick, ms, beats) <= times.ticks_after(tick + further, ms, beats)
    assert times.ticks_after(tick, ms, beats) <= times.ticks_after(tick, total, beats)
    assert times.ticks_after(tick, ms) <= times.ticks_after(tick, ms, beats)
    assert times.milliseconds(tick) < times.milliseconds(tick + 1)


@pytest.mark.parametrize("data", [FORMAT_0, FORMAT_1])
def test_examples_last_two_seconds(data: bytes) -> None:
    """Both example files of the standard last 384 ticks, 2.0 seconds."""
    assert tempo_map(read(data)).milliseconds(384) == 2000


def test_tempo_events_of_all_tracks_count() -> None:
    """Tempo events of every track count, in the order of their ticks, ties by track (ruling 32)."""
    data = (
        header(3)
        + track("64 FF 51 03 0F 42 40" + END)  # tick 100: 1 s
        + track("32 FF 51 03 01 86 A0 32 FF 51 03 03 D0 90" + END)  # tick 50: 0.1 s, tick 100: 0.25 s
        + track("00 90 3C 40 00 3C 00" + END)
    )
    times = tempo_map(read(data))
    assert times.milliseconds(150) == Fraction(500_000 * 50 + 100_000 * 50 + 250_000 * 50, 96_000)


def test_patterns_of_format_2_have_their_own_time() -> None:
    """The tracks of a format 2 file are independent: only a pattern's own tempo counts for it."""
    file = read(header(2, midi_format=2) + track("00 FF 51 03 0F 42 40" + END) + track(END))
    assert tempo_map(file, file.tracks[0]).milliseconds(96) == 1000
    assert tempo_map(file, file.tracks[1]).milliseconds(96) == 500


def test_track_of_another_format_has_the_files_time() -> None:
    """In format 1 a track plays by the tempo of all."""
    file = read(header(2) + track("00 FF 51 03 0F 42 40" + END) + track(END))
    assert tempo_map(file, file.tracks[1]).milliseconds(96) == 1000


@pytest.mark.parametrize(
    ("event", "milliseconds"),
    [
        pytest.param("FF 51 03 0F 42 40", 1000, id="three bytes"),
        pytest.param("FF 51 80 03 0F 42 40", 1000, id="padded length"),
        pytest.param("FF 51 04 0F 42 40 00", 1000, id="four bytes, the first three count"),
        pytest.param("FF 51 02 0F 42", 500, id="two bytes, ignored"),
        pytest.param("FF 51 00", 500, id="no byte, ignored"),
        pytest.param("FF 51 03 00 00 00", 500, id="tempo 0, ignored"),
        pytest.param("FF 01 02 FF 51", 500, id="the bytes inside a text"),
        pytest.param("FF 01 03 FF 51 03", 500, id="a text as long as a tempo"),
    ],
)
def test_odd_tempo_events(event: str, milliseconds: int) -> None:
    """A tempo event counts if it has a tempo of three bytes that isn't 0."""
    assert tempo_map(read(one_track("00 " + event + END))).milliseconds(96) == milliseconds


def test_tempo_plays_no_part_in_a_smpte_division() -> None:
    """A SMPTE division counts time itself; tempo events change nothing, and `bpm` says what a beat is."""
    file = read(header(1, division=0xE728) + track("00 FF 51 03 0F 42 40" + END))
    times = tempo_map(file, bpm=60)
    assert times.milliseconds(96) == 96
    assert times.ticks_after(0, beats=1) == 1000


def test_tempo_of_an_unreadable_track() -> None:
    """A track that can't be read gives no tempo but the error that says where."""
    with pytest.raises(MidiFileError, match="byte 30: status byte F4"):
        tempo_map(read(one_track("00 FF 51 03 0F 42 40 00 F4" + END)))
