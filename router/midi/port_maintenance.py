"""What is done for the ports while nothing plays: clients deleted and made, inputs opened anew.

All of that takes longer than a message should wait.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Final

from router.midi.backend import Backend
from router.midi.input_port import Inlet, first_this
from router.midi.output_port import Outlet
from rules.errors import MachineError

_QUIET_NS: Final = 2_000_000_000
"""How long (ns) nothing must have been played before clients are deleted and made."""

_READY_FOR_NS: Final = 30_000_000_000
"""How long (ns) after the start or the last message spares are kept, for ports that come in the midst of the music."""

_MOST_UNTIDY: Final = 8
"""How many clients may wait for a silence: a system has room for some dozens, and a loose plug takes one each time."""

_REOPEN_AFTER_NS: Final = 30_000_000_000
"""How long (ns) nothing must have been played before inputs are opened anew, in case one is stuck."""

_SILENT_NS: Final = 1_000_000_000
"""How long (ns) an input must have heard nothing to be taken for stuck."""


class Upkeep:
    """`look` is called four times a second, and does one thing at a time."""

    def __init__(self, backend: Backend, is_alive: Callable[[], bool]) -> None:
        self._backend = backend
        self._is_alive = is_alive
        self._counted = 0
        self._quiet_since = 0
        self._reopened_at = 0
        self._to_reopen: deque[Inlet] = deque()

    def begin(self, now: int) -> None:
        """From the first ports on (`now` in ns) silence is counted."""
        self._quiet_since = self._quiet_since or now

    def forget(self) -> None:
        """The server has died, and with it whatever was to be opened anew."""
        self._to_reopen.clear()

    def look(self, ports: Iterable[Inlet | Outlet], inlets: Sequence[Inlet], now: int) -> None:
        """Do one of the things that are to be done, if it is quiet enough for it. `inlets` are the open inputs."""
        counted = sum(port.messages for port in ports)
        if counted != self._counted:
            self._counted, self._quiet_since = counted, now
        for inlet in inlets:
            if inlet.messages != inlet.heard:
                inlet.heard, inlet.heard_at = inlet.messages, now
        quiet = now - self._quiet_since
        self._backend.keeps_ready = quiet < _READY_FOR_NS
        if quiet > _REOPEN_AFTER_NS and self._reopened_at < self._quiet_since:
            self._reopen_later(inlet for inlet in inlets if inlet.heard_at > self._reopened_at)
            self._reopened_at = now
        if self._to_reopen and self._is_alive():
            self._reopen(self._to_reopen.popleft())
        elif self._backend.untidy > (0 if quiet > _QUIET_NS else _MOST_UNTIDY) and self._is_alive():
            self._backend.tidy()

    def cure(self, inlets: Iterable[Inlet], now: int) -> None:
        """Have inputs that have fallen silent opened anew, one at each look.

        A sysex without an end swallows everything that comes after it, and nothing tells that from silence.
        """
        self._reopen_later(inlet for inlet in inlets if inlet.messages and now - inlet.heard_at > _SILENT_NS)

    def _reopen_later(self, inlets: Iterable[Inlet]) -> None:
        if self._backend.sysex_sticks:
            self._to_reopen.extend(inlet for inlet in inlets if inlet not in self._to_reopen)

    def _reopen(self, inlet: Inlet) -> None:
        """Connect anew before disconnecting, so that nothing is missed in between."""
        old = inlet.raw
        if old is None or inlet.wanted.virtual:
            return
        try:
            new = self._backend.open_input(inlet.computer_port, inlet.name)
        except MachineError:
            return
        came = old.get_message()
        if came is not None:  # it isn't stuck
            inlet.get_message = first_this(came, inlet, old)
            new.close()
            return
        inlet.connect(new, inlet.computer_port)
        old.close()
