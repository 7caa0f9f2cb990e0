"""The outputs that have something waiting, each of which has its turn."""

from __future__ import annotations

from collections import deque

from router.midi.output_port import Outlet
from router.midi.port_events import PortEvent
from router.text.formatting import count
from rules.timing.delays import NEVER


class OutputQueue:
    """Outputs put themselves here when something begins to wait, and leave when nothing does any more."""

    def __init__(self) -> None:
        self._waiting: deque[Outlet] = deque()

    def __len__(self) -> int:
        return len(self._waiting)

    def append(self, outlet: Outlet, /) -> None:
        """An output has something waiting from now on."""
        self._waiting.append(outlet)

    def clear(self) -> None:
        """The server has died, and everything that waited with it."""
        self._waiting.clear()

    def pump(self, now: int) -> int:
        """Send what may go by now (ns); when to come again (ns), NEVER: when you like."""
        wake = NEVER
        for _ in range(len(self._waiting)):
            outlet = self._waiting.popleft()
            wake = min(wake, outlet.pump(now))
            if outlet.waits:
                self._waiting.append(outlet)
        return wake

    def make_way(self) -> list[PortEvent]:
        """Drop whatever waits and ends nothing, for silence to come first."""
        events = []
        for _ in range(len(self._waiting)):
            outlet = self._waiting.popleft()
            if dropped := outlet.make_way():
                words = f"dropped {count(dropped, 'message')} that waited, so that silence comes first"
                events.append(PortEvent("dropping", outlet.wanted, f"{outlet.wanted.words}: {words}"))
            if outlet.waits:
                self._waiting.append(outlet)
        return events

    def wire_time(self, now: int) -> int:
        """How long (ns) the slowest DIN wire needs for all that was sent and that waits."""
        return max([outlet.wire_time(now) for outlet in self._waiting], default=0)
