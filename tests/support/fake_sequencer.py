"""The ALSA sequencer in memory: clients of others with their ports, and a socket that carries records to ours."""

from __future__ import annotations

import socket
import struct
from typing import Final

from router.midi.alsa.records import LENGTH, Address, packed
from rules.errors import MachineError
from rules.ports.patterns import Direction

OURS: Final = 128


class FakeSequencer:
    """What `router.midi.alsa.sequencer.Sequencer` does. `plug` and `unplug` are what happens to devices.

    `listed` counts how often the ports were listed.
    """

    number = OURS

    def __init__(self, name: str = "pointsman") -> None:
        self.name = name
        self.listed = 0
        self.closed = False
        self.pools: dict[int, tuple[int, int]] = {}
        self._devices: dict[Address, tuple[str, frozenset[Direction]]] = {}
        self._labels: dict[int, tuple[str, Direction]] = {}
        self._made = 0
        self._connections: set[tuple[Address, Address]] = set()
        self._end, self._ours = socket.socketpair()
        self._ours.setblocking(False)
        self.descriptor = self._ours.fileno()

    # -- what happens to devices --------------------------------------------------------------------------------------

    def plug(self, name: str, address: Address, *directions: Direction) -> str:
        """Plug a device in; return its full name. `directions` are what it can be for us, both if none is named."""
        self._devices[address] = (f"{name} {address[0]}:{address[1]}", frozenset(directions or ("in", "out")))
        self._announce(63, address)
        return self._devices[address][0]

    def unplug(self, address: Address) -> None:
        """Take a device away, with its connections."""
        del self._devices[address]
        for connection in [one for one in self._connections if address in one]:
            self._connections.remove(connection)
            self._announce(67, *connection)
        self._announce(64, address)

    def _announce(self, kind: int, *addresses: Address) -> None:
        told = bytes(number for address in addresses for number in address).ljust(12, b"\0")
        self._end.sendall(struct.pack("=BBBB8xBBBB", kind, 0, 0, 253, 0, 1, OURS, 0) + told)

    def play(self, source: Address, *messages: bytes) -> None:
        """Send messages from a device to all ports of ours that listen to it."""
        for message in messages:
            for sender, listener in sorted(self._connections):
                if sender == source:
                    record = packed(message, 0)
                    record = record[:12] + bytes((*source, *listener)) + record[16:]
                    self._end.sendall(record + bytes(-len(record) % LENGTH))

    def sent(self) -> bytes:
        """The records that we have sent."""
        return self._end.recv(1_000_000)

    # -- what the real one does ---------------------------------------------------------------------------------------

    def ports(self) -> list[tuple[str, Address, frozenset[Direction]]]:
        """All ports, ours too."""
        self.listed += 1
        ours = [
            (f"{self.name}:{label} {OURS}:{port}", (OURS, port), frozenset((direction,)))
            for port, (label, direction) in self._labels.items()
        ]
        return [(name, at, can) for at, (name, can) in self._devices.items()] + ours

    def name_of(self, address: Address) -> str | None:
        """What has an address now."""
        return self._devices.get(address, (None,))[0]

    def make_input(self, label: str) -> int:
        """Make a port that others send to."""
        return self._make(label, "out")

    def make_output(self, label: str) -> int:
        """Make a port that others listen to."""
        return self._make(label, "in")

    def _make(self, label: str, direction: Direction) -> int:
        self._made += 1
        self._labels[self._made] = (label, direction)
        return self._made

    def connect(self, port: int, direction: Direction, other: Address) -> None:
        """Connect it."""
        if other[1] == 99:
            raise MachineError("the ports can't be connected: ALSA says: Operation not permitted")
        ours = (OURS, port)
        self._connections.add((other, ours) if direction == "in" else (ours, other))

    def peers(self, port: int, direction: Direction) -> frozenset[Address]:
        """What it is connected to."""
        ours = (OURS, port)
        if direction == "in":
            return frozenset(sender for sender, listener in self._connections if listener == ours)
        return frozenset(listener for sender, listener in self._connections if sender == ours)

    def close_port(self, port: int) -> None:
        """Take it away."""
        del self._labels[port]
        self._connections = {one for one in self._connections if (OURS, port) not in one}

    def pool_of(self, port: Address) -> tuple[int, int] | None:
        """How full the pool of a port's client is."""
        return self.pools.get(port[0])

    def card_of(self, port: Address) -> int | None:
        """No device shows its buffer."""
        return None

    def close(self) -> None:
        """Leave."""
        self.closed = True
        self._end.close()
        self._ours.close()
