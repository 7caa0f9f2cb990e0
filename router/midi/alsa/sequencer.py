"""Our client on the sequencer, by way of the library alsa-midi: its ports, their wiring, and the ports of others.

The library is imported where a client is opened, and not before: it takes 50 ms, most of it for asyncio.
"""

from __future__ import annotations

import contextlib
import select
from collections.abc import Iterator
from importlib import import_module
from typing import Any, Final

from router.midi.alsa.kernel_calls import pool_of
from router.midi.alsa.record_stream import POOL
from router.midi.alsa.records import Address
from rules.errors import MachineError
from rules.ports.patterns import Direction

_ANNOUNCEMENTS: Final = (0, 1)
"""The port on which the system announces what comes and goes (SNDRV_SEQ_PORT_SYSTEM_ANNOUNCE)."""

_SYSTEM: Final = 0  # the client whose ports have no MIDI


class Sequencer:
    """A client with a number. Raises MachineError where the library, or the sequencer, isn't there.

    `descriptor` is readable when records wait. What else goes wrong in a method is raised as MachineError as well.
    """

    def __init__(self, name: str) -> None:
        with _asking("ALSA can't be used"):
            self._library: Any = import_module("alsa_midi")
            self._alsa, self._ffi = self._library.alsa, self._library.ffi
            self._client = self._library.SequencerClient(name)
            self._ports: dict[int, Any] = {}
            self.number: int = self._client.client_id
            self.descriptor = self._find_descriptor()
            self._client.set_client_pool_input(POOL)
            caps = self._library.PortCaps
            self._ears = self._client.create_port(
                "announcements", caps.WRITE | caps.NO_EXPORT, self._library.PortType.SPECIFIC
            )
            self._ears.connect_from(_ANNOUNCEMENTS)

    def _find_descriptor(self) -> int:
        descriptors = self._ffi.new("struct pollfd[]", 1)
        self._alsa.snd_seq_poll_descriptors(self._client.handle, descriptors, 1, select.POLLIN)
        return int(descriptors[0].fd)

    # -- ports of others ----------------------------------------------------------------------------------------------

    def ports(self) -> list[tuple[str, Address, frozenset[Direction]]]:
        """Return all MIDI ports of the computer, our own included: name, address, and what they can be for us.

        A name is that of the client and of the port, and the address, by which equal names differ.
        """
        with _asking("the ports can't be listed"):
            return [port for client in self._clients() for port in self._ports_of(client)]

    def name_of(self, address: Address) -> str | None:
        """Return the name, as in `ports`, of what has an address now; None for nothing."""
        with _asking("the ports can't be listed"):
            return next((name for name, at, _ in self._ports_of(address[0]) if at == address), None)

    # The library's own list raises where a name is no UTF-8, as one that was cut to the kernel's length can be.

    def _clients(self) -> Iterator[int]:
        info = self._info("snd_seq_client_info")
        self._alsa.snd_seq_client_info_set_client(info, -1)
        while self._alsa.snd_seq_query_next_client(self._client.handle, info) >= 0:
            number = int(self._alsa.snd_seq_client_info_get_client(info))
            if number != _SYSTEM:
                yield number

    def _ports_of(self, client: int) -> Iterator[tuple[str, Address, frozenset[Direction]]]:
        alsa, handle = self._alsa, self._client.handle
        info, port = self._info("snd_seq_client_info"), self._info("snd_seq_port_info")
        if alsa.snd_seq_get_any_client_info(handle, client, info) < 0:
            return
        name = self._text(alsa.snd_seq_client_info_get_name(info))
        alsa.snd_seq_port_info_set_client(port, client)
        alsa.snd_seq_port_info_set_port(port, -1)
        while alsa.snd_seq_query_next_port(handle, port) >= 0:
            number = int(alsa.snd_seq_port_info_get_port(port))
            full = f"{name}:{self._text(alsa.snd_seq_port_info_get_name(port))} {client}:{number}"
            if directions := self._directions(port):
                yield full, (client, number), directions

    def _directions(self, port: Any) -> frozenset[Direction]:
        """What a port can be for us; nothing if it isn't made for MIDI."""
        types, caps = self._library.PortType, self._library.PortCaps
        made_for = self._alsa.snd_seq_port_info_get_type(port)
        if not made_for & (types.MIDI_GENERIC | types.SYNTH | types.APPLICATION):
            return frozenset()
        can = self._alsa.snd_seq_port_info_get_capability(port)
        readable, writable = caps.READ | caps.SUBS_READ, caps.WRITE | caps.SUBS_WRITE
        found: list[Direction] = []
        if can & readable == readable:
            found.append("in")
        if can & writable == writable:
            found.append("out")
        return frozenset(found)

    def _info(self, kind: str) -> Any:
        """A structure of the library's, freed with the last reference to it."""
        place = self._ffi.new(f"{kind}_t **")
        getattr(self._alsa, f"{kind}_malloc")(place)
        return self._ffi.gc(place[0], getattr(self._alsa, f"{kind}_free"))

    def _text(self, text: Any) -> str:
        return bytes(self._ffi.string(text)).decode("utf-8", "replace")

    # -- our own ports ------------------------------------------------------------------------------------------------

    def make_input(self, label: str) -> int:
        """Make a port that others send to; return its number."""
        return self._make(label, self._library.WRITE_PORT)

    def make_output(self, label: str) -> int:
        """Make a port that others listen to; return its number."""
        return self._make(label, self._library.READ_PORT)

    def _make(self, label: str, capabilities: Any) -> int:
        with _asking(f'the port "{label}" can\'t be made'):
            port = self._client.create_port(label, capabilities)
            self._ports[port.port_id] = port
            return int(port.port_id)

    def connect(self, port: int, direction: Direction, other: Address) -> None:
        """Connect a port of ours with one of another program: "in" hears it, "out" sends to it."""
        with _asking("the ports can't be connected"):
            if direction == "in":
                self._ports[port].connect_from(other)
            else:
                self._ports[port].connect_to(other)

    def peers(self, port: int, direction: Direction) -> frozenset[Address]:
        """Return what a port of ours is connected to; nothing if it can't be asked."""
        kinds = self._library.SubscriptionQueryType
        kind = kinds.WRITE if direction == "in" else kinds.READ
        with contextlib.suppress(self._library.Error):
            found = self._client.list_port_subscribers((self.number, port), kind)
            return frozenset((int(one.addr.client_id), int(one.addr.port_id)) for one in found)
        return frozenset()

    def close_port(self, port: int) -> None:
        """Take a port of ours away, with its connections."""
        with contextlib.suppress(self._library.Error):
            self._ports.pop(port).close()

    def pool_of(self, port: Address) -> tuple[int, int] | None:
        """Return how many records may wait for a port's client, and how many more could; None for devices.

        The library asks for our own pool only.
        """
        return pool_of(self.descriptor, port[0])

    def card_of(self, port: Address) -> int | None:
        """Return the number of the card whose output a port is; None for what is no device with a buffer."""
        client, info = self._info("snd_seq_client_info"), self._info("snd_seq_port_info")
        asked = self._alsa.snd_seq_get_any_port_info(self._client.handle, *port, info)
        if asked < 0 or not self._alsa.snd_seq_port_info_get_type(info) & self._library.PortType.HARDWARE:
            return None
        if self._alsa.snd_seq_get_any_client_info(self._client.handle, port[0], client) < 0:
            return None
        card = int(self._alsa.snd_seq_client_info_get_card(client))
        return card if card >= 0 else None

    def close(self) -> None:
        """Leave, with all ports."""
        self._client.close()


@contextlib.contextmanager
def _asking(doing: str) -> Iterator[None]:
    """Whatever the library raises becomes an error of the machine, in words."""
    try:
        yield
    except MachineError:
        raise
    except ImportError as error:
        raise MachineError(f"{doing}: it needs the package alsa-midi: pip install alsa-midi") from error
    except OSError as error:  # where the library's own wheel doesn't fit, it looks for that of the computer
        raise MachineError(f"{doing}: it needs the library libasound.so.2: apt-get install libasound2") from error
    except Exception as error:
        raise MachineError(f"{doing}: ALSA says: {error}") from error
