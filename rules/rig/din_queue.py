"""How messages queue for a 5-pin DIN connection, which carries a byte in 320 microseconds.

Messages go in the order in which they come, except that clock, transport and other short system messages go before all
that the wire hasn't begun to carry (ruling 28). No running status is assumed: not every interface uses it.

Source: MIDI 1.0 Detailed Specification 4.2.1, p. 1 (the wire) and p. 30 (real-time messages may come at any time).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from typing import Final, NamedTuple

from rules.midi.din import MICROSECONDS_A_BYTE

NANOSECONDS_A_BYTE: Final = MICROSECONDS_A_BYTE * 1_000


class Queued(NamedTuple):
    """A message for the wire: when it comes (ns), its length in bytes, and whether it goes before others."""

    at: int
    length: int
    is_urgent: bool = False


def waits(messages: Iterable[Queued]) -> Iterator[tuple[int, int]]:
    """Yield the number of each message, from 0, and how long (ns) it waits until its first byte goes out.

    The messages are in the order of their times; what is yielded is in the order in which they go out.
    """
    urgent: deque[tuple[int, Queued]] = deque()
    usual: deque[tuple[int, Queued]] = deque()
    free = 0

    def sent(line: deque[tuple[int, Queued]]) -> tuple[int, int]:
        nonlocal free
        number, message = line.popleft()
        begin = max(free, message.at)
        free = begin + message.length * NANOSECONDS_A_BYTE
        return number, begin - message.at

    for number, message in enumerate(messages):
        while (line := urgent or usual) and max(free, line[0][1].at) < message.at:
            yield sent(line)
        (urgent if message.is_urgent else usual).append((number, message))
    while line := urgent or usual:
        yield sent(line)
