"""What an output may send now, and what has to wait.

Three things bound it. A DIN wire takes 320 microseconds a byte. A sound server carries what lies in a buffer once a
period: more than fits is lost, so that we send on credit until it has acknowledged. Where nothing acknowledges, the
other side's buffer is spared by keeping to a rate. Times are nanoseconds.
"""

from __future__ import annotations

from collections import Counter, deque
from typing import Final, Protocol

from rules.midi.controllers import FIRST_MODE, SWITCH_CONTROLLERS
from rules.midi.din import MICROSECONDS_A_BYTE
from rules.midi.messages import CLOCK, CONTROLLER, END_OF_SYSEX, NOTE_OFF, SYSEX, is_note_off, is_note_on
from rules.midi.neutral import is_at_rest, rest_place
from rules.timing.delays import NANOSECONDS_PER_SECOND, NEVER

NANOSECONDS_A_BYTE: Final = MICROSECONDS_A_BYTE * 1_000

SHORT: Final = bytes(3)
"""Stands for any message that isn't longer."""

MOST_WAITING: Final = 32_768
"""How many messages may wait at one output; half of them for those that nobody misses later."""


class Limit(Protocol):
    """One bound of an output. `piece`: a longer sysex goes in pieces of so many bytes; None: it goes whole."""

    @property
    def piece(self) -> int | None:
        """It may change with who listens."""

    def when(self, message: bytes, now: int) -> int:
        """The earliest time at which a message may go: `now`, later, or NEVER (until something happens)."""

    def spend(self, message: bytes, now: int, times: int = 1) -> None:
        """Count a message that goes, or `count` of its length."""

    def room(self, now: int) -> int:
        """Return how many short messages might go now; 0 where each one has to be looked at."""


class Wire:
    """A 5-pin DIN wire (MIDI 1.0 Detailed Specification 4.2.1, p. 1).

    It is kept two bytes ahead, so that it doesn't fall silent whenever we look a little late. Clock and transport don't
    wait for what the wire has not begun to carry (ruling 28).
    """

    piece: int | None = None
    AHEAD: Final = 2 * NANOSECONDS_A_BYTE
    URGENT_AHEAD: Final = 32 * NANOSECONDS_A_BYTE

    def __init__(self) -> None:
        self._free = 0
        self._second = 0
        self._busy = [0, 0]

    def when(self, message: bytes, now: int) -> int:
        """Return when the wire takes a message."""
        return max(now, self._free - (self.URGENT_AHEAD if is_urgent(message) else self.AHEAD))

    def room(self, now: int) -> int:
        """A wire is so slow that each message is looked at."""
        return 0

    def spend(self, message: bytes, now: int, times: int = 1) -> None:
        """Count a message: the wire is busy for as long as it takes."""
        time = len(message) * NANOSECONDS_A_BYTE * times
        self._free = max(self._free, now) + time
        self._turn(now)
        self._busy[1] += time

    def time_for(self, length: int, now: int) -> int:
        """Return how long (ns) it will be busy with what it was given, and so many bytes more."""
        return max(0, self._free - now) + length * NANOSECONDS_A_BYTE

    def load(self, now: int) -> float:
        """Return which part of the last second the wire was busy, 0 to 1."""
        self._turn(now)
        past = 1 - (now % NANOSECONDS_PER_SECOND) / NANOSECONDS_PER_SECOND
        return min(1.0, (self._busy[0] * past + self._busy[1]) / NANOSECONDS_PER_SECOND)

    def _turn(self, now: int) -> None:
        """Keep what was spent in this second, and in the one before."""
        second = now // NANOSECONDS_PER_SECOND
        if second != self._second:
            self._busy = [self._busy[1] if second == self._second + 1 else 0, 0]
            self._second = second


