"""A MIDI system by way of python-rtmidi: clients, and the ports that they open."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final, Protocol

from rules.errors import MachineError
from rules.ports.pacing import Limit

if TYPE_CHECKING:
    from router.midi.backend import RawInput, RawOutput

QUEUE: Final = 16_384
"""Messages that an input keeps until they are polled: over a second of eight DIN wires at full rate."""

_TRIES: Final = 3
"""How often the names of ports are read again when a port vanishes meanwhile."""


# -- python-rtmidi, as far as it is used ------------------------------------------------------------------------------


class Client(Protocol):
    """A client of a MIDI system, which has one port at most."""

    def get_ports(self, encoding: None) -> list[bytes]:
        """The names of the ports that it could connect to."""

    def open_port(self, port: int, name: str) -> object:
        """Connect to one of them, by its index; ours gets a name."""

    def open_virtual_port(self, name: str) -> object:
        """Make a port that others connect to."""

    def close_port(self) -> None:
        """Disconnect."""

    def delete(self) -> None:
        """Free the client; it must not be touched any more."""


class MidiIn(Client, Protocol):
    """A client that listens."""

    def ignore_types(self, sysex: bool, timing: bool, active_sense: bool) -> None:
        """Choose what not to receive."""

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next message that waits, and the seconds since the one before."""


class MidiOut(Client, Protocol):
    """A client that sends."""

    def send_message(self, message: Sequence[int]) -> None:
        """Send one complete message."""


class MakeIn(Protocol):
    """Makes clients that listen."""

    def __call__(self, rtapi: int, name: str, queue_size_limit: int) -> MidiIn:
        """Make one; it keeps so many messages until they are polled. Raises what the library raises."""


class MakeOut(Protocol):
    """Makes clients that send."""

    def __call__(self, rtapi: int, name: str) -> MidiOut:
        """Make one. Raises what the library raises."""


class Library(Protocol):
    """The library itself."""

    MidiIn: MakeIn
    MidiOut: MakeOut

    def get_compiled_api(self) -> list[int]:
        """The numbers of the systems that it was built with."""

    def get_api_name(self, api: int) -> str:
        """Return what it calls a system."""


@contextlib.contextmanager
def asking(doing: str) -> Iterator[None]:
    """Whatever the library raises becomes an error of the machine, in words."""
    try:
        yield
    except MachineError:
        raise
    except Exception as error:
        raise MachineError(f"{doing}: the MIDI system says: {error}") from error


# -- open ports -------------------------------------------------------------------------------------------------------


class OpenInput:
    """An input on a client of its own. `get_message` is the client's, without a detour."""

    __slots__ = ("_client", "_park", "get_message", "is_connected")

    def __init__(
        self, client: MidiIn, park: Callable[[Client], None], is_connected: Callable[[], bool] = lambda: True
    ) -> None:
        self._client = client
        self._park = park
        self.get_message = client.get_message
        self.is_connected = is_connected

    def close(self) -> None:
        """Disconnect; the client is deleted later."""
        self._park(self._client)


class OpenOutput:
    """An output on a client of its own."""

    __slots__ = ("_client", "_park", "is_connected", "limit", "send_message")

    def __init__(
        self,
        client: MidiOut,
        park: Callable[[Client], None],
        is_connected: Callable[[], bool] = lambda: True,
        limit: Limit | None = None,
    ) -> None:
        self._client = client
        self._park = park
        self.send_message = client.send_message
        self.is_connected = is_connected
        self.limit = limit

    def close(self) -> None:
        """Disconnect; the client is deleted later."""
        self._park(self._client)


