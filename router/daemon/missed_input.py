"""What tells that messages of inputs may be lost: the daemon could not run, or more came in than could be taken.

A key that was pressed before may have been let go unheard. So what such inputs hold is to be ended, once all that still
waits was heard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from router.files.clock import Clock
from router.midi.event_loop import STALL_NS
from router.midi.input_port import InputPort

_FLOOD: Final = 400
"""Messages: an input that ran over had more waiting. python-rtmidi keeps up to 500 of ALSA, and 16,384 of JACK."""


class MissedInput:
    """`stalls` counts how often the daemon could not run. `is_pending` is set while something has to be ended."""

    def __init__(self, clock: Clock) -> None:
        self.stalls = 0
        self.is_pending = False
        self._clock = clock
        self._asleep = self._time_asleep()
        self._stall_ns = 0
        self._losses = 0
        self._overflows = 0
        self._overflowed = False
        self._runs_over = False
        self._ran_over = False
        self._calm: dict[InputPort, int] = {}

    def _time_asleep(self) -> int:
        return self._clock.boot_ns() - self._clock.now_ns()

    def note_stall(self, span: int) -> None:
        """The process was stopped, or the computer slept or was too busy, for so long (ns)."""
        self.stalls += 1
        self._stall_ns += span
        self.is_pending = True

    def look(self, losses: int, overflows: int, inputs: Sequence[InputPort]) -> None:
        """Look whether the computer slept, and whether inputs ran over; for whenever the loop looks around.

        `losses` counts how often one ran over, of any of the open `inputs`. Which one it was isn't known: it is one of
        those that got many messages since all was calm. `overflows` counts how often what waited for all of them was
        lost.
        """
        asleep, self._asleep = self._asleep, self._time_asleep()
        if self._asleep - asleep > STALL_NS:
            self.note_stall(self._asleep - asleep)
        if overflows != self._overflows:
            self._overflows, self._overflowed, self.is_pending = overflows, True, True
        if losses != self._losses:
            self._losses, self._runs_over = losses, True
        elif self._runs_over:
            self._runs_over, self._ran_over, self.is_pending = False, True, True
        elif not self._ran_over:
            self._calm = {input_port: input_port.messages for input_port in inputs}

    def settle(self, inputs: Sequence[InputPort]) -> tuple[list[InputPort], list[str]]:
        """Return whose notes and pedals are to be ended, and what to say of it. All that waited was heard."""
        stall_ns, self._stall_ns = self._stall_ns, 0
        ran_over, self._ran_over = self._ran_over, False
        overflowed, self._overflowed = self._overflowed, False
        self.is_pending = False
        if stall_ns or overflowed:
            return list(inputs), list(_words(stall_ns, overflowed))
        suspects = [port for port in inputs if ran_over and self._grown(port) >= _FLOOD]
        return suspects, [_words_of(input_port) for input_port in suspects]

    def _grown(self, input_port: InputPort) -> int:
        return input_port.messages - self._calm.get(input_port, 0)


def _words(stall_ns: int, overflowed: bool) -> Iterator[str]:
    if stall_ns:
        yield (
            f"the daemon could not run for {stall_ns / 1e9:.1f} s: messages of that time may be lost. What was held by "
            "then ends, so that nothing hangs"
        )
    if overflowed:
        yield "what inputs held when messages got lost ends, so that nothing hangs"


def _words_of(input_port: InputPort) -> str:
    return f"{input_port.wanted.words} got more than could be taken: what it holds ends, so that nothing hangs"
