"""Real files through the rules, by every route, and what an independent reader sees in the results.

midicsv 1.1 says what is in a file before and after; what an edit should make of it is worked out here, on midicsv's
records, without a line of ours.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache

import pytest

from rules.compiler.compiler import compile_rules
from rules.errors import MidiFileError
from rules.rulefile.reading import read_rules
from rules.smf.midi_file import read
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter
from tests.support import corpora
from tests.support.midicsv import Event, events

UNREADABLE = {  # where the fault is: data bytes above 127, and a file that begins with MTrd
    "fixtures/MIDIBadHeaderChunk.mid": 0,
    "invalid/01.mid": 55,
    "invalid/02.mid": 40,
    "invalid/03.mid": 55,
    "invalid/04.mid": 25,
    "invalid/05.mid": 40,
}
READABLE = [file for file in corpora.files() if file.name not in UNREADABLE]

WAYS = {
    f"{route}, by {form}": (route, form == "bytes") for route in ("patch", "stream") for form in ("rows", "bytes")
} | {"general": ("general", False)}
"""The routes, from the fastest on where it applies, with the loops for interpreted and for compiled code."""
KEYED = {"Note_on_c", "Note_off_c", "Poly_aftertouch_c"}

Edited = Callable[[Event], Event | None]
"""What becomes of a record: another one, or nothing."""


@cache
def rewriter(steps: str, way: str) -> Rewriter:
    """One rule from all tracks to one port, with these steps."""
    rules = (
        f'[ports]\nseq = {{ input = true }}\nrack = {{ output = true }}\n[[rules]]\nfrom = "seq"\nto = "rack"\n{steps}'
    )
    ruleset = read_rules([("edit.toml", rules.encode())])
    route, by_numbers = WAYS[way]
    return Rewriter(ruleset, compile_rules(ruleset), Playing("seq"), route=route, by_numbers=by_numbers)


def rewritten(data: bytes, steps: str, way: str) -> bytes:
    """What a route makes of a file."""
    return rewriter(steps, way).rewrite(data).outputs[""]


@lru_cache(maxsize=1)
def events_of(file: corpora.CorpusFile) -> list[Event]:
    """What midicsv sees in a file of the corpora."""
    return events(mended(file.name, file.read()))


def mended(name: str, data: bytes) -> bytes:
    """The file with the damage that midicsv can't read around taken away."""
    match name:
        case "fixtures/MIDIBadHeaderTracksNum.mid":
            return data[:10] + b"\0\1" + data[12:]  # one track is there, two are claimed
        case "fixtures/MIDIBadTrackHdr.mid":
            return data.replace(b"mTrk", b"MTrk", 1)
        case _:
            return data


# -- the edits, each as steps and on a record of midicsv -------------------------------------------------------------


def rechannelled(event: Event) -> Event | None:
    """Channels 1 to 4 change places."""
    places = {1: 4, 2: 1, 3: 2, 4: 3}
    return event._replace(channel=places.get(event.channel or 0, event.channel))


def transposed(event: Event) -> Event | None:
    """All keys a fifth up, that of portamento control (controller 84) too; what leaves the keys of MIDI is dropped."""
    place = 0 if event.kind in KEYED else 1 if event.kind == "Control_c" and event.data[0] == 84 else None
    if place is None:
        return event
    key = event.data[place]
    assert isinstance(key, int)
    data = (*event.data[:place], key + 7, *event.data[place + 1 :])
    return event._replace(data=data) if key + 7 <= 127 else None


def evened(event: Event) -> Event | None:
    """Every note-on has velocity 90; velocity 0 is a note-off (M1 p.10) and stays."""
    if event.kind == "Note_on_c" and event.data[1]:
        return event._replace(data=(event.data[0], 90))
    return event


def without_drums(event: Event) -> Event | None:
    """Nothing of channel 10 is left."""
    return None if event.channel == 10 else event


EDITS: dict[str, tuple[str, tuple[Edited, ...]]] = {
    "rechannel": ("steps = [{ rechannel = { 1 = 4, 2 = 1, 3 = 2, 4 = 3 } }]", (rechannelled,)),
    "transpose": ("steps = [{ transpose = 7 }]", (transposed,)),
    "velocity": ("steps = [{ velocity = { fixed = 90 } }]", (evened,)),
    "drop": ("steps = [{ filter = { drop = { channel = 10 } } }]", (without_drums,)),
    "all": (
        "steps = [{ filter = { drop = { channel = 10 } } }, { rechannel = { 1 = 4, 2 = 1, 3 = 2, 4 = 3 } },"
        " { transpose = 7 }, { velocity = { fixed = 90 } }]",
        (without_drums, rechannelled, transposed, evened),
    ),
}


ALONE = [name for name in EDITS if name != "all"]
# all edits together on every file, each one by itself on every fourth
CASES = [(file, edit) for number, file in enumerate(READABLE) for edit in ("all", ALONE[number % len(ALONE)])]


def edited(event: Event, edits: tuple[Edited, ...]) -> Event | None:
    """A record after all edits; nothing if one of them drops it."""
    left: Event | None = event
    for edit in edits:
        left = edit(left) if left is not None else None
    return left


# -- the tests -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("file", READABLE, ids=str)
def test_rules_that_change_nothing_change_no_byte(file: corpora.CorpusFile, way: str) -> None:
    """A real file comes out byte for byte, however odd or damaged it is."""
    data = file.read()
    assert rewritten(data, "", way) == data


@pytest.mark.parametrize(("file", "edit"), CASES, ids=str)
def test_edit_is_what_an_independent_reader_sees(file: corpora.CorpusFile, edit: str) -> None:
    """Every route writes the same file; in it midicsv sees every event at its tick, edited as asked, and no other."""
    data = file.read()
    steps, edits = EDITS[edit]
    result, *others = (rewritten(data, steps, way) for way in WAYS)
    assert others == [result] * len(others)
    asked = [event for before in events_of(file) if (event := edited(before, edits)) is not None]
    assert events(mended(file.name, result)) == asked


@pytest.mark.parametrize("edit", EDITS)
def test_edits_find_something_to_do(edit: str) -> None:
    """Every edit changes something in the files that it is tried on: otherwise its test would say little."""
    files = [file for file, asked in CASES if asked == edit]
    edits = EDITS[edit][1]
    assert any(edited(event, edits) != event for file in files[:8] for event in events_of(file))


@pytest.mark.parametrize("name", UNREADABLE)
def test_unreadable_files_are_refused_with_the_byte_at_fault(name: str) -> None:
    """A file that can't be read for certain is refused, and the error names the byte."""
    (file,) = (file for file in corpora.files() if file.name == name)
    for way in WAYS:
        with pytest.raises(MidiFileError) as caught:
            rewritten(file.read(), "", way)
        assert caught.value.offset == UNREADABLE[name]


def test_real_songs_take_the_route_that_is_asked_for() -> None:
    """Channels and velocities are patched, drops streamed, in all real songs but those that are damaged inside."""
    songs = corpora.files("songs", "short")
    for edit, route, at_least in (("rechannel", "patch", 40), ("velocity", "patch", 40), ("all", "stream", 40)):
        taken = [rewriter(EDITS[edit][0], "patch, by rows").rewrite(song.read()).report.route for song in songs]
        assert taken.count(route) >= at_least


def test_files_of_every_corpus_are_read() -> None:
    """All real songs and all fixtures but one are readable; the five invalid files are not."""
    assert len(READABLE) == 31 + 12 + 11
    assert all(read(file.read()).tracks for file in READABLE)
