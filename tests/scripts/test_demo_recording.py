"""The demo's recording is what its script says it is, as two independent readers see it."""

from __future__ import annotations

import io
import subprocess
import sys
from collections import Counter
from pathlib import Path

import mido  # type: ignore[import-untyped]
import pytest

from tests.support import midicsv, mido_reader
from tests.support.midicsv import Event

PROJECT = Path(__file__).parents[2]
RECORDING = PROJECT / "examples/recording.mid"
BAR = 3 * 480


@pytest.fixture(scope="module")
def recorded() -> list[Event]:
    """Give what midicsv reads in the committed file."""
    return midicsv.events(RECORDING.read_bytes())


def note_ons(events: list[Event], track: int) -> list[Event]:
    """Return a track's note-ons, without those of velocity 0."""
    return [event for event in events if event.track == track and event.kind == "Note_on_c" and event.data[1]]


def test_script_makes_the_committed_file(tmp_path: Path) -> None:
    """The script gives the committed file byte for byte, on every Python."""
    made = tmp_path / "made.mid"
    script = PROJECT / "scripts/recordings/make_demo_recording.py"
    subprocess.run([sys.executable, str(script), str(made)], check=True, capture_output=True)
    assert made.read_bytes() == RECORDING.read_bytes()


def test_readers_agree(recorded: list[Event]) -> None:
    """midicsv and mido see the same events."""
    assert mido_reader.events(RECORDING.read_bytes()) == recorded


def test_size(recorded: list[Event]) -> None:
    """The recording is some minutes long and holds thousands of events, in format 1 with 480 ticks a quarter."""
    assert recorded[0] == Event(0, 0, "Header", None, (1, 7, 480))
    assert len(recorded) > 6_500
    assert 120 < mido.MidiFile(file=io.BytesIO(RECORDING.read_bytes())).length < 180


@pytest.mark.parametrize(
    ("track", "name", "channel", "notes", "lowest", "highest"),
    [
        (2, b"Marionette", 11, 356, 65, 89),
        (3, b"Second voice", 12, 104, 69, 79),
        (4, b"Stage piano", 1, 624, 55, 67),
        (5, b"Left hand", 2, 104, 41, 50),
        (6, b"Pad board", 10, 1114, 36, 76),
    ],
)
def test_tracks(
    recorded: list[Event], track: int, name: bytes, channel: int, notes: int, lowest: int, highest: int
) -> None:
    """Each player's track has the name, the one channel, the number of notes and the range that the script states."""
    events = [event for event in recorded if event.track == track]
    keys = [event.data[0] for event in note_ons(recorded, track)]
    assert Event(track, 0, "Title_t", None, (name,)) in events
    assert {event.channel for event in events if event.channel} == {channel}
    assert (len(keys), min(keys), max(keys)) == (notes, lowest, highest)


@pytest.mark.parametrize(("track", "name"), [(1, b"Rehearsal"), (7, b"Narrator")])
def test_tracks_without_notes(recorded: list[Event], track: int, name: bytes) -> None:
    """The conductor's and the narrator's tracks hold no channel message at all."""
    events = [event for event in recorded if event.track == track]
    assert Event(track, 0, "Title_t", None, (name,)) in events
    assert not [event for event in events if event.channel]


def test_drum_keys(recorded: list[Event]) -> None:
    """The pads play exactly the General MIDI keys that the script names."""
    assert {event.data[0] for event in note_ons(recorded, 6)} == {36, 38, 42, 46, 49, 54, 76}


def test_sections(recorded: list[Event]) -> None:
    """Each section is opened by a marker on its first bar."""
    markers = [(1 + event.tick // BAR, event.data[0]) for event in recorded if event.kind == "Marker_t"]
    assert markers == [
        (1, b"Curtain"),
        (5, b"The puppets wake"),
        (21, b"A second look"),
        (37, b"In the garden"),
        (53, b"The puppets dance"),
        (69, b"Tangled strings"),
        (85, b"Unravelled"),
        (101, b"Bow"),
    ]


def test_held_keys(recorded: list[Event]) -> None:
    """One key bounces, in bar 21 of the tune, and one note never ends, the last cymbal; all others end once each."""
    held: Counter[tuple[int, int | bytes]] = Counter()
    doubled = []
    for event in recorded:
        if event.kind not in ("Note_on_c", "Note_off_c"):
            continue
        note = (event.track, event.data[0])
        if event.kind == "Note_on_c" and event.data[1]:
            if held[note]:
                doubled.append((event.track, 1 + event.tick // BAR, event.data[0]))
            held[note] += 1
        else:
            held[note] -= 1
            assert held[note] >= 0
    assert doubled == [(2, 21, 77)]
    assert +held == {(6, 49): 1}


def test_signs_of_a_human(recorded: list[Event]) -> None:
    """Velocities and timing are uneven, pedals stand half way, wheels and pressure move, the tempo gives way."""
    tune = note_ons(recorded, 2)
    assert len({event.data[1] for event in tune}) > 40
    assert len({event.tick % 240 for event in tune}) > 20
    controllers: dict[object, set[object]] = {}
    for event in recorded:
        if event.kind == "Control_c":
            controllers.setdefault(event.data[0], set()).add(event.data[1])
    assert {24, 41, 66, 71, 96, 127, 0} <= controllers[64]
    assert {0, 127} == controllers[67]
    assert {0, 58} <= controllers[1]
    kinds = Counter(event.kind for event in recorded)
    assert kinds["Pitch_bend_c"] > 100
    assert kinds["Channel_aftertouch_c"] > 500
    slowing = [event.data[0] for event in recorded if event.kind == "Tempo" and 96 <= event.tick / BAR < 100][-12:]
    assert slowing == sorted(slowing)
    assert len(set(slowing)) == 12


def test_note_ends(recorded: list[Event]) -> None:
    """The piano ends notes with velocity 0, the small keyboard with uneven release velocities, the pads with 64."""
    releases = {
        track: {e.data[1] for e in recorded if e.track == track and e.kind == "Note_off_c"} for track in range(1, 8)
    }
    assert releases[2] == releases[4] == releases[5] == set()
    assert len(releases[3]) > 20
    assert releases[6] == {64}


def test_extras(recorded: list[Event]) -> None:
    """There is a GM reset, and a lyric that is not ASCII."""
    assert Event(1, 0, "System_exclusive", None, (5, 0x7E, 0x7F, 9, 1, 0xF7)) in recorded
    assert b"once more for grand-m\xe8re" in [event.data[0] for event in recorded if event.kind == "Lyric_t"]


def test_running_status_is_used() -> None:
    """Like a recorder, the script leaves out repeated status bytes: an event takes under four bytes with its delta."""
    assert len(RECORDING.read_bytes()) < 4 * 6_500
