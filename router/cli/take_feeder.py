"""The one who feeds takes: sends what is to be played about a second ahead, and hears how it goes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, NamedTuple, Protocol

from router.daemon.take_player import AGAIN
from router.files.clock import Clock
from rules.errors import MachineError
from rules.playback.positions import PARTS_A_CLOCK
from rules.playback.take_stream import Part, Piece, PlayableTake
from rules.timing.delays import NANOSECONDS_PER_SECOND
from rules.timing.midi_clock import CLOCKS_A_BEAT

_AHEAD_NS: Final = 3 * NANOSECONDS_PER_SECOND // 2
"""More than a second, however long this process has to wait for a busy computer."""
_AHEAD_BY_CLOCK: Final = 4 * CLOCKS_A_BEAT * PARTS_A_CLOCK
"""A bar: about as far, at any tempo."""
_MOST_AT_ONCE: Final = 50
"""How many pieces one question brings: few, so that reading it never holds up the music."""
_MOST_HEX: Final = 16_000
"""How many digits of messages one question brings, and one piece of a long message has."""
_WAIT_MS: Final = 100
_ALL: Final = 1 << 62
_LAST_ECHOES_NS: Final = 30 * NANOSECONDS_PER_SECOND
"""How long the command stays for what is still to come of a take."""


class Link(Protocol):
    """Where questions of the verb `play` go."""

    def ask(self, **arguments: Any) -> Mapping[str, Any]:
        """Ask, and return the answer. Raises MachineError or UsageError."""


class Played(NamedTuple):
    """How a take was played: up to its end, or until an order came; how many messages, and how many led nowhere."""

    order: str
    messages: int
    nowhere: int
    seconds: float


class TakeFeeder:
    """`look` is called about ten times a second with the state of the take; it may return an order to give."""

    def __init__(self, link: Link, look: Callable[[Mapping[str, Any]], str], clock: Clock) -> None:
        self._link = link
        self._look = look
        self._clock = clock

    def begin(self, file: str, seconds: float, sources: list[str], *, by_clock: bool) -> None:
        """Begin a take, which plays once it is fed."""
        self._link.ask(begin={"file": file, "seconds": seconds, "as": sources, "by_clock": by_clock})

    def wait(self) -> str:
        """Wait for an order before the take begins; return it. A clock that starts again is none."""
        state = self._asked()
        while not (orders := [order for order in state["orders"] if order != AGAIN]):
            order = self._look(state)
            state = self._asked(order=order) if order else self._asked(wait_ms=_WAIT_MS)
        return str(orders[0])

    def play(self, take: PlayableTake, part: Part) -> Played:
        """Feed a take that has begun, until it has been played, or an order ends it."""
        span = _AHEAD_BY_CLOCK if take.by_clock else _AHEAD_NS
        ahead = _Ahead(take.play(part), span)
        state = self._asked()
        over_at: int | None = None
        while not [order for order in state["orders"] if order != AGAIN]:
            if state["orders"]:
                ahead, over_at = _Ahead(take.play(part), span), None
            if state["over"]:
                now = self._clock.now_ns()
                over_at = now if over_at is None else over_at
                if not state["pending"] or now - over_at > _LAST_ECHOES_NS:
                    break
            if order := self._look(state):
                state = self._asked(order=order)
            elif fed := ahead.question(state["at"], state["room"]):
                state = self._asked(turn=state["turn"], **fed)
            else:
                state = self._asked(wait_ms=_WAIT_MS)
        order = next((order for order in state["orders"] if order != AGAIN), "")
        return Played(order, state["played"], state["nowhere"], state["seconds"])

    def _asked(self, **arguments: Any) -> Mapping[str, Any]:
        state = self._link.ask(**arguments)
        if state.get("abandoned"):
            raise MachineError("the daemon heard nothing of this command for too long, and ended the recording")
        return state


class _Ahead:
    """What is still to be sent of a take, a question at a time; `span` is how far ahead."""

    def __init__(self, pieces: Iterator[Piece], span: int) -> None:
        self._pieces = pieces
        self._span = span
        self._until = -1
        self._next: Piece | None = None
        self._hex = ""  # what is still to be sent of its message
        self._go_on()

    def _go_on(self) -> None:
        self._next = next(self._pieces, None)
        self._hex = "" if self._next is None else self._next.message.hex()

    def question(self, at: int, room: int) -> dict[str, Any]:
        """Return what to send next, up to as far ahead of the position `at` as there is room for; nothing: wait."""
        if self._until == _ALL or room <= 0:
            return {}
        limit = at + self._span
        told = list(self._told(limit, min(room, _MOST_AT_ONCE)))
        if self._next is None:
            self._until = _ALL
            return {"feed": told, "until": limit, "last": True}
        until = min(limit, self._next.position)
        if not told and until < self._until + self._span // 4:
            return {}
        self._until = until
        return {"feed": told, "until": until, "last": False}

    def _told(self, limit: int, most: int) -> Iterator[list[Any]]:
        digits = _MOST_HEX
        while self._next is not None and self._next.position <= limit and most and digits > 0:
            piece = self._next
            most -= 1
            if piece.mark is not None:
                yield [piece.position, None, piece.mark.bar, piece.mark.seconds]
            else:
                part, self._hex = self._hex[:digits], self._hex[digits:]
                digits -= len(part)
                yield [piece.position, piece.source, part, *([1] if self._hex else [])]
            if not self._hex:
                self._go_on()