class RtmidiBackend:
    """A MIDI system by way of python-rtmidi. Raises MachineError when it isn't there.

    A client takes 10-25 ms to be made and half of that to be deleted, and all of Python waits. Ports that are opened
    for the first time take that time, since their clients are called after them. For ports that return in the midst of
    music one client of each kind is made ready at the start, and again by `tidy` when nothing plays; what was closed is
    deleted then. As a client that does nothing still costs half a percent of a core, those are given up again where
    `keeps_ready` is not set. Two more look for ports, for as long as we live.
    """

    name = ""
    has_virtual = True
    sysex_limit: int | None = None
    sysex_sticks = False
    is_lost = False
    descriptor: int | None = None
    ports_changed = False
    overflows = 0

    def __init__(self, library: Library, api: int, client: str) -> None:
        self.client = client
        self._library = library
        self._api = api
        self._clients: list[Client] = []
        self._parked: list[Client] = []
        self._labels: set[str] = set()
        self.keeps_ready = True
        self._begin()

    def _begin(self) -> None:
        with asking(f"{self.name} can't be used"):
            self._look_in, self._look_out = self._make_in(self.client), self._make_out(self.client)
            self._spare_in: MidiIn | None = self._make_in(self.client) if self.keeps_ready else None
            self._spare_out: MidiOut | None = self._make_out(self.client) if self.keeps_ready else None

    def receive(self) -> bool:
        """Nothing is taken in: the library does that in threads of its own."""
        return False

    # -- names --------------------------------------------------------------------------------------------------------

    def input_names(self) -> list[str]:
        """The ports that can be listened to."""
        return _names(self._look_in)

    def output_names(self) -> list[str]:
        """The ports that can be sent to."""
        return _names(self._look_out)

    def is_ours(self, name: str) -> bool:
        """By the name of the client: ours, or that of a virtual port."""
        return name.partition(":")[0] in {self.client, *self._labels}

    # -- ports --------------------------------------------------------------------------------------------------------

    def open_input(self, name: str, label: str, named: bool = False) -> RawInput:
        """Connect to a port that others send on."""
        with asking(f'"{name}" can\'t be opened'):
            if named:
                client = self._make_in(self._named(label))
            else:
                client, self._spare_in = self._spare_in or self._make_in(self.client), None
            self._connect(client, name, label)
            return OpenInput(client, self._park, self._connection(client))

    def open_output(self, name: str, label: str, named: bool = False) -> RawOutput:
        """Connect to a port that others listen on."""
        with asking(f'"{name}" can\'t be opened'):
            if named:
                client = self._make_out(self._named(label))
            else:
                client, self._spare_out = self._spare_out or self._make_out(self.client), None
            self._connect(client, name, label)
            return OpenOutput(client, self._park, self._connection(client), self._limit(client, name))

    def virtual_input(self, label: str) -> RawInput:
        """Make a port that others send to; its client is called after it, so that its name is always the same."""
        with asking(f'the port "{label}" can\'t be made'):
            client = self._make_in(self._virtual(label))
            client.open_virtual_port(label)
            return OpenInput(client, self._park)

    def virtual_output(self, label: str) -> RawOutput:
        """Make a port that others listen to."""
        with asking(f'the port "{label}" can\'t be made'):
            client = self._make_out(self._virtual(label))
            client.open_virtual_port(label)
            return OpenOutput(client, self._park, limit=self._limit(client, ""))

    def _virtual(self, label: str) -> str:
        if not self.has_virtual:
            raise MachineError(f"{self.name} has no virtual ports: name a port of the computer")
        return self._named(label)

    def _named(self, label: str) -> str:
        """The name of a client that has one port, called `label`."""
        name = f"{self.client} {label}"
        self._labels.add(name)
        return name

    def _connect(self, client: Client, name: str, label: str) -> None:
        """Connect a client by the index that it sees itself: other ports, our own among them, move it."""
        names = _names(client)
        if name not in names:
            self._park(client)
            raise MachineError(f'"{name}" can\'t be opened: it has gone')
        client.open_port(names.index(name), label)

    def _connection(self, client: Client) -> Callable[[], bool]:
        """Return what tells whether a client's port is still connected. Most systems can't."""
        return lambda: True

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """Most systems live as long as the computer."""
        return None

    def _limit(self, client: Client, name: str) -> Limit | None:
        """Return what may be sent to a port; most systems tell nothing of their limits."""
        return None

    # -- clients ------------------------------------------------------------------------------------------------------

    def _make_in(self, name: str) -> MidiIn:
        client = self._library.MidiIn(self._api, name=name, queue_size_limit=QUEUE)
        client.ignore_types(False, False, False)
        self._clients.append(client)
        return client

    def _make_out(self, name: str) -> MidiOut:
        client = self._library.MidiOut(self._api, name=name)
        self._clients.append(client)
        return client

    def _park(self, client: Client) -> None:
        if client in self._clients and client not in self._parked:
            self._parked.append(client)
            client.close_port()

    @property
    def untidy(self) -> int:
        """What was closed, spares that are missing, and spares that nobody needs any more."""
        spares = (self._spare_in, self._spare_out)
        return len(self._parked) + sum((spare is None) == self.keeps_ready for spare in spares)

    def tidy(self) -> None:
        """Do one of the things, so that music that begins just now waits no longer than that."""
        with contextlib.suppress(MachineError), asking("tidying"):
            if not self.keeps_ready:
                self._parked += [spare for spare in (self._spare_in, self._spare_out) if spare is not None]
                self._spare_in = self._spare_out = None
            if self._parked:
                client = self._parked.pop()
                self._clients.remove(client)
                self._delete(client)
            elif self.keeps_ready and self._spare_in is None:
                self._spare_in = self._make_in(self.client)
            elif self.keeps_ready and self._spare_out is None:
                self._spare_out = self._make_out(self.client)

    def lose(self) -> None:
        """Do nothing: the system lives as long as the computer."""

    def revive(self) -> bool:
        """It never died."""
        return True

    def close(self) -> None:
        """Delete all clients."""
        for client in self._clients:
            self._delete(client)
        self._forget()

    def _forget(self) -> None:
        """Forget all clients: none may be touched any more."""
        self._clients.clear()
        self._parked.clear()
        self._spare_in = self._spare_out = None

    def _delete(self, client: Client) -> None:
        client.delete()


def _names(client: Client) -> list[str]:
    """The names of ports. Where one vanishes while they are read, the library raises, and they are read again."""
    for _ in range(_TRIES):
        with contextlib.suppress(Exception):
            return _decoded(client)
    with asking("the ports can't be listed"):
        return _decoded(client)


def _decoded(client: Client) -> list[str]:
    """Names are bytes to the computer: what isn't UTF-8 in them can't be typed, but is no reason to fail."""
    return [name.decode("utf-8", "replace") for name in client.get_ports(encoding=None)]
