"""What a command and the daemon say to each other while a take plays: the questions of the verb `play`.

    {"verb": "play"}
        asks how it is
    {"verb": "play", "begin": {"file": "pit.mid", "seconds": 192.3, "as": ["keys", "pads"], "by_clock": false}}
        begins a take, which plays once its first messages have come; one of the same client gives way
    {"verb": "play", "feed": [[0, 0, "90 3C 64"], [500000, null, 1, 0.0]], "turn": 1, "until": 900000, "last": false}
        brings what follows, in the turn that the last answer named: [position, number of the source, message in hex],
        where a message that begins with a piece of a long one has a 1 behind it; or [position, null, bar, seconds in
        the take]. All up to the position `until` is known now; `last`: there is no more
    {"verb": "play", "order": "take pause"}
        does what a switch could ask for

Each may bring "wait_ms", for which the answer waits, unless something happens. The answer has what `TakePlayer.state`
returns; before a take begins it has "inputs", the names of those that it may play as. When the client leaves, all ends
that the take holds.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from functools import partial
from typing import Any, Final, Protocol, TypeVar

from router.daemon.take_player import TAKE_ORDERS, TakePlayer, WantedTake
from router.text.usage import UsageError
from rules.errors import MachineError
from rules.midi.messages import message_fault
from rules.playback.playback import MOST_BYTES_WAITING
from rules.playback.take_stream import Mark, Piece

T = TypeVar("T")

_LONGEST_WAIT_S: Final = 0.25
_MOST_SOURCES: Final = 64


class PlayingLoop(Protocol):
    """The loop in which takes play."""

    @property
    def takes(self) -> TakePlayer:
        """Who plays them."""

    def do(self, work: Callable[[], T]) -> T:
        """Run `work` in the loop; its result, or what it raises."""

    def inputs(self) -> list[str]:
        """The names of the inputs that the rules have."""

    def now_ns(self) -> int:
        """The time of the loop."""

    def prepare_take(self, source: str) -> None:
        """Make what takes time when a take begins as an input. Called in the client's thread."""

    def order_take(self, order: str) -> None:
        """Do what a switch could ask for."""


class PlayConversation:
    """One client that plays takes. Its questions come in one thread, and the loop wakes it."""

    def __init__(self, loop: PlayingLoop) -> None:
        self._loop = loop
        self._woken = threading.Event()
        self._begun = False
        self._long = b""

    def wake(self) -> None:
        """Let an answer that waits go out."""
        self._woken.set()

    def answer(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        """Answer a question. Raises UsageError or MachineError for what can't be done, or isn't understood."""
        try:
            work = self._work(asked)
            wait_s = min(float(asked.get("wait_ms", 0)) / 1000, _LONGEST_WAIT_S)
        except (LookupError, TypeError, ValueError, AttributeError, OverflowError) as error:
            raise MachineError(f"play: not understood: {type(error).__name__}: {error}") from None
        self._loop.do(work)
        if wait_s > 0:
            self._woken.wait(wait_s)
        self._woken.clear()
        return self._loop.do(self._state)

    def close(self) -> None:
        """The client has gone."""
        with suppress(MachineError):  # the daemon is leaving, and ends all that sounds
            self._loop.do(lambda: self._loop.takes.end(self, self._loop.now_ns()))

    def _state(self) -> dict[str, Any]:
        if not self._begun:
            return {"inputs": self._loop.inputs()}
        return self._loop.takes.state(self, self._loop.now_ns())

    def _work(self, asked: Mapping[str, Any]) -> Callable[[], None]:
        """Return what the loop has to do; all that can be done before is done here."""
        takes, now_ns = self._loop.takes, self._loop.now_ns
        if "begin" in asked:
            wanted = _wanted(asked["begin"])
            for source in wanted.sources:
                self._loop.prepare_take(source)
            return partial(self._begin, wanted)
        if "feed" in asked:
            turn, pieces, until = int(asked["turn"]), list(self._pieces(asked["feed"])), int(asked["until"])
            is_last = asked["last"] is True
            return lambda: takes.feed(turn, pieces, until, now_ns(), is_last=is_last)
        if "order" in asked:
            order = asked["order"]
            if order not in TAKE_ORDERS:
                raise UsageError(f"an order is one of {', '.join(sorted(TAKE_ORDERS))}")
            return lambda: self._loop.order_take(order)
        return lambda: None

    def _begin(self, wanted: WantedTake) -> None:
        self._loop.takes.begin(self, wanted, self._loop.now_ns())
        self._long, self._begun = b"", True

    def _pieces(self, told: list[list[Any]]) -> Iterator[Piece]:
        for position, source, *rest in told:
            if source is None:
                bar, seconds = rest
                yield Piece(int(position), 0, b"", Mark(int(bar), float(seconds)))
                continue
            self._long += bytes.fromhex(rest[0])
            if len(self._long) > MOST_BYTES_WAITING:
                raise MachineError("a message is too long")
            if len(rest) == 1:
                message, self._long = self._long, b""
                fault = message_fault(message)
                if fault:
                    raise MachineError(fault)
                yield Piece(int(position), int(source), message)


def _wanted(told: Mapping[str, Any]) -> WantedTake:
    sources = told["as"]
    if not isinstance(sources, list) or not 1 <= len(sources) <= _MOST_SOURCES:
        raise ValueError("a take plays as one input or more")
    return WantedTake(str(told["file"]), float(told["seconds"]), tuple(map(str, sources)), told["by_clock"] is True)
