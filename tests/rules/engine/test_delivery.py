"""What goes out at once, and which ledgers it reaches into."""

from __future__ import annotations

from collections.abc import Iterator

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Delivery, Sent
from rules.engine.ledger import Ledger, LedgerKey, Press, Rest
from rules.engine.merge import Merge
from rules.engine.player import Player
from rules.program.event import Event, Family
from rules.program.tables import in_key_of
from rules.rulefile.reading import read_rules
from tests.support.players import plugged

RULES = '[ports]\nkeys = { input = true }\nrack = { output = true }\n[[rules]]\nfrom = "keys"\nto = "rack"\n'
PIPELINE = compile_rules(read_rules([("rules.toml", RULES.encode())]))
NOTE = in_key_of(0x90, 60)


def sounding(key: int = 60, *, is_out: bool = False) -> Event:
    """A note at the first port, by middle C."""
    event = Event(0, 0, NOTE, bytes((0x90, key, 64)), 0, Family(0), 0)
    event.is_out = is_out
    return event


def player_with(*soundings: Event) -> Player:
    """A player whose middle C holds these."""
    player = plugged("keys", PIPELINE)
    player.presses[NOTE] = [Press([sounding], player.table, 0) for sounding in soundings]
    return player


def delivery_of(*players: Player) -> Delivery:
    """The outputs with what the players sound there."""

    def held_by(hand: int) -> Iterator[tuple[Ledger, LedgerKey, int]]:
        for player in players:
            if player.hand == hand:
                yield from [(player.ledger, key, key) for key in {**player.presses, **player.rests}]

    delivery = Delivery(Merge(frozenset()), held_by)
    for player in players:
        for in_key in player.presses:
            for press in player.ledger.pressed(in_key):
                for sounding in press.soundings:
                    delivery.merge.press(sounding.note_place, player.hand << 14 | in_key)
    return delivery


def sent(delivery: Delivery, message: bytes) -> list[bytes]:
    """What goes out where a message to the first port is due."""
    out: list[Sent] = []
    delivery.deliver(Event(0, 0, in_key_of(message[0], message[1]), message, 0, Family(0), 0), 0, out)
    return [message for _, message, *_ in out]


def test_what_goes_out_is_marked() -> None:
    """The ledger learns when the time of its note has come."""
    note, out = sounding(), list[Sent]()
    delivery_of().deliver(note, 7, out)
    assert note.is_out
    assert out == [(0, b"\x90\x3c\x40", 7, 0)]


def test_all_notes_off_ends_what_has_gone_out() -> None:
    """A note that is still to come keeps its note-off (ruling 15)."""
    came, comes = sounding(is_out=True), sounding()
    player = player_with(came, comes)
    assert sent(delivery_of(player), b"\xb0\x7b\x00") == [b"\xb0\x7b\x00"]
    assert [press.soundings for press in player.ledger.pressed(NOTE)] == [[comes]]


def test_all_notes_off_becomes_note_offs_where_another_sounds() -> None:
    """The other's note goes on (ruling 15)."""
    delivery = delivery_of(player_with(sounding(is_out=True)))
    delivery.merge.press(sounding(64).note_place, 1 << 14 | in_key_of(0x90, 64))
    assert sent(delivery, b"\xb0\x7b\x00") == [b"\x80\x3c\x40"]


def test_a_reset_brings_to_rest_what_has_gone_out() -> None:
    """A value that is still on its way comes after it, and is not forgotten."""
    player = player_with()
    player.presses.clear()
    came, comes = (Rest(sounding(is_out=is_out), player.table, 0) for is_out in (True, False))
    bend, pedal = in_key_of(0xE0, 0), in_key_of(0xB0, 64)
    player.rests[bend] = {(0, 0xE0, 0): came, (1, 0xE0, 0): came}
    player.rests[pedal] = {(0, 0xB0, 64): comes}
    sent(delivery_of(player), b"\xb0\x79\x00")
    assert player.ledger.resting(bend) == {(1, 0xE0, 0): came}
    assert player.ledger.resting(pedal) == {(0, 0xB0, 64): comes}


def test_striking_takes_out_what_is_asked_for() -> None:
    """A press that it empties goes; one that was empty before stays, for its note-off is still to come."""
    low, high = sounding(60), sounding(72)
    player = player_with(low, high)
    empty = Press([], player.table, 0)
    player.ledger.pressed(NOTE).append(empty)
    assert player.ledger.remove_soundings(NOTE, lambda sounding: sounding.key == 60) == [low]
    assert [press.soundings for press in player.ledger.pressed(NOTE)] == [[high], []]
    assert player.ledger.remove_soundings(NOTE, lambda sounding: True) == [high]
    assert player.ledger.pressed(NOTE) == [empty]
