"""A DIN wire, byte by byte: at each moment it carries one byte, begins the next, or is silent."""

from __future__ import annotations

from collections.abc import Sequence

BYTE_NS = 320_000  # MIDI 1.0 Detailed Specification 4.2.1, p. 1: 31,250 bits a second, ten bits a byte


class DinWire:
    """What a wire carries, told in bytes. `begun` has the time (ns) at which each message's first byte goes out."""

    def __init__(self, messages: Sequence[tuple[int, bytes]]) -> None:
        self._coming = list(enumerate(messages))
        self._waiting: list[tuple[int, bytes]] = []
        self._rest = b""
        self.begun: dict[int, int] = {}
        self.bytes_sent = 0

    def run(self) -> None:
        """Carry everything."""
        now = 0
        while self._coming or self._waiting or self._rest:
            while self._coming and self._coming[0][1][0] <= now:
                number, (_, message) = self._coming.pop(0)
                self._waiting.append((number, message))
            if not self._rest and self._waiting:
                urgent = [each for each in self._waiting if each[1][0] > 0xF0]
                number, self._rest = (urgent or self._waiting)[0]
                self._waiting.remove((number, self._rest))
                self.begun[number] = now
            if self._rest:
                self._rest = self._rest[1:]
                self.bytes_sent += 1
                now += BYTE_NS
            else:
                now = self._coming[0][1][0]


def waits_by_bytes(messages: Sequence[tuple[int, bytes]]) -> list[int]:
    """Return how long (ns) each of some messages, with the times at which they come, waits for its first byte."""
    wire = DinWire(messages)
    wire.run()
    return [wire.begun[number] - at for number, (at, _) in enumerate(messages)]
