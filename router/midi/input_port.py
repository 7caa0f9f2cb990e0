"""One input: what arrives, to be polled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

from router.midi.backend import RawInput
from rules.midi.sysex_reassembly import SysexReassembly
from rules.ports.patterns import Wanted, bare_name

Received = tuple[Sequence[int], float]


class InputPort:
    """An input of ours, open or not.

    The loop counts `messages`; `faulty` are those that were no complete MIDI message, nor became one; `nowhere` are
    those that no rule, switch or clock took, and `nowhere_last` is the last of them.
    """

    __slots__ = (
        "_reassembly",
        "computer_port",
        "faulty",
        "get_message",
        "heard",
        "heard_at",
        "messages",
        "nowhere",
        "nowhere_last",
        "raw",
        "said",
        "state",
        "wanted",
        "was_open",
    )

    def __init__(self, wanted: Wanted) -> None:
        self.wanted = wanted
        self.computer_port = ""
        self.state = "missing"
        self.said = ""
        self.was_open = False
        self.messages = 0
        self.faulty = 0
        self.nowhere = 0
        self.nowhere_last = b""
        self.heard = 0  # how many messages there were when we looked last, and when there were fewer
        self.heard_at = 0
        self.raw: RawInput | None = None
        self._reassembly = SysexReassembly()
        self.get_message: Callable[[], Received | None] = _nothing

    @property
    def name(self) -> str:
        """Our name for the port."""
        return self.wanted.name

    @property
    def is_open(self) -> bool:
        """Whether it is connected to anything."""
        return self.raw is not None

    @property
    def is_cut_off(self) -> bool:
        """Whether it is open, and yet the other side has gone."""
        return self.raw is not None and not self.raw.is_connected()

    def reassemble(self, faulty: bytes) -> list[bytes]:
        """The complete messages that can be made of what is none."""
        messages = self._reassembly.mend(faulty)
        if not messages:
            self.faulty += 1
        return messages

    def state_at(self, now: int) -> dict[str, Any]:
        """Return how it stands, as plain values; what was lost are bytes that were no complete message."""
        return {
            "name": self.name,
            "direction": "in",
            "state": self.state,
            "computer_port": bare_name(self.computer_port) or None,
            "messages": self.messages,
            "lost": self.faulty,
            "refused": 0,
            "dropped": 0,
            "load": None,
            "nowhere": self.nowhere,
            "nowhere_last": self.nowhere_last.hex(" ").upper() or None,
        }

    def connect(self, raw: RawInput, computer_port: str) -> None:
        """Receive from an open input from now on."""
        self.raw = raw
        self._reassembly = SysexReassembly()
        self.get_message = raw.get_message
        self.computer_port = computer_port
        self.state = "open"
        self.was_open = True

    def disconnect(self, state: str, close: bool = True) -> None:
        """Close the input: its port has gone."""
        raw, self.raw = self.raw, None
        self.get_message = _nothing
        self.computer_port = ""
        self.state = state
        if raw is not None and close:
            with suppress(Exception):  # a port that has gone may refuse; that it is lost must be told all the same
                raw.close()


def _nothing() -> Received | None:
    """Return what arrives while no port is open."""
    return None


def first_this(message: Received, input_port: InputPort, raw: RawInput) -> Callable[[], Received | None]:
    """Give a message that was taken too early, once, then go on as before; so does who asks here again."""
    waiting = [message]

    def get_message() -> Received | None:
        if waiting:
            return waiting.pop()
        input_port.get_message = raw.get_message
        return raw.get_message()

    return get_message
