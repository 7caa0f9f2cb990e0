"""How much may be pending, where rules make more messages than an output can ever play.

An echo of an echo makes thousands of messages of one, and a delay of a minute keeps all that comes in a minute. Played
live, neither may take the memory and the time of who plays.
"""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Sequence
from typing import Final

from rules.midi.neutral import ends_held
from rules.program.event import Event

MOST_PENDING: Final = 10_000
"""How many messages may be pending for one port, or one step that waits, in a live session. Each needs about 1 kB."""


class PendingLimit:
    """The events that are pending, by target, and how many of each target's were `dropped`.

    What ends something is never dropped, nor does it count: else notes and pedals would hang. Only the note-off of a
    note that never began may be taken out.
    """

    def __init__(self, most: int) -> None:
        self.most: Final = most
        self.dropped: Counter[int] = Counter()
        self._droppable: dict[int, OrderedDict[Event, int]] = {}
        self._ending: dict[Event, int] = {}

    def enter(self, event: Event, serial: int) -> tuple[Event, int] | None:
        """Note what was scheduled, by its serial number there. Return what has to be dropped, the oldest, or None."""
        if ends_held(event.message):
            self._ending[event] = serial
            return None
        pending = self._droppable.setdefault(event.target, OrderedDict())
        pending[event] = serial
        if len(pending) <= self.most:
            return None
        self.dropped[event.target] += 1
        return pending.popitem(last=False)

    def leave(self, event: Event) -> None:
        """Note that an event is pending no more."""
        event.ended_by = None
        if event in self._ending:
            del self._ending[event]
        elif event.target in self._droppable:
            self._droppable[event.target].pop(event, None)

    def dropped_by_port(self, ports: Sequence[str]) -> dict[str, int]:
        """How many were dropped by the name of their port; those of all steps that wait together, under ""."""
        found: dict[str, int] = {}
        for target, amount in self.dropped.items():
            name = ports[target] if target >= 0 else ""
            found[name] = found.get(name, 0) + amount
        return found

    def cancel(self, off: Event) -> int:
        """Take out a note-off that has nothing left to end; return its serial number."""
        return self._ending.pop(off)
