"""The computer's MIDI systems, as the daemon sees them.

The only module that imports python-rtmidi. Input is polled and never called back: callbacks lose messages whenever
another thread holds the interpreter, swallow exceptions, and can hang or crash while a port closes.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from typing import Final, Protocol, cast

from router import alsa
from rules.errors import MachineError
from rules.pacing import Limit, Rate

QUEUE: Final = 16_384
"""Messages that an input keeps until they are polled: over a second of eight DIN wires at full rate."""

HEARTBEAT: Final = "heartbeat"

_PROBE_SECONDS: Final = 5.0


class RawInput(Protocol):
    """An open input."""

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next message and the seconds since the one before; None where nothing waits."""

    def is_connected(self) -> bool:
        """Whether the other side is still there, as far as the system can tell; most can't, and say yes."""

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
    that an input hears nothing more after a sysex without an end, until it is opened anew.
    """

    name: str
    has_virtual: bool
    sysex_limit: int | None
    sysex_sticks: bool

    def input_names(self) -> list[str]:
        """The ports that can be listened to, by the computer's names and in its order."""

    def output_names(self) -> list[str]:
        """The ports that can be sent to."""

    def is_ours(self, name: str) -> bool:
        """Whether a computer port is one of this process's own."""

    def open_input(self, name: str, label: str) -> RawInput:
        """Connect to one of `input_names`; ours is called `label`. Raises MachineError."""

    def open_output(self, name: str, label: str) -> RawOutput:
        """Connect to one of `output_names`. Raises MachineError."""

    def virtual_input(self, label: str) -> RawInput:
        """Make a port that other programs send to. Raises MachineError."""

    def virtual_output(self, label: str) -> RawOutput:
        """Make a port that other programs listen to. Raises MachineError."""

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """An output of ours that leads to an input of ours, where the system can die; None where it can't.

        What comes back proves that the system has carried everything that was sent before, on all outputs.
        """

    @property
    def untidy(self) -> int:
        """How many things `tidy` has to do."""

    def tidy(self) -> None:
        """Delete one thing that was closed, or make one spare: up to 25 ms, for when nothing plays."""

    def lose(self) -> None:
        """The system doesn't answer: touch nothing that is open, not even to close it."""

    def revive(self) -> bool:
        """Look, without waiting, whether the system is there again; True when it can be used."""

    def close(self) -> None:
        """Delete everything."""


# -- python-rtmidi, as far as it is used ------------------------------------------------------------------------------


class _Client(Protocol):
    def get_ports(self, encoding: None) -> list[bytes]: ...
    def open_port(self, port: int, name: str) -> object: ...
    def open_virtual_port(self, name: str) -> object: ...
    def close_port(self) -> None: ...
    def delete(self) -> None: ...


class _MidiIn(_Client, Protocol):
    def ignore_types(self, sysex: bool, timing: bool, active_sense: bool) -> None: ...
    def get_message(self) -> tuple[Sequence[int], float] | None: ...


class _MidiOut(_Client, Protocol):
    def send_message(self, message: Sequence[int]) -> None: ...


class _MakeIn(Protocol):
    def __call__(self, rtapi: int, name: str, queue_size_limit: int) -> _MidiIn: ...


class _MakeOut(Protocol):
    def __call__(self, rtapi: int, name: str) -> _MidiOut: ...


class _Library(Protocol):
    MidiIn: _MakeIn
    MidiOut: _MakeOut

    def get_compiled_api(self) -> list[int]: ...
    def get_api_name(self, api: int) -> str: ...


def _library() -> _Library:
    try:
        return cast(_Library, import_module("rtmidi"))
    except ImportError as error:
        raise MachineError(
            "live ports need the package python-rtmidi, which is not installed: pip install 'pointsman[live]'. "
            "For Python 3.13 and newer it is built on the spot, which on Debian needs: apt-get install g++ pkg-config "
            "libasound2-dev libjack-jackd2-dev"
        ) from error


@contextlib.contextmanager
def _machine(doing: str) -> Iterator[None]:
    """Whatever the library raises becomes an error of the machine, in words."""
    try:
        yield
    except MachineError:
        raise
    except Exception as error:
        raise MachineError(f"{doing}: the MIDI system says: {error}") from error


# -- open ports -------------------------------------------------------------------------------------------------------


class _OpenInput:
    """An input on a client of its own. `get_message` is the client's, without a detour."""

    __slots__ = ("_client", "_park", "get_message", "is_connected")

    def __init__(
        self, client: _MidiIn, park: Callable[[_Client], None], is_connected: Callable[[], bool] = lambda: True
    ) -> None:
        self._client = client
        self._park = park
        self.get_message = client.get_message
        self.is_connected = is_connected

    def close(self) -> None:
        """Disconnect; the client is deleted later."""
        self._park(self._client)


