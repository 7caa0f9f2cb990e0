"""The picture of a take."""

from __future__ import annotations

import random
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from rules.compiler.compiler import compile_rules
from rules.drawing.piano_roll import draw_take
from rules.drawing.svg import Picture
from rules.drawing.take_notes import Bar, Fate, Lane, Place, TakeNotes, notes_as_recorded, notes_through_rules
from rules.drawing.time_axis import TimeAxis
from rules.rulefile.reading import read_rules
from rules.smf.midi_file import read
from rules.smf.report import Playing
from tests.support.smf_bytes import END, one_track
from tests.support.svg_pictures import SVG, faults, outside, overlapping, texts

LINK = "{http://www.w3.org/1999/xlink}href"
PROJECT = Path(__file__).parents[3]
EVERYTHING = """
[ports]
take = { input = true }
rig = { output = true }
[devices]
"reed box" = { port = "rig", channel = 3 }
[[rules]]
from = "take"
match = { channel = 11, notes = "D5.." }
to = "reed box"
[[rules]]
from = "take"
match = { channel = 12 }
steps = [{ delay = { beats = 1 } }]
to = "rig"
[[rules]]
from = "take"
match = { channel = [2, 10] }
to = "rig"
"""


def drawn(rules: str = EVERYTHING) -> Picture:
    """The example recording through rules."""
    file = read((PROJECT / "examples/recording.mid").read_bytes())
    ruleset = read_rules([("rules.toml", rules.encode())])
    notes = notes_through_rules(file, ruleset, compile_rules(ruleset), Playing("take"))
    return draw_take(notes, "recording.mid through rules.toml", TimeAxis(file, ruleset.bpm))


def test_a_take_before_and_after() -> None:
    """Valid, on one page, with no text over another; channels and devices have their numbers of notes."""
    picture = drawn()
    svg = picture.svg()
    assert faults(svg) == []
    assert overlapping(svg) == []
    assert outside(svg) == []
    assert picture.fits_a4
    shown = {box.text for box in texts(svg)}
    assert {"Before", "After", "take, channel 11", "reed box, channel 3", "as played", "dropped", "bar"} <= shown
    assert [text for text in shown if text.startswith("356 notes; 326 moved; 30 dropped;")]
    assert picture.summary == "2,302 notes: 1,218 as played, 326 moved, 104 later, 654 dropped."


def test_fates_differ_without_colours() -> None:
    """Each has another lightness, or outlines, or crosses."""
    root = ElementTree.fromstring(drawn().svg())
    names = [name for path in root.iter(f"{SVG}path") if (name := path.get("id", "")).startswith("legend")]
    uses = [(use.attrib[LINK], use.get("stroke")) for use in root.iter(f"{SVG}use")]
    strokes = {name: [stroke for link, stroke in uses if link == f"#{name}"] for name in names}
    assert strokes == {
        "legendkept": ["#000000"],
        "legendmoved": ["#000000", "#ffb84d"],
        "legendlater": ["#8c8c8c"],
        "legenddropped": ["#000000", "#ffffff"],
    }


def test_a_recording_alone() -> None:
    """It has no after, and no legend."""
    file = read((PROJECT / "examples/recording.mid").read_bytes())
    picture = draw_take(notes_as_recorded(file), "recording.mid", TimeAxis(file, 120))
    shown = {box.text for box in texts(picture.svg())}
    assert "channel 11" in shown
    assert not {"Before", "After", "as played"} & shown
    assert picture.summary == "2,302 notes on 5 channels."


@pytest.mark.parametrize("lanes", [1, 16, 48])
def test_long_takes_stay_small(lanes: int) -> None:
    """Forty thousand notes: times are rounded until the picture has at most 200 kB."""
    chance = random.Random(lanes)
    file = read(one_track("00 90 3C 64 60 80 3C 40" + END))

    def lane(number: int) -> Lane:
        bars = [
            Bar(at * 7, at * 7 + chance.randint(0, 400), chance.randint(20, 110), chance.choice([*Fate]))
            for at in range(20_000 // lanes)
        ]
        return Lane(f"device {number}", Place("rack", number % 16 + 1), bars)

    before, after = (tuple(lane(number) for number in range(lanes)) for _ in range(2))
    notes = TakeNotes(before, after, 7 * 20_000 // lanes + 400)
    svg = draw_take(notes, "long.mid", TimeAxis(file, 120)).svg()
    assert len(svg.encode()) <= 200_000
    assert faults(svg) == []
    assert overlapping(svg) == []


def test_an_empty_recording() -> None:
    """There is nothing to see, and the picture says so."""
    file = read(one_track(END))
    picture = draw_take(notes_as_recorded(file), "empty.mid", TimeAxis(file, 120))
    assert faults(picture.svg()) == []
    assert "no notes" in {box.text for box in texts(picture.svg())}
    assert outside(picture.svg()) == []
    assert picture.summary == "0 notes on 0 channels."


def test_notes_that_a_chord_adds_are_not_moved() -> None:
    """They have a mark and a number of their own."""
    chord = """
[ports]
take = { input = true }
rig = { output = true }
[[rules]]
from = "take"
steps = [{ chord = [0, 4, 7] }]
to = "rig"
"""
    picture = drawn(chord)
    shown = {box.text for box in texts(picture.svg())}
    assert {"as played", "added: a chord"} <= shown
    assert not any("moved" in text for text in shown)
    assert picture.summary == "2,302 notes: 2,302 as played, 0 moved, 0 later, 0 dropped; 4,604 added."


def test_notes_of_one_key_are_one_path() -> None:
    """One after the other with a gap, two at once as one line; a short one is still to be seen."""
    bars = [Bar(begin, end, 60, Fate.KEPT) for begin, end in ((0, 100), (100, 200), (150, 300), (900, 900))]
    file = read(one_track(END))
    notes = TakeNotes((Lane("organ", Place("rack", 1), bars),), (), 1000)
    root = ElementTree.fromstring(draw_take(notes, "short.mid", TimeAxis(file, 120)).svg())
    (path,) = (path for path in root.iter(f"{SVG}path") if path.get("id") == "take0kept")
    assert [int(length) for length in re.findall(r"h(\d+)", path.attrib["d"])] == [220, 441, 4]
