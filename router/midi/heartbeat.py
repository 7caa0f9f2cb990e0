"""The heartbeat of a sound server: messages from ourselves to ourselves.

What comes back proves that the server lives, and that it has carried all that was sent before on any output.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.backend import RawInput, RawOutput
from rules.midi.messages import CONTROLLER
from rules.ports.pacing import Credit

_REST_NS: Final = 100_000_000
"""How long (ns) between two beats when nobody is in a hurry."""

_HURRY_NS: Final = 300_000
"""The same (ns) when somebody is."""

POLL_S: Final = 0.0003
"""How long between two looks whether a beat has come back."""

_ANSWER_NS: Final = 500_000_000
"""How long (ns) `ask` waits for a beat to come back."""

_PATIENCE_NS: Final = 1_000_000_000
"""How long (ns) at least one of `_MOST_UNANSWERED` beats must have been away for the server to be lost."""

_MOST_UNANSWERED: Final = 5
_NUMBERS: Final = 1 << 14


class Heartbeat:
    """Beats, and acknowledges credits. With `hurry` set the next beat comes soon.

    `skipped` counts beats that never came back while later ones did: what was played in that moment is lost as well.
    """

    def __init__(self, raw_input: RawInput, raw_output: RawOutput, clock: Clock = SYSTEM_CLOCK) -> None:
        self.hurry = False
        self.skipped = 0
        self._clock = clock
        self._receive = raw_input.get_message
        self._send = raw_output.send_message
        self._credits: list[Credit] = []
        self._beats: deque[tuple[int, int, tuple[tuple[Credit, int], ...]]] = deque()  # number, time, what was spent
        self._number = 0
        self._last = -_REST_NS

    def new_credit(self) -> Credit:
        """A credit for an output that was opened just now.

        A server carries nothing over a new connection before its next period, and loses what came before: nothing may
        be sent until a beat has come back.
        """
        credit = Credit(begin_short=True)
        self._credits.append(credit)
        self.hurry = True
        return credit

    def forget(self, credit: Credit) -> None:
        """Forget the credit of an output that has closed."""
        self._credits.remove(credit)

    def beat(self, now: int) -> None:
        """Hear what came back, and beat if it is time."""
        try:
            self._hear_all()
        finally:  # a server that can't be heard is missed only if we go on asking
            if now - self._last >= (_HURRY_NS if self.hurry else _REST_NS):
                self._beat(now)

    def ask(self) -> bool:
        """Return whether the server lives now: beat, and wait for the answer, which takes a period or two."""
        now = self._clock.now_ns()
        self._beat(now)
        asked, end = self._number, now + _ANSWER_NS
        while any(beat[0] == asked for beat in self._beats):
            if now > end:
                return False
            self._clock.sleep_s(POLL_S)
            now = self._clock.now_ns()
            self._hear_all()
        return True

    @property
    def next_time(self) -> int:
        """When to come again (ns)."""
        return self._last + (_HURRY_NS if self.hurry or self._is_short() else _REST_NS)

    def is_lost(self, now: int) -> bool:
        """Return whether nothing came back for a second, although we have asked often enough."""
        return len(self._beats) >= _MOST_UNANSWERED and now - self._beats[0][1] > _PATIENCE_NS

    @property
    def is_settled(self) -> bool:
        """Whether everything that was sent has been carried."""
        return not self._beats and not self.hurry

    def _beat(self, now: int) -> None:
        if len(self._beats) > 1_000:
            return  # nobody listens: the server is lost, and will be missed at the next look
        self.hurry = False
        self._last = now
        self._number = (self._number + 1) % _NUMBERS
        self._beats.append((self._number, now, tuple((credit, credit.spent) for credit in self._credits)))
        self._send((CONTROLLER, self._number >> 7, self._number & 0x7F))

    def _hear_all(self) -> None:
        while (received := self._receive()) is not None:
            message = received[0]
            if len(message) == 3 and message[0] == CONTROLLER:  # others may connect to us, and send whatever they like
                self._hear(message[1] << 7 | message[2])

    def _hear(self, number: int) -> None:
        """Take in a beat that came back: it and all before it are answered, also those that the server has skipped."""
        if not any(beat[0] == number for beat in self._beats):
            return
        while self._beats:
            heard, _, spent = self._beats.popleft()
            if heard == number:
                for credit, amount in spent:
                    credit.acknowledge(amount)
                return
            self.skipped += 1

    def _is_short(self) -> bool:
        return any(credit.is_short for credit in self._credits)
