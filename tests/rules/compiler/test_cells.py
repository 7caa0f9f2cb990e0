"""Which messages may take the fast path."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_rules
from rules.program.pipeline import Pipeline
from rules.program.tables import GENERAL, HELD, NOTE, PASS, SHARED, SWITCHED, Cell
from rules.rulefile.reading import read_rules

NAMES = {GENERAL: "general", NOTE: "note", PASS: "pass", HELD: "held", SHARED: "shared", SWITCHED: "switched"}
PORTS = "[ports]\nkeys = { input = true }\npads = { input = true }\nrack = { output = true }\n"


def compiled(rules: str) -> Pipeline:
    """The pipeline of a rule file with two sources and one output."""
    return compile_rules(read_rules([("rules.toml", (PORTS + rules).encode())]))


def rule(more: str = "", source: str = "keys") -> str:
    """A rule to the rack with something more in it."""
    return f'[[rules]]\nfrom = "{source}"\nto = "rack"\n{more}\n'


def cell(pipeline: Pipeline, status: int, first: int) -> Cell:
    """The cell of a message from the first source."""
    return pipeline.tables[0].rows[status & 0x7F][first]


def path_of(rules: str, status: int, first: int) -> str:
    """How its messages are answered."""
    return NAMES[cell(compiled(rules), status, first).path]


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("", "note"),
        ("steps = [{ transpose = 12 }]", "note"),
        ('steps = [{ velocity = { scale_to = "20..127" } }]', "note"),
        ("steps = [{ velocity = { quieter = 1, release = true } }]", "general"),
        ('steps = [{ filter = { keep = { velocity = "64.." } } }]', "general"),
        ("steps = [{ delay = 5 }]", "general"),
    ],
)
def test_notes_go_the_short_way_where_their_end_follows_by_itself(more: str, expected: str) -> None:
    """Whatever the velocity, and without a memory on the way."""
    assert path_of(rule(more), 0x90, 60) == expected


def test_a_layer_of_one_key_onto_itself_goes_the_whole_way() -> None:
    """Two lanes to one note are one note."""
    assert path_of(rule() + rule("steps = [{ velocity = 9 }]"), 0x90, 60) == "general"
    assert path_of(rule() + rule("steps = [{ transpose = 12 }]"), 0x90, 60) != "note"


def test_layers_that_meet_on_some_keys_go_the_whole_way_there_alone() -> None:
    """The rule that moves one key makes the note that the other makes of it, and of no other key."""
    pipeline = compiled(rule("steps = [{ transpose = 12 }]") + rule('steps = [{ map = { notes = { C4 = "C5" } } }]'))
    paths = {key: NAMES[cell(pipeline, 0x90, key).path] for key in (59, 60, 61)}
    assert paths == {59: "shared", 60: "general", 61: "shared"}


def test_two_sources_to_one_channel_share_it() -> None:
    """Their notes go the way that watches out for each other."""
    assert path_of(rule() + rule(source="pads"), 0x90, 60) == "shared"
    assert path_of(rule() + rule("steps = [{ rechannel = 2 }]", "pads"), 0x90, 60) == "note"


@pytest.mark.parametrize(
    ("status", "first", "expected"),
    [
        (0xB0, 7, "pass"),
        (0xB0, 64, "general"),
        (0xB0, 0, "general"),
        (0xB0, 123, "general"),
        (0xB0, 98, "general"),
        (0xB0, 1, "held"),
        (0xC0, 5, "pass"),
        (0xD0, 5, "held"),
        (0xE0, 5, "held"),
        (0xA0, 60, "held"),
    ],
)
def test_other_messages_go_by_what_they_leave_behind(status: int, first: int, expected: str) -> None:
    """Volume and programs leave nothing; bends, pressure and modulation must come to rest; pedals want care."""
    assert path_of(rule(), status, first) == expected


def test_values_that_are_chased_go_the_whole_way() -> None:
    """What a rule may send later is noted when it passes."""
    rules = '[switches]\nup = { from = "keys", note = 1 }\n' + rule('when = "up"\nchase = ["volume"]') + rule()
    assert path_of(rules, 0xB0, 7) == "general"
    assert path_of(rules, 0xB0, 8) == "switched"
    assert path_of(rule(), 0xB0, 8) == "pass"


def test_a_bend_that_was_scaled_goes_the_whole_way() -> None:
    """Its middle and only that must come out in the middle, which the tables don't tell."""
    assert (
        path_of(rule('steps = [{ map = { from = "pitch-bend", to = "pitch-bend", out = "-100..100" } }]'), 0xE0, 0)
        == "general"
    )


def test_a_note_off_knows_its_note_on() -> None:
    """That is how the engine sees that a note was pressed the way it ends."""
    pipeline = compiled(rule("steps = [{ transpose = 12 }]"))
    on, off, pressure = (cell(pipeline, status, 60) for status in (0x90, 0x80, 0xA0))
    assert off.ons is on
    assert pressure.ons is on
    assert on.ons is None


def test_equal_cells_are_one() -> None:
    """Keys that a rule treats alike share a cell, so that many rules stay small."""
    pipeline = compiled(rule('match = { notes = "60.." }'))
    cells = {id(found) for found in pipeline.tables[0].rows[0x10]}
    assert len(cells) == 2
