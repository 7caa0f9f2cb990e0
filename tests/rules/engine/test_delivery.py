"""What goes out at once, and which ledgers it reaches into."""

from __future__ import annotations

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Delivery
from rules.engine.ledger import Press, Rest, Sounding
from rules.engine.merge import Merge
from rules.engine.player import Player
from rules.program.holders import in_key_of
from rules.program.sending import Sending
from rules.rulefile.reading import read_rules
from tests.support.players import plugged

RULES = '[ports]\nkeys = { input = true }\nrack = { output = true }\n[[rules]]\nfrom = "keys"\nto = "rack"\n'
PIPELINE = compile_rules(read_rules([("rules.toml", RULES.encode())]))
NOTE = in_key_of(0x90, 60)


def player_with(*soundings: Sounding) -> Player:
    """A player whose middle C holds these."""
    player = plugged("keys", PIPELINE)
    player.presses[NOTE] = [Press([sounding], player.table, 0) for sounding in soundings]
    return player


def delivery_of(*players: Player) -> Delivery:
    """The outputs with what the players sound there."""
    delivery = Delivery(Merge(frozenset()), list(players))
    for player in players:
        for in_key in player.presses:
            for press in player.ledger.pressed(in_key):
                for sounding in press.soundings:
                    holder = player.hand << 14 | in_key
                    delivery.merge.press(sounding.note_place, holder)
    return delivery


def sending(message: bytes, mark: Rest | Sounding | None = None, hand: int = 0) -> Sending:
    """A message to the first port."""
    return Sending(0, hand, in_key_of(message[0], message[1]), (), 0, message, mark)


def test_what_goes_out_is_marked() -> None:
    """The ledger learns when the time of its note has come."""
    sounding = Sounding(0, 0, 60)
    delivery = delivery_of()
    delivery.deliver(sending(b"\x90\x3c\x40", sounding), 7)
    assert sounding.is_out
    assert delivery.out == [(0, b"\x90\x3c\x40", 7, 0)]


def test_all_notes_off_ends_what_has_gone_out() -> None:
    """A note that is still to come keeps its note-off (ruling 15)."""
    came, comes = Sounding(0, 0, 60, is_out=True), Sounding(0, 0, 60)
    player = player_with(came, comes)
    delivery = delivery_of(player)
    delivery.deliver(sending(b"\xb0\x7b\x00"), 0)
    assert [message for _, message, *_ in delivery.out] == [b"\xb0\x7b\x00"]
    assert [press.soundings for press in player.ledger.pressed(NOTE)] == [[comes]]


def test_all_notes_off_becomes_note_offs_where_another_sounds() -> None:
    """The other's note goes on (ruling 15)."""
    delivery = delivery_of(player_with(Sounding(0, 0, 60, is_out=True)))
    delivery.merge.press(Sounding(0, 0, 64).note_place, 1 << 14 | in_key_of(0x90, 64))
    delivery.deliver(sending(b"\xb0\x7b\x00"), 0)
    assert [message for _, message, *_ in delivery.out] == [b"\x80\x3c\x40"]


def test_a_reset_brings_to_rest_what_has_gone_out() -> None:
    """A value that is still on its way comes after it, and is not forgotten."""
    player = player_with()
    player.presses.clear()
    came, comes = Rest(player.table, 0, is_out=True), Rest(player.table, 0)
    bend, pedal = in_key_of(0xE0, 0), in_key_of(0xB0, 64)
    player.rests[bend] = {(0, 0xE0, 0): came, (1, 0xE0, 0): came}
    player.rests[pedal] = {(0, 0xB0, 64): comes}
    delivery_of(player).deliver(sending(b"\xb0\x79\x00"), 0)
    assert player.ledger.resting(bend) == {(1, 0xE0, 0): came}
    assert player.ledger.resting(pedal) == {(0, 0xB0, 64): comes}


def test_striking_takes_out_what_is_asked_for() -> None:
    """A press that it empties goes; one that was empty before stays, for its note-off is still to come."""
    low, high = Sounding(0, 0, 60), Sounding(0, 0, 72)
    player = player_with(low, high)
    empty = Press([], player.table, 0)
    player.ledger.pressed(NOTE).append(empty)
    assert player.ledger.strike(NOTE, lambda sounding: sounding.key == 60) == [low]
    assert [press.soundings for press in player.ledger.pressed(NOTE)] == [[high], []]
    assert player.ledger.strike(NOTE, lambda sounding: True) == [high]
    assert player.ledger.pressed(NOTE) == [empty]
