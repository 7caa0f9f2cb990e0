"""What is told of what players hold."""

from __future__ import annotations

from rules.compiler.compiler import compile_rules
from rules.engine.engine import Engine
from rules.engine.held import held_for, held_keys
from rules.engine.player import Player
from rules.program.tables import in_key_of
from rules.rulefile.reading import read_rules
from rules.timing.delays import steady_nanoseconds

NOTE_ON, NOTE_OFF, BEND, PEDAL = b"\x90\x3c\x64", b"\x80\x3c\x40", b"\xe0\x00\x50", b"\xb0\x40\x7f"


def engine_of(rule: str) -> Engine:
    """An engine with one rule from keys."""
    ports = "[ports]\nkeys = { input = true }\nrack = { output = true }\nsynth = { output = true }\n"
    file = f'{ports}[[rules]]\nfrom = "keys"\n{rule}\n'
    return Engine(compile_rules(read_rules([("rules.toml", file.encode())])), steady_nanoseconds(120))


def pressed(engine: Engine, note: bytes, value: bytes) -> tuple[Player, int, int]:
    """A new player who plays a note and a value, and the in-keys of both."""
    number = engine.add_player("keys")
    player = engine.players[number]
    for message in (note, value):
        engine.feed(number, message, 0, [])
    return player, in_key_of(note[0], note[1]), in_key_of(value[0], value[1])


def test_what_a_key_or_pedal_holds_is_found_at_every_port() -> None:
    """Notes and values away from rest, at the first port as well as at the second; nothing once they are let go."""
    engine = engine_of('to = ["rack", "synth"]')
    player, note, value = pressed(engine, NOTE_ON, PEDAL)
    assert sorted(held_keys(engine.bookkeeping, player)) == sorted((note, value))
    assert sorted(sounding.target for sounding in held_for(engine.bookkeeping, player, note)[0]) == [0, 1]
    assert sorted(place[0] for place in held_for(engine.bookkeeping, player, value)[1]) == [0, 1]
    for message in (NOTE_OFF, b"\xb0\x40\x00"):
        engine.feed(player.number, message, 0, [])
    assert [held_for(engine.bookkeeping, player, key) for key in (note, value)] == [([], []), ([], [])]


def test_what_a_step_keeps_is_found_where_it_sounds_only() -> None:
    """A note that a `length` plays, and a value that a `thin` lets through: at the port, not at the step as well."""
    engine = engine_of('to = "rack"\nsteps = [{ length = 50 }, { thin = 30 }]')
    player, note, value = pressed(engine, NOTE_ON, BEND)
    assert [sounding.target for sounding in held_for(engine.bookkeeping, player, note)[0]] == [0]
    assert [place[0] for place in held_for(engine.bookkeeping, player, value)[1]] == [0]