class Credit:
    """What may be on its way before it is acknowledged: 12 KB, and about a thousand short messages.

    What is sent takes nine bytes more than it has, for the length and the time that buffers keep beside it. A message
    that is longer than the credit goes when nothing else is on its way. With `begin_short` nothing goes before the
    first acknowledgement.
    """

    piece: int | None = None
    ROOM: Final = 12_288
    EXTRA: Final = 9

    def __init__(self, begin_short: bool = False) -> None:
        self.spent = self.ROOM if begin_short else 0
        """All that was ever spent: what `acknowledge` wants back."""
        self._acknowledged = 0

    def when(self, message: bytes, now: int) -> int:
        """At once, or not before more is acknowledged."""
        on_its_way = self.spent - self._acknowledged
        return now if not on_its_way or on_its_way + len(message) + self.EXTRA <= self.ROOM else NEVER

    def room(self, now: int) -> int:
        """Return what is left of the credit."""
        return (self.ROOM - self.spent + self._acknowledged) // (len(SHORT) + self.EXTRA)

    def spend(self, message: bytes, now: int, times: int = 1) -> None:
        """Count a message that is on its way."""
        self.spent += (len(message) + self.EXTRA) * times

    def acknowledge(self, spent: int) -> None:
        """Count as arrived everything up to this much `spent`."""
        self._acknowledged = max(self._acknowledged, spent)

    @property
    def is_short(self) -> bool:
        """Whether a good part of the credit is on its way."""
        return self.spent - self._acknowledged > self.ROOM // 4


