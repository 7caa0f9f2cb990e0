"""A take that is fed to the loop of a `LiveRig`, as a client of the daemon would feed it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from router.daemon.take_player import WantedTake
from rules.playback.take_stream import Piece
from tests.support.live_rig import MS, LiveRig


class Feeding:
    """Feeds one take after the other; `states` is what was answered. What the loop does, it does in its next turn."""

    def __init__(self, rig: LiveRig) -> None:
        self._rig = rig
        self.woken = 0
        self.states: list[dict[str, Any]] = []

    def wake(self) -> None:
        """Something has happened."""
        self.woken += 1

    def begin(self, *sources: str, file: str = "pit.mid", by_clock: bool = False) -> Future[None]:
        """Begin a take of ten seconds."""
        wanted = WantedTake(file, 10.0, sources or ("keys",), by_clock)
        return self._ask(lambda: self._rig.live.takes.begin(self, wanted, self._rig.now))

    def feed(self, *told: tuple[int, int, bytes], until: int = 10_000, is_last: bool = True) -> Future[None]:
        """Feed messages: (ms, or position by a clock, number of the source, message)."""
        scale = 1 if any(position > 100_000 for position, *_ in told) else MS
        pieces = [Piece(position * scale, source, message) for position, source, message in told]

        def work() -> None:
            takes = self._rig.live.takes
            turn = takes.state(self, self._rig.now).get("turn", 0)
            takes.feed(turn, pieces, until * scale, self._rig.now, is_last=is_last)

        return self._ask(work)

    def ask(self) -> None:
        """Ask how it is."""
        self._ask(lambda: self.states.append(self._rig.live.takes.state(self, self._rig.now)))

    def order(self, order: str) -> None:
        """Do what a switch could ask for."""
        self._ask(lambda: self._rig.live.order_take(order))

    def leave(self) -> None:
        """The client has gone."""
        self._ask(lambda: self._rig.live.takes.end(self, self._rig.now))

    def _ask(self, work: Callable[[], None]) -> Future[None]:
        answer: Future[None] = Future()
        self._rig.live._requests.waiting.append((answer, work))
        return answer
