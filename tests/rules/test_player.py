"""One stream of messages with its ledger."""

from __future__ import annotations

from rules.compile import compile_rules
from rules.holder import in_key_of
from rules.language.reading import read_rules
from rules.ledger import Press
from rules.pipeline import NOWHERE, WHOLE, Pipeline
from rules.player import Player

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
    keys, pads = Player(0, "keys", pipeline), Player(1, "pads", pipeline)
    assert keys.cells is pipeline.tables[0].cells
    assert pads.cells is pipeline.tables[1].cells
    assert (keys.first_holder, pads.first_holder) == (0, 1 << 14)


def test_a_source_that_is_gone_leads_nowhere_until_it_is_back() -> None:
    """A reload may take a port away and bring it back."""
    pipeline = pipeline_of()
    player = Player(0, "drums", pipeline)
    assert not player.plugged
    assert player.table is NOWHERE
    player.name = "keys"
    player.plug(pipeline)
    assert player.plugged
    assert player.table is pipeline.tables[0]


def test_what_went_the_short_way_is_told_in_full() -> None:
    """A note noted by its cell is a press with one sounding at the place where the cell led."""
    pipeline = pipeline_of("steps = [{ transpose = 12 }, { rechannel = 3 }]")
    player = Player(0, "keys", pipeline)
    player.presses[NOTE] = player.cells[NOTE]
    (press,) = player.pressed(NOTE)
    (sounding,) = press.soundings
    assert (sounding.place, sounding.is_out) == ((0, 0x92, 72), True)
    assert player.pressed(NOTE)[0] is press


def test_a_value_away_from_rest_is_told_in_full() -> None:
    """A bend noted by its cell is away from rest where the cell led."""
    player = Player(0, "keys", pipeline_of("steps = [{ rechannel = 3 }]"))
    player.rests[BEND] = player.cells[BEND]
    assert list(player.resting(BEND)) == [(0, 0xE2, 0)]


def test_nothing_is_pressed_or_away_at_first() -> None:
    """Asking makes no entry."""
    player = Player(0, "keys", pipeline_of())
    assert (player.pressed(NOTE), player.resting(BEND)) == ([], {})
    assert (player.presses, player.rests) == ({}, {})


def test_before_the_tables_change_all_is_written_out() -> None:
    """What was noted by a cell of the old tables is a full entry afterwards."""
    player = Player(0, "keys", pipeline_of())
    player.presses[NOTE] = player.cells[NOTE]
    player.rests[BEND] = player.cells[BEND]
    player.write_out()
    assert [type(press) for press in player.pressed(NOTE)] == [Press]
    assert isinstance(player.rests[BEND], dict)


def test_values_that_have_made_notes_leave_the_short_way() -> None:
    """After a reload they are looked at in full, since their notes have to end; all else keeps its cells."""
    pipeline = pipeline_of()
    player = Player(0, "keys", pipeline)
    volume, pressure = in_key_of(0xB0, 7), in_key_of(0xD0, 0)
    player.presses = {volume: [], pressure: [], NOTE: []}
    player.plug(pipeline)
    opened = {volume, *range(pressure, pressure + 128)}
    for place, (mine, its) in enumerate(zip(player.cells, pipeline.tables[0].cells, strict=True)):
        assert mine.lanes == its.lanes
        assert mine.way == (WHOLE if place in opened else its.way)
