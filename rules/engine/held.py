"""What players hold by the ledgers, for those who ask: status, history, trace."""

from __future__ import annotations

from rules.engine.bookkeeping import Bookkeeping
from rules.engine.player import Player
from rules.engine.waiting_nodes import Wake
from rules.midi.neutral import OutputPlace
from rules.program.event import Event


def sounding_notes(bookkeeping: Bookkeeping) -> list[Event]:
    """The notes that sound, echo copies included."""
    return [
        sounding
        for player in bookkeeping.players
        for ledger, key, _ in bookkeeping.held_by(player)
        for press in ledger.pressed(key)
        for sounding in press.soundings
        if sounding.target >= 0
    ]


def held_keys(bookkeeping: Bookkeeping, player: Player) -> list[int]:
    """The in-keys for which something is held."""
    return list(dict.fromkeys(in_key for _, _, in_key in bookkeeping.held_by(player)))


def held_for(bookkeeping: Bookkeeping, player: Player, in_key: int) -> tuple[list[Event], list[OutputPlace]]:
    """Return what an in-key has sounding at ports, and the places there that it holds away from rest."""
    found = [(ledger, key) for ledger, key, holder in bookkeeping.held_by(player) if holder == in_key]
    presses = [press for ledger, key in found for press in ledger.pressed(key)]
    places = [place for ledger, key in found for place in ledger.resting(key)]
    return (
        [sounding for press in presses for sounding in press.soundings if sounding.target >= 0],
        [place for place in places if place[0] >= 0],
    )


def is_pending(bookkeeping: Bookkeeping, number: int) -> bool:
    """Return whether anything of a player is still to come: delayed, or the end of what a step keeps going."""
    entries = list(bookkeeping.scheduler)
    if any(isinstance(entry, Event) and entry.player == number for entry in entries):
        return True
    return any(isinstance(entry, Wake) for entry in entries) and bool(bookkeeping.held_by(bookkeeping.players[number]))
