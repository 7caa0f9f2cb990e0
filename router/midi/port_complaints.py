"""What was lost or refused since the last word about it, for the log."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from router.midi.backend import Backend
from router.midi.heartbeat import Heartbeat
from router.midi.output_port import OutputPort
from router.midi.port_events import PortEvent

_HICCUPS_EVERY_NS: Final = 60_000_000_000


class PortComplaints:
    """What the ports of one MIDI system have to complain of."""

    def __init__(self, backend: Backend) -> None:
        self._backend = backend
        self._hiccup_said_at = -_HICCUPS_EVERY_NS
        self._overflows = 0

    def found(self, outputs: Iterable[OutputPort], heartbeat: Heartbeat | None, now: int) -> list[PortEvent]:
        """Return what is new, at `now` (ns)."""
        system = list(self._of_the_system(heartbeat, now))
        said = ((output_port.wanted, output_port.complaint(now, self._backend.name)) for output_port in outputs)
        ports = [PortEvent("dropping", wanted, f"{wanted.words}: {words}") for wanted, words in said if words]
        return [PortEvent("dropping", None, words) for words in system] + ports

    def _of_the_system(self, heartbeat: Heartbeat | None, now: int) -> Iterator[str]:
        if heartbeat is not None and heartbeat.skipped and now - self._hiccup_said_at > _HICCUPS_EVERY_NS:
            self._hiccup_said_at, heartbeat.skipped = now, 0
            yield f"{self._backend.name} had a hiccup: what you played in that moment may be lost"
        if self._backend.overflows != self._overflows:
            self._overflows = self._backend.overflows
            yield f"more came in at once than {self._backend.name} keeps, and what waited there is lost"
