"""Files that are small and yet costly: refused with their byte, or played within a bound of memory and work."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator

import pytest

from rules.api.loading import load_rules
from rules.api.midi_files import rewrite_midi
from rules.errors import MidiFileError
from rules.smf.event_order import CHUNK, MOST_IN_CHUNKS, in_order
from rules.smf.midi_file import read
from rules.smf.tempo import TempoMap
from rules.smf.track_events import TrackEvent
from tests.support.counting import calls_made
from tests.support.smf_bytes import chunk, header

RIG = '[ports]\nseq = { input = true }\nrack = { output = true }\n[[rules]]\nfrom = "seq"\nto = "rack"\n'
DELAYED = f"{RIG}steps = [{{ delay = 500 }}]\n"
END = b"\x00\xff\x2f\x00"


def test_more_tracks_than_a_header_counts_are_refused() -> None:
    """Where one too many begins, in files of whole tracks and of damaged ones."""
    for track in (chunk(b"MTrk", END), chunk(b"MTrk", b"")):
        assert len(read(header(65_535) + track * 65_535).tracks) == 65_535
        with pytest.raises(MidiFileError, match="the file has more than 65,535 tracks: split it") as raised:
            read(header(65_535) + track * 100_000)
        assert raised.value.offset == 14 + 65_535 * len(track)


def test_more_tracks_than_the_engine_plays_are_refused() -> None:
    """Tables alone rewrite them; with a delay the first one too many is named."""
    track = chunk(b"MTrk", b"\x00\x90\x40\x40" + END)
    data = header(8_001) + track * 8_001
    assert rewrite_midi(data, load_rules({"rig.toml": RIG})).outputs[""] == data
    with pytest.raises(MidiFileError, match="these rules can play at most 8,000 tracks: split the file") as raised:
        rewrite_midi(data, load_rules({"rig.toml": DELAYED}))
    assert raised.value.offset == 14 + 8_000 * len(track)


@pytest.mark.parametrize("event", [b"\x00\xc0\x05", b"\x00\xf0\x01\xf7"], ids=["program", "sysex"])
def test_too_many_messages_on_their_way_are_refused(event: bytes) -> None:
    """At the event that comes when a limit is reached: a message on its way needs a thousand times its bytes."""
    data = header(1) + chunk(b"MTrk", event * 40_000 + END)
    with pytest.raises(MidiFileError, match="more than 30,000 messages are delayed at once") as raised:
        rewrite_midi(data, load_rules({"rig.toml": DELAYED}))
    assert raised.value.offset == 22 + 30_001 * len(event)


def test_too_many_notes_that_sound_are_refused() -> None:
    """A key that is struck and never let go is remembered each time."""
    data = header(1) + chunk(b"MTrk", b"\x00\x90\x40\x40" + b"\x60\x40\x40" * 50_000 + END)
    with pytest.raises(MidiFileError, match="more than 25,000 notes sound at once: end them"):
        rewrite_midi(data, load_rules({"rig.toml": DELAYED}))


def test_a_key_struck_many_times_takes_work_by_their_number() -> None:
    """Twice the strikes of a key that is held are a little more than twice the work at most."""

    def work(strikes: int) -> int:
        data = header(1) + chunk(b"MTrk", b"\x00\x90\x40\x40" + b"\x60\x40\x40" * strikes + b"\x60\x40\x00" + END)
        return calls_made(lambda: rewrite_midi(data, loaded))

    loaded = load_rules({"rig.toml": DELAYED})
    work(1)
    assert work(600) < 2.2 * work(300)


class CountedTrack:
    """A track of events that counts how many were read."""

    def __init__(self, ticks: range | list[int]) -> None:
        self._ticks = ticks
        self.read = 0

    def __iter__(self) -> Iterator[TrackEvent]:
        for at, tick in enumerate(self._ticks):
            self.read += 1
            yield tick, at, at, at + 1, b""


def test_events_at_one_tick_are_not_all_held_at_once() -> None:
    """A whole track at tick 0 is read chunk by chunk, also beside a track that is later and one that is as long."""
    tracks = [CountedTrack([0] * 20 * CHUNK), CountedTrack(range(5)), CountedTrack([0] * 20 * CHUNK)]
    passed = 0
    for batch in in_order(tracks):
        passed += len(batch)
        assert sum(track.read for track in tracks) - passed <= 3 * CHUNK
    assert passed == 40 * CHUNK + 5


def test_of_many_tracks_one_event_each_is_held() -> None:
    """Chunks of thousands of tracks would be the whole file."""
    tracks = [CountedTrack(range(50)) for _ in range(MOST_IN_CHUNKS + 1)]
    passed = 0
    for batch in in_order(tracks):
        passed += len(batch)
        assert sum(track.read for track in tracks) - passed <= len(tracks)
    assert passed == 50 * len(tracks)


def test_a_tempo_change_needs_few_bytes() -> None:
    """A file has one for every seven bytes, and may need twenty times its size."""
    amount = 50_000
    tracemalloc.start()
    try:
        TempoMap(96, ((tick, 500_000 + tick % 2) for tick in range(amount)))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 20 * 7 * amount
