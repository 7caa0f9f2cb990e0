"""Ports of the computer that are listened to, whatever comes and goes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress

from router.midi.backend import Backend, RawInput
from router.text.formatting import plain
from router.text.terminal import complain
from rules.errors import MachineError
from rules.ports.patterns import bare_name, matching_ports


class ListeningPorts:
    """Every port of the computer that sends, or those that one of the `patterns` fits; never our own.

    None is listened to that `leaves_out` says True for. `label` is what our side of the connections is called;
    `virtual` are ports to be made, that other programs send to.
    """

    def __init__(
        self,
        backend: Backend,
        label: str,
        patterns: Sequence[str] = ("*",),
        virtual: Sequence[str] = (),
        leaves_out: Callable[[str], bool] = lambda name: False,
    ) -> None:
        self._leaves_out = leaves_out
        self._backend = backend
        self._label = label
        self._patterns = patterns
        self._open: dict[str, RawInput] = {}
        self._refused: set[str] = set()
        self._made = {name: backend.virtual_input(name) for name in virtual}
        self._new = list(virtual)

    def look(self) -> list[str]:
        """Listen to what is new, and forget what has gone; return the names of the new ones."""
        names = self._wanted()
        for gone in [name for name in self._open if name not in names]:
            self._open.pop(gone).close()
        self._refused.intersection_update(names)
        made, self._new = self._new, []
        new = (name for name in names if name not in self._open and name not in self._refused)
        return made + [name for name in new if self._listen(name)]

    def _wanted(self) -> list[str]:
        names = [name for name in self._backend.input_names() if not self._is_left_out(name)]
        fitting = {index for pattern in self._patterns for index in matching_ports(pattern, names)}
        return [name for index, name in enumerate(names) if index in fitting]

    def _is_left_out(self, name: str) -> bool:
        return self._backend.is_ours(name) or self._leaves_out(name)

    def _listen(self, name: str) -> bool:
        try:
            self._open[name] = self._backend.open_input(name, self._label)
        except MachineError as error:
            self._refused.add(name)
            complain([plain(f"{bare_name(name)}: {error}")])
            return False
        return True

    def poll(self) -> Iterator[tuple[str, bytes]]:
        """Return what has arrived since the last time, port by port."""
        return ((name, message) for name, message, _ in self.poll_with_times())

    def poll_with_times(self) -> Iterator[tuple[str, bytes, float]]:
        """The same, with the seconds since the message before on the same port, as the system has measured them."""
        for name, port in [*self._made.items(), *self._open.items()]:
            while (received := port.get_message()) is not None:
                yield name, bytes(received[0]), received[1]

    def close(self) -> None:
        """Listen no more."""
        for port in [*self._made.values(), *self._open.values()]:
            with suppress(MachineError):
                port.close()
        self._made.clear()
        self._open.clear()
