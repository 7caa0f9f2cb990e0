"""The clock that a take follows: which one it is, and what it does."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from rules.engine.session import Session
from rules.engine.written_lists import NOBODY
from rules.midi.messages import CLOCK, STOP
from rules.timing.delays import NANOSECONDS_PER_MINUTE
from rules.timing.midi_clock import CLOCKS_A_BEAT


class TransportFollower:
    """It is the clock that sets the tempo: ours, where that is in use or nothing else runs; of others, where none runs
    yet, that of the input that started last."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._started: int | None = None

    def set(self, follows: bool) -> None:
        """Begin or cease to listen."""
        self._session.clockwork.heard = [] if follows else None
        self._started = None

    def is_started(self, now: int) -> bool:
        """Return whether the clock runs, and its transport too."""
        return self._session.clockwork.state(now).is_running

    def clock_ns(self, now: int) -> int:
        """How long it is from one clock message to the next (ns), by the tempo of now."""
        return int(NANOSECONDS_PER_MINUTE / (self._session.clockwork.state(now).bpm * CLOCKS_A_BEAT))

    def heard(self, now: int, takes: Collection[int]) -> Iterator[tuple[int, int]]:
        """Yield what the clock has sent since the last look: status and time. Takes don't follow themselves."""
        heard = list(self._session.clockwork.heard or ())
        if not heard:
            return
        self._session.clockwork.heard = []
        running = self._session.time.running(now)
        for player, status, at in heard:
            if player not in takes and self._counts(player, status, running):
                yield status, at

    def _counts(self, player: int, status: int, running: int | None) -> bool:
        """Return whether a message is of the clock that counts, where that of a player, or none, is `running`."""
        session = self._session
        if session.clock.plan.is_in_use:
            if player in (NOBODY, session.clock.leader):
                return True
            # a start comes before the clock that it is for
            return status != CLOCK and session.clockwork.is_followed(player)
        if player == NOBODY:
            return running is None
        if running is None and session.clock.transport.is_running:
            return False
        if running in (None, player) and status not in (CLOCK, STOP):
            self._started = player
        return running in (None, player) and player in (running, self._started)
