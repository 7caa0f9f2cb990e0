"""Pedals, bends and pressure: what is away from rest, and how it comes back with the hand (ruling 13)."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

from rules.timing.delays import AT_ONCE
from tests.model import facts
from tests.model.facts import Place
from tests.model.ledger import Item, Key
from tests.model.merging import Out
from tests.model.routing import Emission, Way, WayBehind
from tests.model.state import State
from tests.model.timing import Start, Timing


class Resting:
    """All that comes to rest."""

    def __init__(self, state: State, timing: Timing) -> None:
        self.state = state
        self.ledger = state.ledger
        self.timing = timing

    def remember(self, item: Item, emission: Emission, start: Start, way: Way | WayBehind) -> None:
        """A value that goes out is away from rest, or at rest."""
        message, place, key = emission.message, emission.place, start.key
        assert key is not None
        if not self._is_held_down(emission):
            return
        if facts.is_at_rest(message):
            self._has_come_to_rest(key, place, emission)
        else:
            self.ledger.rests.setdefault(key, {})[place] = (way, emission, item)

    def _has_come_to_rest(self, key: Key, place: Place, emission: Emission) -> None:
        """Nothing is away from rest there any more, whatever way it went there: past a step, or through it."""
        port = not emission.is_kept
        self.ledger.forget_rests(lambda at, there: there == place and (at == key or (port and at[:3] == key[:3])))

    def _is_held_down(self, emission: Emission) -> bool:
        """Whether it comes to rest with the hand. What a `send` sends stays: nobody holds it down."""
        return facts.is_held_like_a_note(emission.message) and not emission.flow.sent

    def bring_to_rest(self, start: Start, message: bytes, emissions: list[Emission], now: int, out: Out) -> None:
        """Places that got a value before and are not reached any more come to rest with the hand."""
        key = start.key
        assert key is not None
        reached = {emission.place for emission in emissions if facts.has_channel(emission.message)}
        reached |= {place for emission in emissions if emission.is_kept for place in emission.places()}
        going = []
        for place, (way, emission, _) in self.ledger.rests.get(key, {}).items():
            if place in reached:
                continue
            then, _ = way.everything(self.state.players[start.player], message, key, self.state.memory)
            values = [
                other.message
                for other in then
                if facts.has_channel(other.message) and other.place == place and not other.flow.sent
            ]
            if facts.is_low(values[-1] if values else message):
                going.append((place, emission))
        for place, _ in going:
            self.ledger.forget_rests(lambda at, there, gone=place: at == key and there == gone)  # type: ignore[misc]
        for place, emission in going:
            self.rest(key, place, emission, start, now, out)

    def rest(self, key: Key, place: Place, emission: Emission, start: Start, now: int, out: Out) -> None:
        """The value at rest goes the way of the one that was away from it, with the delays from there."""
        rest = replace(emission, flow=emission.flow.with_message(facts.rest_at(place)))
        self._has_come_to_rest(key, place, rest)
        begin = replace(start, base=now, before=AT_ONCE, waited=0)
        item = self.timing.item_of(rest, begin)
        item.copy, item.made = emission.flow.copy, True
        self.timing.start(item, rest, begin, now, out)

    def away(self, wanted: Callable[[Place], bool]) -> list[tuple[Emission, Key, Place]]:
        """The places at ports that are away from rest, each once for each hand."""
        found: dict[object, tuple[Emission, Key, Place]] = {}
        for key, places in self.ledger.rests.items():
            for place, (_, emission, _) in places.items():
                if not emission.is_kept and wanted(place):
                    found.setdefault((key[:3], place), (emission, key, place))
        return list(found.values())

    def end_now(self, players: Collection[int], now: int, out: Out) -> None:
        """All that players have away from rest comes to rest, as if in one moment."""
        merge = self.state.merge
        items = [
            replace(self.state.item(emission, key[0], key[:3]), message=facts.rest_at(place))
            for emission, key, place in self.away(lambda place: True)
            if key[0] in players
        ]
        for item in items:
            merge.pedals.get(item.place, {}).pop(item.hand, None)
        for item in items:
            merge.send(item, now, out)
        self.ledger.forget_rests(lambda key, place: key[0] in players)
