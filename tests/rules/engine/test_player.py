"""One stream of messages with its ledger."""

from __future__ import annotations

from rules.compiler.compiler import compile_rules
from rules.engine.ledger import Press
from rules.program.pipeline import Pipeline
from rules.program.tables import GENERAL, NOWHERE, in_key_of, note_place
from rules.rulefile.reading import read_rules
from tests.support.players import plugged

PORTS = "[ports]\nkeys = { input = true }\npads = { input = true }\nrack = { output = true }\n"
NOTE = in_key_of(0x90, 60)
BEND = in_key_of(0xE0, 0)


def pipeline_of(more: str = "") -> Pipeline:
    """The pipeline of one rule from the keys to the rack."""
    text = f'{PORTS}[[rules]]\nfrom = "keys"\nto = "rack"\n{more}\n'
    return compile_rules(read_rules([("rules.toml", text.encode())]))


def test_a_player_has_the_tables_of_its_source() -> None:
    """Its cells are those of the source's table, and its number tells sources apart."""
    pipeline = pipeline_of()
    keys, pads = plugged("keys", pipeline), plugged("pads", pipeline, 1)
    assert keys.cells is pipeline.tables[0].cells
    assert pads.cells is pipeline.tables[1].cells
    assert (keys.first_holder, pads.first_holder) == (0, 1 << 14)


def test_a_source_that_is_gone_leads_nowhere_until_it_is_back() -> None:
    """A reload may take a port away and bring it back."""
    pipeline = pipeline_of()
    player = plugged("drums", pipeline)
    assert not player.plugged
    assert player.table is NOWHERE
    player.name = "keys"
    player.plug(pipeline, frozenset())
    assert player.plugged
    assert player.table is pipeline.tables[0]


def test_what_went_the_short_way_is_told_in_full() -> None:
    """A note noted by its cell is a press with one sounding at the place where the cell led."""
    pipeline = pipeline_of("steps = [{ transpose = 12 }, { rechannel = 3 }]")
    player = plugged("keys", pipeline)
    player.presses[NOTE] = player.cells[NOTE]
    (press,) = player.ledger.pressed(NOTE)
    (sounding,) = press.soundings
    assert (sounding.place, sounding.is_out) == ((0, 0x92, 72), True)
    assert player.ledger.pressed(NOTE)[0] is press


def test_a_value_away_from_rest_is_told_in_full() -> None:
    """A bend noted by its cell is away from rest where the cell led."""
    player = plugged("keys", pipeline_of("steps = [{ rechannel = 3 }]"))
    player.rests[BEND] = player.cells[BEND]
    assert list(player.ledger.resting(BEND)) == [(0, 0xE2, 0)]


def test_nothing_is_pressed_or_away_at_first() -> None:
    """Asking makes no entry."""
    player = plugged("keys", pipeline_of())
    assert (player.ledger.pressed(NOTE), player.ledger.resting(BEND)) == ([], {})
    assert (player.presses, player.rests) == ({}, {})


def test_before_the_tables_change_all_is_written_out() -> None:
    """What was noted by a cell of the old tables is a full entry afterwards."""
    player = plugged("keys", pipeline_of())
    player.presses[NOTE] = player.cells[NOTE]
    player.rests[BEND] = player.cells[BEND]
    player.ledger.promote_all()
    assert [type(press) for press in player.ledger.pressed(NOTE)] == [Press]
    assert isinstance(player.rests[BEND], dict)


def test_values_that_have_made_notes_leave_the_short_way() -> None:
    """After a reload they are looked at in full, since their notes have to end; all else keeps its cells."""
    pipeline = pipeline_of()
    player = plugged("keys", pipeline)
    volume, pressure = in_key_of(0xB0, 7), in_key_of(0xD0, 0)
    player.presses.update({volume: [], pressure: [], NOTE: []})
    player.plug(pipeline, frozenset())
    opened = {volume, *range(pressure, pressure + 128)}
    for place, (mine, its) in enumerate(zip(player.cells, pipeline.tables[0].cells, strict=True)):
        assert mine.lanes == its.lanes
        assert mine.path == (GENERAL if place in opened else its.path)


def test_notes_that_meet_others_leave_the_short_way() -> None:
    """Where somebody holds a note on a channel that the rules give to one source alone, that one key asks first."""
    player = plugged("keys", pipeline_of("steps = [{ transpose = 12 }]"))
    cells = player.cells
    player.plug(pipeline_of("steps = [{ transpose = 12 }]"), frozenset({note_place(0, 0, 72)}))
    changed = [in_key for in_key, cell in enumerate(player.cells) if cell.path != cells[in_key].path]
    assert changed == [in_key_of(0x80, 60) & 0x7FF, NOTE]
    assert player.cells[NOTE].path == GENERAL
