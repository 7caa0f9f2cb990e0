"""What ends at once: a lost source, a panic, ports that go."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from rules.engine.bookkeeping import Bookkeeping
from rules.engine.delivery import Sent, send
from rules.engine.ledger import Ledger, LedgerKey, Rest
from rules.engine.player import Player
from rules.midi.neutral import OutputPlace, ends_held, rest_message, rest_place
from rules.program.event import Event, holder_of
from rules.program.tables import in_channel_of


def drop_pending(bookkeeping: Bookkeeping, wanted: Callable[[Event], bool], now: int, out: list[Sent]) -> None:
    """Drop the `wanted` pending events; note-offs and values at rest for ports go out now instead."""
    for event in bookkeeping.scheduler.take(lambda entry: isinstance(entry, Event) and wanted(entry)):
        assert isinstance(event, Event)
        if bookkeeping.limit is not None:
            bookkeeping.limit.leave(event)
        place = rest_place(event.target, event.message)
        if place is not None:
            bookkeeping.players[event.player].owed.pop((event.in_key, place), None)
        if event.target >= 0 and ends_held(event.message):
            bookkeeping.delivery.deliver(event, now, out)


def end_players(bookkeeping: Bookkeeping, players: Sequence[Player], now: int, out: list[Sent]) -> None:
    """End all that players have sounding, and bring all that they hold to rest, at once."""
    resting: list[tuple[Rest, OutputPlace]] = []
    for player in players:
        held = bookkeeping.held_by(player)
        for ledger, key, _ in held:
            for press in ledger.pressed(key):
                for sounding in press.soundings:
                    bookkeeping.end_now(sounding, now, out)
            ledger.presses.pop(key, None)
        resting += [(rest, place) for rest, place in _taken(held, lambda place: True) if place[0] >= 0]
    for rest, place in resting:  # all before any goes: a pedal that goes must not bring back another that will go
        bookkeeping.merge.forget_pedal(place, (rest.event.hand, in_channel_of(rest.event.in_key)))
    for rest, place in resting:
        bookkeeping.go(rest.event.derived_now(rest_message(place), now), now, out)


def _taken(
    held: Iterable[tuple[Ledger, LedgerKey, int]], wanted: Callable[[OutputPlace], bool]
) -> list[tuple[Rest, OutputPlace]]:
    """Take values out of ledgers. What went to a port both past a node and through it is brought to rest once."""
    found: dict[tuple[int, OutputPlace], Rest] = {}
    for ledger, key, in_key in held:
        for rest in ledger.come_to_rest(key, lambda place, _: wanted(place)):
            place = rest_place(rest.event.target, rest.event.message)
            assert place is not None
            found.setdefault((in_key, place), rest)
    return [(rest, place) for (_, place), rest in found.items()]


def leave_ports(bookkeeping: Bookkeeping, targets: frozenset[int], now: int, out: list[Sent]) -> None:
    """End what sounds at ports that are going, and drop what is pending for them.

    Presses stay, so that the note-offs to come find nothing to end.
    """
    if not targets:
        return
    drop_pending(bookkeeping, lambda event: event.target in targets, now, out)
    for player in bookkeeping.players:
        held = bookkeeping.held_by(player)
        for ledger, key, _ in held:
            for press in ledger.pressed(key):
                for sounding in press.soundings:
                    if sounding.target in targets and sounding.is_out:
                        out.append((sounding.target, sounding.off(), now, player.number))
                press.soundings = [sounding for sounding in press.soundings if sounding.target not in targets]
        for _, place in _taken(held, lambda place: place[0] in targets):
            out.append((place[0], rest_message(place), now, player.number))
    send(bookkeeping.merge.drop_ports(targets), now, out)


def write_out(bookkeeping: Bookkeeping, player: Player) -> None:
    """Turn what the fast path noted into full entries, since the tables will change."""
    notes, bends = player.ledger.unmerged()
    for in_key, place in notes:
        bookkeeping.merge.press(place, holder_of(player.hand, in_key, ()))
    for in_key, channel, message in bends:
        bookkeeping.merge.bend(channel, (player.hand, in_channel_of(in_key)), message)
    player.ledger.promote_all()
