"""Actions at certain seconds, for commands that run until Ctrl-C."""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable

from rules.midi.notation import parse_whole_message
from tests.support.fake_clock import SECOND_NS, FakeClock
from tests.support.fake_midi_system import Device

START_S = 100


class TimedActions:
    """Actions by their second from the start, in a time that passes only while the program sleeps, `step` seconds each.

    Ctrl-C comes once all are done and `end_s` seconds have passed.
    """

    def __init__(self, step: float, end_s: float = 6.0) -> None:
        self.end_s = end_s
        self.time = FakeClock(START_S, step=step)
        self.time.on_sleep = self._act
        self._actions: list[tuple[int, Callable[[], object]]] = []

    def at(self, second: float, action: Callable[[], object]) -> None:
        """Do something at a second, after what was to be done then already."""
        insort(self._actions, (round((START_S + second) * SECOND_NS), action), key=lambda item: item[0])

    def play(self, second: float, device: Device, *texts: str) -> None:
        """Play messages, given in words, at a second."""
        self.at(second, lambda: device.play(*(parse_whole_message(text) for text in texts)))

    def _act(self) -> None:
        while self._actions and self._actions[0][0] <= self.time.now:
            self._actions.pop(0)[1]()
        if not self._actions and self.time.seconds > START_S + self.end_s:
            raise KeyboardInterrupt
