"""The order of playing."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.smf.event_order import CHUNK, in_order
from rules.smf.track_events import TrackEvent


def events(ticks: list[int]) -> list[TrackEvent]:
    """Events at these ticks, each told apart by where it begins."""
    return [(tick, at, at, at + 1, b"") for at, tick in enumerate(ticks)]


def played(tracks: list[list[int]]) -> list[tuple[int, int, int]]:
    """Tick, track and place of each event, in the order of playing."""
    return [(tick, number, event[1]) for batch in in_order(list(map(events, tracks))) for tick, number, event in batch]


TICKS = st.lists(st.integers(0, 4), max_size=30).map(sorted)


@given(st.lists(TICKS, max_size=4))
def test_events_go_by_tick_then_track_then_place(tracks: list[list[int]]) -> None:
    """Nothing is lost, and at one tick the tracks come one after the other, each in its own order."""
    wanted = sorted((tick, number, at) for number, ticks in enumerate(tracks) for at, tick in enumerate(ticks))
    assert played(tracks) == wanted


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(1, 3)), min_size=2, max_size=3))
def test_long_tracks_are_read_in_chunks_without_a_seam(shapes: list[tuple[int, int]]) -> None:
    """Tracks longer than what is read at a time come in the same order, at whatever pace they go."""
    tracks = [[place * pace for place in range(CHUNK * chunks + 5)] for pace, chunks in shapes]
    wanted = sorted((tick, number, at) for number, ticks in enumerate(tracks) for at, tick in enumerate(ticks))
    assert played(tracks) == wanted
