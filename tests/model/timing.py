"""Delays: when a message goes out, what it has to wait for, and what another tempo changes (rulings 22, 29)."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from rules.timing.delays import AT_ONCE, Delay
from tests.model import facts
from tests.model.agenda import Pending
from tests.model.facts import InKey
from tests.model.ledger import Family, Item, Key, Sounding
from tests.model.merging import Out
from tests.model.routing import Emission
from tests.model.state import State


@dataclass(frozen=True, slots=True)
class Start:
    """Where a message begins that is to be booked: in a player's hand, or behind a step that kept it.

    `key` is what the ledger knows it by. It comes `before` after `base`, and `waited` later; `order` is its turn (0:
    the latest). `is_stray`: a note-off that ends no known note, which a step let by.
    """

    player: int
    in_key: InKey | None
    key: Key | None
    family: Family
    base: int
    before: Delay = AT_ONCE
    waited: int = 0
    order: int = 0
    is_behind: bool = False
    is_stray: bool = False


class Timing:
    """Sends things at their time. `arrive` is where they come to then: a port, or a step that keeps them."""

    def __init__(self, state: State, arrive: Callable[[Item, int, Out], None]) -> None:
        self.state = state
        self._arrive = arrive
        self._latest: dict[object, int] = {}
        """When the last message is due where nothing overtakes."""

    def item_of(self, emission: Emission, start: Start) -> Item:
        """A message on its way out, in the turn of what it comes from."""
        item = self.state.item(emission, start.player, start.in_key)
        item.order = start.order or item.order
        item.emission, item.family = emission, start.family
        return item

    def start(self, item: Item, emission: Emission, start: Start, now: int, out: Out, *, twin: bool = False) -> None:
        """Sends an item after its delays; nothing overtakes on one rule and output channel (ruling 22)."""
        flow = emission.flow
        item.base, item.delay, item.waited = start.base, start.before + flow.delay, start.waited
        channel = facts.channel_of(item.message) if facts.has_channel(item.message) else -1
        item.queue = (flow.names, item.port, channel) if flow.names else None
        if item.sounding is not None:
            item.sounding.delay = flow.delay
            item.sounding.queue = None if flow.copy else item.queue
        due = self._book_in_turn(item, is_copy=bool(flow.copy))
        if twin:
            item.was_sent = True
        else:
            self._send_at(item, due, now, out)

    def owe(self, struck: list[Sounding], off: bytes, start: Start, now: int, out: Out) -> None:
        """Sends a note-off with the delay that the latest of its note-ons got; never before that."""
        sounding = last_of(struck)
        order = start.order or self.state.order()
        item = replace(sounding.on, message=off, sounding=None, order=order, was_sent=False, family=Family())
        item.base, item.delay, item.waited, item.ends = now, sounding.delay, sounding.extra, struck
        item.queue, item.is_owed = sounding.queue, True
        self._send_at(item, self._due_owed(item, sounding), now, out)

    def _due_owed(self, item: Item, last: Sounding) -> int:
        """When a note-off is due that is owed to a note-on; those that come behind don't overtake it."""
        late = self.state.after(item.base, item.delay) + item.waited
        if item.queue is not None:
            self._latest[item.queue] = max(self._latest.get(item.queue, 0), late)
        return max(late, last.due) if late > item.base else late

    def _book_in_turn(self, item: Item, *, is_copy: bool) -> int:
        """When an item is due: after its delays, and where nothing overtakes after what came before it (ruling 22).

        A copy of an echo waits as long as its note did.
        """
        item.waited -= item.extra
        due = self.state.after(item.base, item.delay) + item.waited
        item.extra = 0
        if item.queue is not None and is_copy:
            item.extra = item.family.waits.get(item.queue, 0)
        elif item.queue is not None:
            item.extra = max(0, self._latest.get(item.queue, due) - due)
            self._latest[item.queue] = due + item.extra
            item.family.waits[item.queue] = item.extra
        item.waited += item.extra
        if item.sounding is not None:
            item.sounding.due, item.sounding.extra = due + item.extra, item.extra
        return due + item.extra

    def _send_at(self, item: Item, due: int, now: int, out: Out) -> None:
        """Sends, or puts off."""
        due = _in_turn(item, due, self.state.agenda.items())
        if due <= now:
            self._arrive(item, now, out)
        else:
            self.state.agenda.add(Pending(due, item.order, lambda then, out: self._arrive(item, then, out), item=item))

    def retime(self, now: int) -> None:
        """The tempo is another one from now on: what is pending is booked again, as it was in turn (ruling 29)."""
        self._latest.clear()
        booked: list[tuple[Item, int]] = []
        for pending in self.state.agenda.in_order():
            if pending.item is not None:
                pending.due = self._due_again(pending.item, booked, now)
                booked.append((pending.item, pending.due))
            elif pending.delay != AT_ONCE:
                pending.due = max(now, self.state.later(pending.base, pending.delay))

    def _due_again(self, item: Item, booked: Iterable[tuple[Item, int]], now: int) -> int:
        """When an item is due by the tempo of now, behind those that are `booked`."""
        if item.is_owed:
            last = last_of(item.ends)
            item.delay, item.waited, item.queue = last.delay, last.extra, last.queue
            due = self._due_owed(item, last)
        else:
            due = self._book_in_turn(item, is_copy=bool(item.copy))
        return _in_turn(item, max(now, due), booked)

    def end_pending(self, chosen: Callable[[Item], bool], now: int, out: Out) -> None:
        """What is pending for ports ends at once: offs go out, and what brings something to rest; all else is dropped.

        What is on its way to a step never comes there: what the step has let go is ended by the ledgers.
        """
        for pending in self.state.agenda.drop(lambda one: one.item is not None and chosen(one.item)):
            item = pending.item
            assert item is not None
            if not item.is_kept and facts.has_channel(item.message) and _ends_something(item.message):
                self.state.merge.send(item, now, out)

    def forget(self) -> None:
        """Nothing is pending that anything could overtake."""
        self._latest.clear()


def last_of(struck: Iterable[Sounding]) -> Sounding:
    """The one of several strikes of a note that goes out last."""
    return sorted(struck, key=lambda sounding: sounding.due)[-1]


def _in_turn(item: Item, due: int, pending: Iterable[tuple[Item, int]]) -> int:
    """What is held like a note waits for what the same hand sent there before (ruling 22)."""
    if not facts.has_channel(item.message) or not facts.is_held_like_a_note(item.message):
        return due
    before = [
        other_due
        for other, other_due in pending
        if facts.has_channel(other.message)
        and facts.is_held_like_a_note(other.message)
        and (other.player, other.in_key) == (item.player, item.in_key)
        and other.place == item.place
    ]
    return max([due, *before])


def _ends_something(message: bytes) -> bool:
    """A note-off, or a value at rest of what is held like a note."""
    return facts.is_off(message) or facts.is_at_rest(message)
