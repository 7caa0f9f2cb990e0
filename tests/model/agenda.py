"""What is still to come, and in which order (ruling 29)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from rules.timing.delays import AT_ONCE, Delay
from tests.model.ledger import Item
from tests.model.merging import Out

NEVER = (1 << 62) - 1


@dataclass(slots=True, eq=False)
class Pending:
    """Something that becomes due: `act` is done then, which gets the time and what goes out.

    It is a message for a port or a step (`item`), or has to do with something else: `about` is a message of a list in
    the rule file, a press, a port that has returned. What comes `delay` after `base` goes by the tempo.
    """

    due: int
    order: int
    act: Callable[[int, Out], None]
    item: Item | None = None
    about: object = None
    base: int = 0
    delay: Delay = AT_ONCE


@dataclass(slots=True)
class Agenda:
    """All that is pending."""

    entries: list[Pending] = field(default_factory=list)

    @property
    def next_due(self) -> int:
        """When the next is due; NEVER when nothing is pending."""
        return min((pending.due for pending in self.entries), default=NEVER)

    def in_order(self) -> list[Pending]:
        """What is due goes in the order of its time, then of its origin."""
        return sorted(self.entries, key=lambda pending: (pending.due, pending.order))

    def items(self) -> Iterator[tuple[Item, int]]:
        """The messages for ports and steps, and when they are due."""
        yield from ((pending.item, pending.due) for pending in self.entries if pending.item is not None)

    def add(self, pending: Pending) -> Pending:
        """Something is to come."""
        self.entries.append(pending)
        return pending

    def remove(self, pending: Pending) -> None:
        """It doesn't come."""
        self.entries.remove(pending)

    def drop(self, unwanted: Callable[[Pending], bool]) -> list[Pending]:
        """What is unwanted doesn't come; it is returned in order."""
        gone = [pending for pending in self.in_order() if unwanted(pending)]
        self.entries = [pending for pending in self.entries if pending not in gone]
        return gone

    def advance(self, now: int, out: Out) -> None:
        """Does what is due up to and including `now`."""
        while self.next_due <= now:
            pending = self.in_order()[0]
            self.remove(pending)
            pending.act(pending.due, out)
