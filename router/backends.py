"""The computer's MIDI systems, as the daemon sees them.

The only module that imports python-rtmidi. Input is polled and never called back: callbacks lose messages whenever another
thread holds the interpreter, swallow exceptions, and can hang or crash while a port closes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol


class RawInput(Protocol):
    """An open input."""

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next message and the seconds since the one before; None where nothing waits."""

    def close(self) -> None:
        """Disconnect. May be called while music plays: what takes long is left to `Backend.tidy`."""


class RawOutput(Protocol):
    """An open output."""

    def send_message(self, message: Sequence[int]) -> None:
        """Send one complete message; a peer that has vanished is not noticed."""

    def close(self) -> None:
        """Disconnect; as for inputs."""


class Backend(Protocol):
    """A MIDI system of the computer: what it is called, what it can do, and its ports.

    `sysex_limit` is the length of the longest sysex that arrives whole (None: no limit is known); `acknowledges` tells that
    what the system has carried can be seen on a loopback of our own, `burst` how many messages an output takes at once
    where that can't be seen.
    """

    name: str
    has_virtual: bool
    sysex_limit: int | None
    acknowledges: bool
    burst: int

    def input_names(self) -> list[str]:
        """The ports that can be listened to, by the computer's names and in its order."""

    def output_names(self) -> list[str]:
        """The ports that can be sent to."""

    def is_ours(self, name: str) -> bool:
        """Whether a computer port is one of this process's own."""

    def open_input(self, index: int, label: str) -> RawInput:
        """Connect to the port at an index of `input_names`. Raises MachineError."""

    def open_output(self, index: int, label: str) -> RawOutput:
        """Connect to the port at an index of `output_names`. Raises MachineError."""

    def virtual_input(self, label: str) -> RawInput:
        """Make a port that other programs send to. Raises MachineError."""

    def virtual_output(self, label: str) -> RawOutput:
        """Make a port that other programs listen to. Raises MachineError."""

    def tidy(self) -> None:
        """Delete what was closed and make spare clients: may take 50 ms, for when nothing plays."""

    def restart(self) -> None:
        """Forget every client, since the system has died. Raises MachineError until it is there again."""

    def close(self) -> None:
        """Delete everything."""
