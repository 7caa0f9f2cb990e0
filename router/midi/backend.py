"""What a MIDI system of the computer can do for us.

Input is taken by the loop, and never called back: callbacks lose messages whenever another thread holds the
interpreter, swallow exceptions, and can hang or crash while a port closes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from rules.ports.pacing import Limit


class RawInput(Protocol):
    """An open input."""

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next message and the seconds since the one before; None where nothing waits."""

    def is_connected(self) -> bool:
        """Return whether the other side is still there, as far as the system can tell; most can't, and say yes."""

    def close(self) -> None:
        """Disconnect. May be called while music plays: what takes long is left to `Backend.tidy`."""


class RawOutput(Protocol):
    """An open output. `limit` says what it may be sent, where too much is lost and nothing comes back to tell."""

    @property
    def limit(self) -> Limit | None:
        """None: the system takes everything, or acknowledges."""

    def send_message(self, message: Sequence[int]) -> None:
        """Send one complete message; a peer that has vanished is not noticed."""

    def is_connected(self) -> bool:
        """As for inputs."""

    def close(self) -> None:
        """Disconnect; as for inputs."""


class Backend(Protocol):
    """A MIDI system of the computer: what it is called, what it can do, and its ports.

    `sysex_limit` is the length of the longest sysex that arrives whole (None: no limit is known); `sysex_sticks` tells
    that an input hears nothing more after a sysex without an end, until it is opened again. With `keeps_ready`, `tidy`
    makes spares, so that the next port is opened without a break in the music; without it, spares are given up.
    `is_lost` is set by `lose`, or where the system itself has found out that it is dead, until `revive` succeeds.

    A loop can wait for a system that has a `descriptor`: a file descriptor, the same for as long as the backend is
    open, that becomes readable when a message arrives or ports come or go. Then the loop calls `receive`. What comes
    and goes sets `ports_changed`, which whoever looks at the names clears before. Without a descriptor (None) nothing
    tells: the loop asks each input, and reads the names, again and again.

    `overflows` counts how often more came than the system keeps, and all that waited for any input was lost; 0 where
    the system doesn't tell.
    """

    name: str
    keeps_ready: bool
    has_virtual: bool
    sysex_limit: int | None
    sysex_sticks: bool
    is_lost: bool
    descriptor: int | None
    ports_changed: bool

    @property
    def overflows(self) -> int:
        """It only grows."""

    def receive(self) -> bool:
        """Take in all that waits at the descriptor, for `get_message` and `is_connected`; whether anything did.

        Never waits, and never raises. Only called where there is a descriptor, once it is readable.
        """

    def input_names(self) -> list[str]:
        """The ports that can be listened to, by the computer's names and in its order. Raises MachineError."""

    def output_names(self) -> list[str]:
        """The ports that can be sent to. Raises MachineError."""

    def is_ours(self, name: str) -> bool:
        """Return whether a computer port is one of this process's own."""

    def open_input(self, name: str, label: str, named: bool = False) -> RawInput:
        """Connect to one of `input_names`; ours is called `label`. Raises MachineError.

        With `named`, its client is called after it as well, so that other programs see the same name each time; making
        one takes 10-25 ms, and all of Python waits. Else a spare client is used if there is one.
        """

    def open_output(self, name: str, label: str, named: bool = False) -> RawOutput:
        """Connect to one of `output_names`; as for inputs. Raises MachineError."""

    def virtual_input(self, label: str) -> RawInput:
        """Make a port that other programs send to. Raises MachineError."""

    def virtual_output(self, label: str) -> RawOutput:
        """Make a port that other programs listen to. Raises MachineError."""

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """An output of ours that leads to an input of ours, where the system can die; None where it can't.

        What comes back proves that the system has carried everything that was sent before, on all outputs. Raises
        MachineError.
        """

    @property
    def untidy(self) -> int:
        """How many things `tidy` has to do."""

    def tidy(self) -> None:
        """Delete one thing that was closed, or make or give up one spare: up to 25 ms, for when nothing plays."""

    def lose(self) -> None:
        """Touch nothing that is open, not even to close it: the system doesn't answer."""

    def revive(self) -> bool:
        """Look, without waiting, whether the system is there again; True when it can be used."""

    def close(self) -> None:
        """Delete everything."""
