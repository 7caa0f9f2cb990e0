"""What is done for the ports while nothing plays: clients deleted and made, inputs opened again.

All of that takes longer than a message should wait.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Final

from router.midi.backend import Backend
from router.midi.input_port import InputPort, first_this
from router.midi.output_port import OutputPort
from rules.errors import MachineError

_QUIET_NS: Final = 2_000_000_000
"""How long (ns) nothing must have been played before clients are deleted and made."""

_READY_FOR_NS: Final = 30_000_000_000
"""How long (ns) after the start or the last message spares are kept, for ports that come in the midst of the music."""

_MOST_UNTIDY: Final = 8
"""How many clients may wait for a silence: a system has room for some dozens, and a loose plug takes one each time."""

_REOPEN_AFTER_NS: Final = 30_000_000_000
"""How long (ns) nothing must have been played before inputs are opened again, in case one is stuck."""

_SILENT_NS: Final = 1_000_000_000
"""How long (ns) an input must have heard nothing to be taken for stuck."""


class PortMaintenance:
    """`look` is called four times a second, and does one thing at a time."""

    def __init__(self, backend: Backend, is_alive: Callable[[], bool]) -> None:
        self._backend = backend
        self._is_alive = is_alive
        self._counted = 0
        self._quiet_since = 0
        self._reopened_at = 0
        self._to_reopen: deque[InputPort] = deque()

    def begin(self, now: int) -> None:
        """Count silence from the first ports on (`now` in ns)."""
        self._quiet_since = self._quiet_since or now

    def forget(self) -> None:
        """Forget what was to be opened again: the server has died."""
        self._to_reopen.clear()

    def look(self, ports: Iterable[InputPort | OutputPort], inputs: Sequence[InputPort], now: int) -> None:
        """Do one of the things that are to be done, if it is quiet enough for it. `inputs` are those that are open."""
        counted = sum(port.messages for port in ports)
        if counted != self._counted:
            self._counted, self._quiet_since = counted, now
        for input_port in inputs:
            if input_port.messages != input_port.heard:
                input_port.heard, input_port.heard_at = input_port.messages, now
        quiet = now - self._quiet_since
        self._backend.keeps_ready = quiet < _READY_FOR_NS
        if quiet > _REOPEN_AFTER_NS and self._reopened_at < self._quiet_since:
            self._reopen_later(input_port for input_port in inputs if input_port.heard_at > self._reopened_at)
            self._reopened_at = now
        if self._to_reopen and self._is_alive():
            self._reopen(self._to_reopen.popleft())
        elif self._backend.untidy > (0 if quiet > _QUIET_NS else _MOST_UNTIDY) and self._is_alive():
            self._backend.tidy()

    def reopen_silent(self, inputs: Iterable[InputPort], now: int) -> None:
        """Have inputs that have fallen silent opened again, one at each look.

        A sysex without an end swallows everything that comes after it, and nothing tells that from silence.
        """
        self._reopen_later(
            input_port for input_port in inputs if input_port.messages and now - input_port.heard_at > _SILENT_NS
        )

    def _reopen_later(self, inputs: Iterable[InputPort]) -> None:
        if self._backend.sysex_sticks:
            self._to_reopen.extend(input_port for input_port in inputs if input_port not in self._to_reopen)

    def _reopen(self, input_port: InputPort) -> None:
        """Connect again before disconnecting, so that nothing is missed in between."""
        old = input_port.raw
        if old is None or input_port.wanted.virtual:
            return
        try:
            new = self._backend.open_input(input_port.computer_port, input_port.name, named=True)
        except MachineError:
            return
        came = old.get_message()
        if came is not None:  # it isn't stuck
            input_port.get_message = first_this(came, input_port, old)
            new.close()
            return
        input_port.connect(new, input_port.computer_port)
        old.close()
