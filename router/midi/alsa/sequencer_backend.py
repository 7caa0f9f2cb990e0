"""The ALSA sequencer as one client of ours with a port for each of the rules; the system wakes us by its descriptor."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import partial
from typing import Final

from router.midi.alsa.device_buffers import device_buffer
from router.midi.alsa.peers_room import PeersRoom
from router.midi.alsa.record_stream import RecordStream
from router.midi.alsa.records import Address
from router.midi.alsa.sequencer import Sequencer
from router.midi.backend import RawInput, RawOutput
from rules.errors import MachineError
from rules.ports.patterns import Direction

_ADDRESS: Final = re.compile(r" (\d+):(\d+)$")


class SequencerPort:
    """A port of ours, open. `peer` is what it was connected to; None for a virtual one."""

    def __init__(self, system: SequencerBackend, port: int, direction: Direction, peer: Address | None) -> None:
        self._system = system
        self._port = port
        self._direction = direction
        self._peer = peer
        self._peers: frozenset[Address] = frozenset()
        self._asked = -1

    def is_connected(self) -> bool:
        """Return whether the connection that was made still stands; a device may be back under its old number."""
        return self._peer is None or self._peer in self.peers()

    def peers(self) -> frozenset[Address]:
        """Return what the port is connected to; the kernel is asked only after something has changed.

        For a virtual port it is asked each time: a command that only sends doesn't hear who has come.
        """
        if self._peer is None or self._asked != self._system.stream.changes:
            self._asked = self._system.stream.changes
            self._peers = self._system.sequencer.peers(self._port, self._direction)
        return self._peers

    def close(self) -> None:
        """Take the port away."""
        self._system.stream.close_inbox(self._port)
        self._system.sequencer.close_port(self._port)


class SequencerInput(SequencerPort):
    """A port of ours that others send to."""

    def __init__(self, system: SequencerBackend, port: int, peer: Address | None) -> None:
        super().__init__(system, port, "in", peer)
        self.get_message = system.stream.open_inbox(port).get_message


class SequencerOutput(SequencerPort):
    """A port of ours that others listen to."""

    def __init__(self, system: SequencerBackend, port: int, peer: Address | None) -> None:
        super().__init__(system, port, "out", peer)
        self.limit = PeersRoom(self.peers, system.sequencer.pool_of, self._buffer_of)
        self._cards: dict[Address, int | None] = {}
        self.send_message: Callable[[Sequence[int]], None] = partial(system.stream.send, port)

    def _buffer_of(self, peer: Address) -> tuple[int, int] | None:
        """Return the size and the free part of a device's buffer; which card it belongs to is asked once."""
        if peer not in self._cards:
            self._cards[peer] = self._system.sequencer.card_of(peer)
        card = self._cards[peer]
        return None if card is None else device_buffer(card, peer[1])


class SequencerBackend:
    """The sequencer. Raises MachineError where it, or the library that opens it, isn't there.

    Ports cost next to nothing here, so that there are no spares and nothing has to be tidied. All of ours share the
    pool that the kernel keeps for us: when it overflows, any of them may have lost something.
    """

    name = "ALSA"
    keeps_ready = False
    has_virtual = True
    sysex_limit: int | None = None
    sysex_sticks = False
    is_lost = False
    untidy = 0

    def __init__(self, client: str, make: Callable[[str], Sequencer] = Sequencer) -> None:
        self.sequencer = make(client)
        self.stream = RecordStream(self.sequencer.descriptor, self.sequencer.number)
        self.descriptor: int | None = self.sequencer.descriptor
        self.receive: Callable[[], bool] = self.stream.receive
        self._names: dict[Direction, list[str]] = {}
        self._listed = -1

    # -- what comes in ------------------------------------------------------------------------------------------------

    @property
    def ports_changed(self) -> bool:
        """Whether ports may have come or gone; whoever looks at the names clears it before."""
        return self.stream.announced

    @ports_changed.setter
    def ports_changed(self, value: bool) -> None:
        self.stream.announced = value

    @property
    def overflows(self) -> int:
        """How often all that waited for us was lost, since more came than the kernel keeps."""
        return self.stream.overflows

    # -- names --------------------------------------------------------------------------------------------------------

    def input_names(self) -> list[str]:
        """The ports that can be listened to. Raises MachineError."""
        return self._list("in")

    def output_names(self) -> list[str]:
        """The ports that can be sent to. Raises MachineError."""
        return self._list("out")

    def _list(self, direction: Direction) -> list[str]:
        """Ask the kernel only after something has changed."""
        if self._listed != self.stream.changes:
            changes = self.stream.changes
            ports = self.sequencer.ports()
            self._names = {"in": [], "out": []}
            for name, _, directions in ports:
                for one in directions:
                    self._names[one].append(name)
            self._listed = changes
        return list(self._names[direction])

    def is_ours(self, name: str) -> bool:
        """Return whether a port of the computer is one of this client's own."""
        return _address(name)[0] == self.sequencer.number

    # -- ports --------------------------------------------------------------------------------------------------------

    def open_input(self, name: str, label: str, named: bool = False) -> RawInput:
        """Connect to a port that others send on. Raises MachineError."""
        return SequencerInput(self, *self._open(name, label, "in"))

    def open_output(self, name: str, label: str, named: bool = False) -> RawOutput:
        """Connect to a port that others listen on. Raises MachineError."""
        return SequencerOutput(self, *self._open(name, label, "out"))

    def virtual_input(self, label: str) -> RawInput:
        """Make a port that others send to. Raises MachineError."""
        return SequencerInput(self, self._make(label, "in"), None)

    def virtual_output(self, label: str) -> RawOutput:
        """Make a port that others listen to. Raises MachineError."""
        return SequencerOutput(self, self._make(label, "out"), None)

    def _open(self, name: str, label: str, direction: Direction) -> tuple[int, Address]:
        """Make a port of ours and connect it; another device may have got the address by now."""
        peer = _address(name)
        if self.sequencer.name_of(peer) != name:
            raise MachineError(f'"{name}" can\'t be opened: it has gone')
        port = self._make(label, direction)
        try:
            self.sequencer.connect(port, direction, peer)
        except MachineError as error:
            self.sequencer.close_port(port)
            raise MachineError(f'"{name}" can\'t be opened: {error}') from error
        return port, peer

    def _make(self, label: str, direction: Direction) -> int:
        return self.sequencer.make_input(label) if direction == "in" else self.sequencer.make_output(label)

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """Return nothing: the sequencer lives as long as the computer."""
        return None

    # -- what other systems need --------------------------------------------------------------------------------------

    def tidy(self) -> None:
        """Do nothing: what is closed is gone."""

    def lose(self) -> None:
        """Do nothing: the sequencer lives as long as the computer."""

    def revive(self) -> bool:
        """Return True: it never died."""
        return True

    def close(self) -> None:
        """Leave, with all ports."""
        self.sequencer.close()


def _address(name: str) -> Address:
    """The address of a port, from the end of its name; (-1, -1) for a name without one."""
    found = _ADDRESS.search(name)
    return (int(found[1]), int(found[2])) if found else (-1, -1)