class Rate:
    """So many messages at once, and no more than the other side reads since; a long sysex counts as several.

    `burst` is what the other side's buffer holds, `a_second` what it is trusted to read.
    """

    piece: int | None = None
    CELL: Final = 28  # bytes of a sysex that take as much room as a short message

    def __init__(self, burst: int, a_second: int) -> None:
        self._each = NANOSECONDS_PER_SECOND // a_second
        self._room = burst * self._each
        self._empty = 0  # when the other side has read everything

    def when(self, message: bytes, now: int) -> int:
        """Return when there is room; a message that never fits goes when nothing else is there."""
        return max(now, self._empty - max(0, self._room - self._time(message)))

    def room(self, now: int) -> int:
        """Return what is left of the burst."""
        return (self._room - max(0, self._empty - now)) // self._each

    def spend(self, message: bytes, now: int, times: int = 1) -> None:
        """Count a message, which takes its room."""
        self._empty = max(self._empty, now) + self._time(message) * times

    def _time(self, message: bytes) -> int:
        return -(-len(message) // self.CELL) * self._each


class Pacer:
    """What waits at one output. Clock, transport and other short system messages go first, the others in order.

    A long sysex goes in pieces where a limit wants that. Nothing comes between them but real-time messages, which may
    (MIDI 1.0 Detailed Specification 4.2.1 p. 30).
    """

    def __init__(self, *limits: Limit) -> None:
        self.limits = limits
        self._urgent: deque[bytes] = deque()
        self._waiting: deque[bytes] = deque()
        self._rest = memoryview(b"")  # of a sysex that is under way
        self._piece = 0  # bytes

    def __len__(self) -> int:
        return len(self._urgent) + len(self._waiting) + bool(self._rest)

    def pass_at_once(self, message: bytes, now: int) -> bool:
        """Return whether a message may go now, ahead of nothing; if so it is counted as gone."""
        if self._urgent or self._rest or (self._waiting and not is_urgent(message)):
            return False
        return not self._goes_in_pieces(message) and self._spend(message, now)

    def _goes_in_pieces(self, message: bytes) -> bool:
        if message[0] != SYSEX:
            return False
        self._piece = min((limit.piece for limit in self.limits if limit.piece is not None), default=len(message))
        return len(message) > self._piece

    def allow(self, most: int, now: int) -> int:
        """Spend for so many short messages in advance; how many it became. They need not be asked for one by one."""
        if self:
            return 0
        count = max(0, min([most, *(limit.room(now) for limit in self.limits)]))
        for limit in self.limits:
            limit.spend(SHORT, now, count)
        return count

    def wait(self, message: bytes) -> bool:
        """Let a message wait; False if too many wait already, and nobody will miss it later."""
        if len(self) >= (MOST_WAITING if is_needed(message) else MOST_WAITING // 2):
            return False
        (self._urgent if is_urgent(message) else self._waiting).append(message)
        return True

    def take(self, now: int) -> bytes | None:
        """The next message, or piece of a sysex, that may go now; it is counted as gone."""
        if not self._rest and self._waiting and not self._urgent and self._goes_in_pieces(self._waiting[0]):
            self._rest = memoryview(self._waiting.popleft())
        following = self._next()
        if following is None or not self._spend(following, now):
            return None
        if self._urgent and following is self._urgent[0]:
            return self._urgent.popleft()
        if self._rest:
            self._rest = self._rest[len(following) :]
            return following
        return self._waiting.popleft()

    def _next(self) -> bytes | None:
        """What goes next; while a sysex is under way, that is its next piece, or a real-time message."""
        if self._urgent and (self._urgent[0][0] >= CLOCK or not self._is_under_way):
            return self._urgent[0]
        if self._rest:
            return bytes(self._rest[: self._piece])
        return self._waiting[0] if self._waiting else None

    @property
    def _is_under_way(self) -> bool:
        """Whether a piece of a sysex has gone, and not yet the last one."""
        return bool(self._rest) and self._rest[0] != SYSEX

    def next_time(self, now: int) -> int:
        """Return when `take` has something: now or later; NEVER if nothing waits, or only for an acknowledgement."""
        following = self._next()
        if following is not None and not self._rest and self._goes_in_pieces(following):
            following = following[: self._piece]
        return NEVER if following is None else self._when(following, now)

    @property
    def bytes_waiting(self) -> int:
        """The length of all that waits."""
        return sum(map(len, self._urgent)) + sum(map(len, self._waiting)) + len(self._rest)

    def make_way(self) -> int:
        """Forget what waits, but for what is urgent and what ends something; how many messages it was.

        A note-off whose note-on is forgotten with it has nothing to end. A sysex that is under way ends here.
        """
        before = len(self._waiting)
        kept: deque[bytes] = deque()
        never_begun: Counter[tuple[int, int]] = Counter()
        for message in self._waiting:
            note = (message[0] & 0x0F, message[1])
            if is_note_on(message):
                never_begun[note] += 1
            elif is_note_off(message) and never_begun[note]:
                never_begun[note] -= 1
            elif ends_something(message):
                kept.append(message)
        self._waiting = kept
        return before - len(kept) + self.break_off()

    def break_off(self) -> bool:
        """End a sysex that goes in pieces, if there is more of it than its end; return whether there was."""
        if len(self._rest) <= 1:
            return False
        self._rest = memoryview(bytes((END_OF_SYSEX,)) if self._is_under_way else b"")
        return True

    def clear(self) -> int:
        """Forget what waits; how many messages it was."""
        lost = len(self)
        self._urgent.clear()
        self._waiting.clear()
        self._rest = memoryview(b"")
        return lost

    def _when(self, message: bytes, now: int) -> int:
        return max([now, *(limit.when(message, now) for limit in self.limits)])

    def _spend(self, message: bytes, now: int) -> bool:
        if self._when(message, now) > now:
            return False
        for limit in self.limits:
            limit.spend(message, now)
        return True


def is_urgent(message: bytes) -> bool:
    """Clock and transport, and what belongs to them: a song position must not come after the start that it is for."""
    return message[0] > SYSEX


def is_later_piece(message: bytes) -> bool:
    """Return whether it is a piece of a sysex that has begun before."""
    return message[0] < NOTE_OFF or message[0] == END_OF_SYSEX


def is_needed(message: bytes) -> bool:
    """Return whether without it something would go on sounding: note-offs, pedals, mode messages, clock, transport."""
    if message[0] & 0xF0 == CONTROLLER:
        return message[1] in SWITCH_CONTROLLERS or message[1] >= FIRST_MODE
    return is_note_off(message) or is_urgent(message)


def ends_something(message: bytes) -> bool:
    """Return whether it ends what sounds; of values away from rest, only the way back, such as a pedal let go."""
    return is_needed(message) if rest_place(0, message) is None else is_at_rest(message, fully=False)
