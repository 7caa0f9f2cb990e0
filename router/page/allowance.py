"""How much somebody may ask for: so many at once, and then so many a second."""

from __future__ import annotations

from collections import OrderedDict
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock

_MOST_KNOWN: Final = 256  # addresses: beyond that the one that has been silent longest is forgotten


class Allowance:
    """Gives `at_once` right away, and `a_second` more each second, up to `at_once`."""

    def __init__(self, a_second: float, at_once: float, clock: Clock = SYSTEM_CLOCK) -> None:
        self._a_second = a_second
        self._at_once = at_once
        self._clock = clock
        self._left = at_once
        self._looked_at = clock.now_ns()

    def take(self) -> bool:
        """Take one; return whether there was one left."""
        now = self._clock.now_ns()
        grown = self._left + (now - self._looked_at) / 1e9 * self._a_second
        self._left, self._looked_at = min(self._at_once, grown), now
        if self._left < 1:
            return False
        self._left -= 1
        return True


class Allowances:
    """The allowance of each address that asks."""

    def __init__(self, a_second: float, at_once: float, clock: Clock = SYSTEM_CLOCK) -> None:
        self._a_second = a_second
        self._at_once = at_once
        self._clock = clock
        self._known: OrderedDict[str, Allowance] = OrderedDict()

    def of(self, address: str) -> Allowance:
        """Return the allowance of an address."""
        known = self._known.get(address)
        if known is None:
            known = self._known[address] = Allowance(self._a_second, self._at_once, self._clock)
            if len(self._known) > _MOST_KNOWN:
                self._known.popitem(last=False)
        self._known.move_to_end(address)
        return known
