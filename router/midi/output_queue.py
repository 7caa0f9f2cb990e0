"""The outputs that have something waiting, each of which has its turn."""

from __future__ import annotations

from collections import deque

from router.midi.output_port import OutputPort
from router.midi.port_events import PortEvent
from router.text.formatting import count
from rules.timing.delays import NEVER


class OutputQueue(deque[OutputPort]):
    """Outputs append themselves when something begins to wait, and leave when nothing does any more."""

    def pump(self, now: int) -> int:
        """Send what may go by now (ns); when to come again (ns), NEVER: when you like."""
        wake = NEVER
        for _ in range(len(self)):
            output_port = self.popleft()
            wake = min(wake, output_port.pump(now))
            if output_port.waits:
                self.append(output_port)
        return wake

    def make_way(self) -> list[PortEvent]:
        """Drop whatever waits and ends nothing, for silence to come first."""
        events = []
        for _ in range(len(self)):
            output_port = self.popleft()
            if dropped := output_port.make_way():
                words = f"dropped {count(dropped, 'message')} that waited, so that silence comes first"
                events.append(PortEvent("dropping", output_port.wanted, f"{output_port.wanted.words}: {words}"))
            if output_port.waits:
                self.append(output_port)
        return events

    def wire_time(self, now: int) -> int:
        """Return how long (ns) the slowest DIN wire needs for all that was sent and that waits."""
        return max([output_port.wire_time(now) for output_port in self], default=0)
