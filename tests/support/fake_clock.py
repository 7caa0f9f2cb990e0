"""A clock whose time passes only while somebody sleeps, and what happens meanwhile."""

from __future__ import annotations

from collections.abc import Callable

from router.files.clock import Clock

SECOND_NS = 1_000_000_000


class FakeClock:
    """`now` is in ns, `asleep` how long (ns) the computer has slept, `slept` how many seconds each sleep was to last.

    `on_sleep` is called after each. Each sleep takes as long as it was meant to, or `step` seconds.
    """

    def __init__(self, now_s: float = 100.0, wall_s: float = 1.7e9, step: float | None = None) -> None:
        self.now = round(now_s * SECOND_NS)
        self.wall = wall_s
        self.slept: list[float] = []
        self.asleep = 0
        self.on_sleep: Callable[[], object] = lambda: None
        self._step = step
        self.clock = Clock(lambda: self.now, lambda: self.wall, self._sleep, lambda: self.now + self.asleep)

    @property
    def seconds(self) -> float:
        """What time it is, in seconds."""
        return self.now / SECOND_NS

    def _sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now += round((seconds if self._step is None else self._step) * SECOND_NS)
        self.on_sleep()
