"""Work beside the loop in short turns, with rests between them.

A thread that computes has the interpreter, and the loop waits for it. Where the computer is busy, the system may put
such a thread aside in the midst of that: then the loop waits for other programs too, however urgent it is. A thread
that has just rested is seldom put aside.
"""

from __future__ import annotations

from typing import Final

from router.files.clock import Clock

_TURN_NS: Final = 100_000
_REST_S: Final = 0.0003


class ShortTurns:
    """Called between two small pieces of work, it rests if a turn has lasted long enough."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._began = clock.now_ns()

    def __call__(self) -> None:
        """Rest, or go on at once."""
        if self._clock.now_ns() - self._began >= _TURN_NS:
            self._clock.sleep_s(_REST_S)
            self._began = self._clock.now_ns()
