"""Which port of the computer a wanted port means, and its opening."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from router.midi.backend import Backend
from router.midi.heartbeat import Heartbeat
from router.midi.input_port import InputPort
from router.midi.port_events import ManagedPort, PortEvent, found, said_once
from rules.errors import MachineError
from rules.ports.patterns import Ambiguous, Found, Wanted, bare_name, find_port


class PortOpener:
    """Opens ports on one MIDI system. `failed` is set where one was there and couldn't be opened: it is tried again."""

    def __init__(self, backend: Backend) -> None:
        self.failed = False
        self._backend = backend

    def means(self, wanted: Wanted, port: ManagedPort, names: Sequence[str]) -> bool:
        """Return whether another pattern means the port that is open already, among these names of the computer's."""
        if wanted.virtual or port.wanted.virtual:
            return False
        meant = find_port(wanted.pattern, names, self._ours(names))
        return isinstance(meant, Found) and names[meant.index] == port.computer_port

    def open(
        self, port: ManagedPort, names: Sequence[str], taken: Iterable[ManagedPort], heartbeat: Heartbeat | None
    ) -> list[PortEvent]:
        """Open a port if it is there, or say once why not. `taken` are the ports that stay."""
        wanted = port.wanted
        if wanted.virtual:
            return self._make_virtual(port, heartbeat)
        meant = find_port(wanted.pattern, names, self._ours(names))
        port.state = "missing"
        if isinstance(meant, Ambiguous):
            port.state = "ambiguous"
            choice = f"{_either(meant.candidates)}: write more of the name, or #2 after it for the second"
            return said_once(port, "ambiguous", f'"{wanted.pattern}" means {choice}')
        if not isinstance(meant, Found):
            return said_once(port, "waiting", f'the computer has no port named "{wanted.pattern}"; waiting for it')
        name = names[meant.index]
        for other in taken:
            if other.computer_port == name and other.wanted.direction == wanted.direction:
                port.state = "ambiguous"
                return said_once(port, "ambiguous", f"{bare_name(name)} is {other.wanted.words} already")
        return self._connect(port, name, heartbeat)

    def _connect(self, port: ManagedPort, name: str, heartbeat: Heartbeat | None) -> list[PortEvent]:
        is_back = port.was_open
        try:
            if isinstance(port, InputPort):
                port.connect(self._backend.open_input(name, port.name, not is_back), name)
            else:
                raw = self._backend.open_output(name, port.name, not is_back)
                port.connect(raw, name, self._backend, heartbeat)
        except MachineError as error:
            self.failed = True
            return said_once(port, "waiting", str(error))
        return found(port, f"{bare_name(name)} is back" if is_back else bare_name(name))

    def _make_virtual(self, port: ManagedPort, heartbeat: Heartbeat | None) -> list[PortEvent]:
        label, is_back = port.wanted.pattern, port.was_open
        try:
            if isinstance(port, InputPort):
                port.connect(self._backend.virtual_input(label), label)
            else:
                port.connect(self._backend.virtual_output(label), label, self._backend, heartbeat)
        except MachineError as error:
            self.failed = True
            return said_once(port, "waiting", str(error))
        return found(port, f'other programs find it as "{label}"{" again" if is_back else ""}')

    def _ours(self, names: Sequence[str]) -> frozenset[int]:
        return frozenset(index for index, name in enumerate(names) if self._backend.is_ours(name))


def _either(candidates: Sequence[str]) -> str:
    return f"{', '.join(candidates[:-1])} or {candidates[-1]}"
