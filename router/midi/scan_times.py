"""When a loop looks for ports that have come or gone."""

from __future__ import annotations

from typing import Final

from router.midi.backend import Backend

SCAN_EVERY_NS: Final = 250_000_000
"""How often the names of ports are read where nothing tells that one has come or gone."""

UPKEEP_EVERY_NS: Final = 1_000_000_000
"""How often a loop looks around that the system wakes: what it finds then could wait."""

EARLIER_NS: Final = 50_000_000
"""How much earlier a loop may look right after messages have come: the next are as far away then as they can be."""


class ScanTimes:
    """`next` is when to look (ns) unless ports come or go before."""

    def __init__(self, backend: Backend) -> None:
        self.next = 0
        self._backend = backend
        self._every_ns = SCAN_EVERY_NS if backend.descriptor is None else UPKEEP_EVERY_NS

    def is_due(self, now: int, after_messages: bool = False) -> bool:
        """Return whether to look (`now` in ns). If so, what the system has announced counts as seen."""
        if now < self.next - (EARLIER_NS if after_messages else 0) and not self._backend.ports_changed:
            return False
        self._backend.ports_changed = False
        self.next = now + self._every_ns
        return True