class _OpenOutput:
    """An output on a client of its own."""

    __slots__ = ("_client", "_park", "is_connected", "limit", "send_message")

    def __init__(
        self,
        client: _MidiOut,
        park: Callable[[_Client], None],
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


class System:
    """A MIDI system by way of python-rtmidi. Raises MachineError when it isn't there.

    A client takes 10-25 ms to be made and half of that to be deleted, and all of Python waits. So one of each kind lies
    ready, and what was closed is deleted when nothing plays. Two more look for ports, for as long as we live.
    """

    name = ""
    has_virtual = True
    sysex_limit: int | None = None
    sysex_sticks = False

    def __init__(self, library: _Library, api: int, client: str) -> None:
        self.client = client
        self._library = library
        self._api = api
        self._clients: list[_Client] = []
        self._parked: list[_Client] = []
        self._labels: set[str] = set()
        self._begin()

    def _begin(self) -> None:
        with _machine(f"{self.name} can't be used"):
            self._look_in, self._look_out = self._make_in(self.client), self._make_out(self.client)
            self._spare_in: _MidiIn | None = self._make_in(self.client)
            self._spare_out: _MidiOut | None = self._make_out(self.client)

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

    def open_input(self, name: str, label: str) -> RawInput:
        """Connect to a port that others send on."""
        with _machine(f'"{name}" can\'t be opened'):
            client = self._spare_in or self._make_in(self.client)
            self._spare_in = None
            self._connect(client, name, label)
            return _OpenInput(client, self._park, self._connection(client))

    def open_output(self, name: str, label: str) -> RawOutput:
        """Connect to a port that others listen on."""
        with _machine(f'"{name}" can\'t be opened'):
            client = self._spare_out or self._make_out(self.client)
            self._spare_out = None
            self._connect(client, name, label)
            return _OpenOutput(client, self._park, self._connection(client), self._limit(client, name))

    def virtual_input(self, label: str) -> RawInput:
        """Make a port that others send to; its client is called after it, so that its name is always the same."""
        with _machine(f'the port "{label}" can\'t be made'):
            client = self._make_in(self._virtual(label))
            client.open_virtual_port(label)
            return _OpenInput(client, self._park)

    def virtual_output(self, label: str) -> RawOutput:
        """Make a port that others listen to."""
        with _machine(f'the port "{label}" can\'t be made'):
            client = self._make_out(self._virtual(label))
            client.open_virtual_port(label)
            return _OpenOutput(client, self._park, limit=self._limit(client, ""))

    def _virtual(self, label: str) -> str:
        if not self.has_virtual:
            raise MachineError(f"{self.name} has no virtual ports: connect to a port that is there")
        name = f"{self.client} {label}"
        self._labels.add(name)
        return name

    def _connect(self, client: _Client, name: str, label: str) -> None:
        """The index is asked of the client that opens: other ports, our own among them, move it."""
        names = _names(client)
        if name not in names:
            self._park(client)
            raise MachineError(f'"{name}" can\'t be opened: it has gone')
        client.open_port(names.index(name), label)

    def _connection(self, client: _Client) -> Callable[[], bool]:
        """What tells whether a client's port is still connected. Most systems can't."""
        return lambda: True

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """Most systems live as long as the computer."""
        return None

    def _limit(self, client: _Client, name: str) -> Limit | None:
        """What may be sent to a port; most systems tell nothing of their limits."""
        return None

    # -- clients ------------------------------------------------------------------------------------------------------

    def _make_in(self, name: str) -> _MidiIn:
        client = self._library.MidiIn(self._api, name=name, queue_size_limit=QUEUE)
        client.ignore_types(False, False, False)
        self._clients.append(client)
        return client

    def _make_out(self, name: str) -> _MidiOut:
        client = self._library.MidiOut(self._api, name=name)
        self._clients.append(client)
        return client

    def _park(self, client: _Client) -> None:
        if client in self._clients and client not in self._parked:
            self._parked.append(client)
            client.close_port()

    @property
    def untidy(self) -> int:
        """What was closed, and spares that were used."""
        return len(self._parked) + (self._spare_in is None) + (self._spare_out is None)

    def tidy(self) -> None:
        """One thing at a time, so that music that begins just now waits for no more than that."""
        with contextlib.suppress(MachineError), _machine("tidying"):
            if self._parked:
                client = self._parked.pop()
                self._clients.remove(client)
                self._delete(client)
            elif self._spare_in is None:
                self._spare_in = self._make_in(self.client)
            elif self._spare_out is None:
                self._spare_out = self._make_out(self.client)

    def lose(self) -> None:
        """The system lives as long as the computer."""

    def revive(self) -> bool:
        """It never died."""
        return True

    def close(self) -> None:
        """Delete all clients."""
        for client in self._clients:
            self._delete(client)
        self._clients.clear()
        self._parked.clear()

    def _delete(self, client: _Client) -> None:
        client.delete()


def _names(client: _Client) -> list[str]:
    """Names are bytes to the computer: what isn't UTF-8 in them can't be typed, but is no reason to fail."""
    return [name.decode("utf-8", "replace") for name in client.get_ports(encoding=None)]


class Alsa(System):
    """The ALSA sequencer.

    Between clients a sysex travels in pieces of 28 bytes through the receiver's pool, 200 of them unless it asked for
    more; what doesn't fit is lost, together with what waits there, and nobody is told.
    """

    name = "ALSA"
    sysex_limit = 5_572

    def __init__(self, library: _Library, api: int, client: str) -> None:
        self._descriptors: dict[_Client, int] = {}
        self._numbers: dict[_Client, int] = {}
        super().__init__(library, api, client)

    def is_ours(self, name: str) -> bool:
        """By the client's number, which is ours alone."""
        number = alsa.client_number(name)
        return number in self._numbers.values() if number is not None else super().is_ours(name)

    def _limit(self, client: _Client, name: str) -> Limit | None:
        """Another program's pool can be asked how full it is. Hardware has none, and who listens to us isn't known."""
        number, descriptor = alsa.client_number(name), self._descriptors.get(client)
        if number is None or descriptor is None or not alsa.pool_of(descriptor, number):
            return Rate(burst=100, a_second=10_000)
        return alsa.PoolRoom(descriptor, number)

    def _make_in(self, name: str) -> _MidiIn:
        with alsa.new_client() as made:
            client = super()._make_in(name)
        for descriptor in made:
            alsa.enlarge_input_pool(descriptor)
        self._note(client, made)
        return client

    def _make_out(self, name: str) -> _MidiOut:
        with alsa.new_client() as made:
            client = super()._make_out(name)
        self._note(client, made)
        return client

    def _note(self, client: _Client, made: Sequence[int]) -> None:
        for descriptor in made:
            self._descriptors[client] = descriptor
            self._numbers[client] = alsa.own_number(descriptor)

    def _connection(self, client: _Client) -> Callable[[], bool]:
        """A device that is plugged in again may get the number that it had, so that its name tells nothing."""
        descriptor = self._descriptors.get(client)
        if descriptor is None:
            return lambda: True
        is_input = hasattr(client, "get_message")
        return lambda: alsa.is_connected(descriptor, is_input)

    def _delete(self, client: _Client) -> None:
        self._descriptors.pop(client, None)
        self._numbers.pop(client, None)
        super()._delete(client)


class Jack(System):
    """A JACK server, which can die and come back.

    Once it has died, everything of ours is dead with it, and making a new client frees the old ones behind our back:
    they must not be touched again. A server that hangs lets everybody hang who asks it for something, so that a child
    process asks first.
    """

    name = "JACK"
    sysex_limit = 16_379
    sysex_sticks = True

    _child: subprocess.Popen[bytes] | None = None
    _is_lost = False

    def is_ours(self, name: str) -> bool:
        """By the client's name, to which JACK may have added a number; and so are the heartbeats of other daemons."""
        client, _, port = name.partition(":")
        return port == HEARTBEAT or any(
            re.fullmatch(rf"{re.escape(own)}(-\d\d)?", client) for own in (self.client, *self._labels)
        )

    def input_names(self) -> list[str]:
        """The ports that can be listened to; none once the server is lost."""
        return [] if self._is_lost else super().input_names()

    def output_names(self) -> list[str]:
        """The ports that can be sent to; none once the server is lost."""
        return [] if self._is_lost else super().output_names()

    def _make_in(self, name: str) -> _MidiIn:
        with self._making():
            return super()._make_in(name)

    def _make_out(self, name: str) -> _MidiOut:
        with self._making():
            return super()._make_out(name)

    @contextlib.contextmanager
    def _making(self) -> Iterator[None]:
        """A client that can't be made means that the server has died, and that all others have just been freed."""
        if self._is_lost:
            raise MachineError("JACK doesn't answer")
        try:
            yield
        except Exception:
            self._is_lost = True
            self._leave_alone()
            raise

    def _leave_alone(self) -> None:
        """Never touch any client again, not even to delete it."""
        for client in self._clients:
            _never_free(client)
        self._clients.clear()
        self._parked.clear()

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """On the two clients that look for ports, so that it costs none of its own."""
        with _machine("JACK can't be used"):
            before = set(self.input_names())
            self._look_out.open_virtual_port(HEARTBEAT)
            names = self.input_names()
            new = [name for name in names if name not in before and self.is_ours(name)]
            self._look_in.open_port(names.index(new[0]), HEARTBEAT)
            return _OpenInput(self._look_in, _keep), _OpenOutput(self._look_out, _keep)

    def lose(self) -> None:
        """The server is dead, or hangs: whoever asks it for something may wait for ever."""
        self._is_lost = True

    def revive(self) -> bool:
        """True once the server answers and new clients are made, the old ones gone."""
        if self._clients and self._look_in.get_message() is not None:
            super().close()  # the heartbeat has come back: the server had only been hanging
            return self._try_again()
        if self._child is None:
            self._child = _probe(self._api)
            return False
        code = self._child.poll()
        if code is None:
            return False
        self._child = None
        if code == -signal.SIGALRM:
            return False  # it hangs, and so would we
        self._bury()
        return code == 0 and self._try_again()

    def _try_again(self) -> bool:
        self._stop_asking()
        self._is_lost = False
        try:
            self._begin()
        except MachineError:
            return False
        return True

    def _bury(self) -> None:
        """The server is dead. Inputs are deleted, for their queues are large.

        An output would first wait a second for the dead to take what it had sent, so it is left as it is.
        """
        for client in self._clients:
            if hasattr(client, "get_message"):
                client.delete()
            else:
                _never_free(client)
        self._clients.clear()
        self._parked.clear()

    def _stop_asking(self) -> None:
        if self._child is not None:
            self._child.kill()
            self._child.wait()
            self._child = None

    def close(self) -> None:
        """Delete all clients, unless the server might never let us."""
        self._stop_asking()
        if self._is_lost:
            self._leave_alone()
        else:
            super().close()


_ASK: Final = """
import signal, sys, rtmidi
signal.alarm(int(sys.argv[2]))
rtmidi.MidiOut(int(sys.argv[1]), name="pointsman-probe").delete()
"""


def _probe(api: int) -> subprocess.Popen[bytes]:
    """A child that ends well if a client can be made, and is ended by a signal if the server only hangs."""
    return subprocess.Popen(
        [sys.executable, "-c", _ASK, str(api), str(int(_PROBE_SECONDS))],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _keep(client: _Client) -> None:
    """The clients that look for ports outlive their loopback."""


def _never_free(client: object) -> None:
    """Keep an object for ever, beyond the end of Python: freeing it would touch memory that is gone."""
    ctypes.pythonapi.Py_IncRef(ctypes.py_object(client))


class CoreMidi(System):
    """The MIDI system of macOS."""

    name = "CoreMIDI"


class WindowsMm(System):
    """The MIDI system of Windows."""

    name = "Windows MM"
    has_virtual = False


# -- choosing ---------------------------------------------------------------------------------------------------------

_SYSTEMS: Final[dict[str, tuple[str, type[System]]]] = {
    "alsa": ("alsa", Alsa),
    "jack": ("jack", Jack),
    "coremidi": ("core", CoreMidi),
    "winmm": ("winmm", WindowsMm),
}
"""By the name that the user gives: the library's name for it, and what we know about it. Tried in this order."""

BACKENDS: Final = tuple(_SYSTEMS)


def choose_backend(name: str | None, client: str) -> Backend:
    """The MIDI system of a name (alsa, jack, coremidi, winmm), or the first that is there; we are `client` to it.

    Raises MachineError, also where python-rtmidi is missing.
    """
    library = _library()
    compiled = {library.get_api_name(api): api for api in library.get_compiled_api()}
    names = [name] if name else [one for one in BACKENDS if _may_be_there(one)]
    reasons = []
    for one in names:
        key, system = _SYSTEMS[one]
        if key not in compiled:
            reasons.append(f"{one}: python-rtmidi was built without it")
            continue
        try:
            return system(library, compiled[key], client)
        except MachineError as error:
            reasons.append(str(error))
    raise MachineError(f"no MIDI system can be used here. {'; '.join(reasons)}. {_HELP}")


_HELP: Final = "ALSA needs the kernel module snd-seq (sudo modprobe snd-seq), JACK a server that runs"


def _may_be_there(name: str) -> bool:
    """Where ALSA has no device, asking it only makes noise."""
    if name == "alsa":
        return os.path.exists(alsa.DEVICE)
    return (name == "jack") or sys.platform != "linux"
