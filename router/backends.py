"""The computer's MIDI systems, as the daemon sees them.

The only module that imports python-rtmidi. Input is polled and never called back: callbacks lose messages whenever
another thread holds the interpreter, swallow exceptions, and can hang or crash while a port closes.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Final, Protocol, cast

from router import alsa
from router.jack import Jack
from router.system import Client, Library, MidiIn, MidiOut, System
from rules.errors import MachineError
from rules.pacing import Limit, Rate


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
    that an input hears nothing more after a sysex without an end, until it is opened anew. With `keeps_ready`, `tidy`
    makes spares, so that the next port is opened without a break in the music; without it, spares are given up.
    """

    name: str
    keeps_ready: bool
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
        """Delete one thing that was closed, or make or give up one spare: up to 25 ms, for when nothing plays."""

    def lose(self) -> None:
        """The system doesn't answer: touch nothing that is open, not even to close it."""

    def revive(self) -> bool:
        """Look, without waiting, whether the system is there again; True when it can be used."""

    def close(self) -> None:
        """Delete everything."""


# -- what we know about each -------------------------------------------------------------------------------------------


class Alsa(System):
    """The ALSA sequencer.

    Between clients a sysex travels in pieces of 28 bytes through the receiver's pool, 200 of them unless it asked for
    more; what doesn't fit is lost, together with what waits there, and nobody is told.
    """

    name = "ALSA"
    sysex_limit = 5_572

    def __init__(self, library: Library, api: int, client: str) -> None:
        self._descriptors: dict[Client, int] = {}
        self._numbers: dict[Client, int] = {}
        super().__init__(library, api, client)

    def is_ours(self, name: str) -> bool:
        """By the client's number, which is ours alone."""
        number = alsa.client_number(name)
        return number in self._numbers.values() if number is not None else super().is_ours(name)

    def _limit(self, client: Client, name: str) -> Limit | None:
        """Another program's pool can be asked how full it is. Hardware has none, and who listens to us isn't known."""
        number, descriptor = alsa.client_number(name), self._descriptors.get(client)
        if number is None or descriptor is None or not alsa.pool_of(descriptor, number):
            return Rate(burst=100, a_second=10_000)
        return alsa.PoolRoom(descriptor, number)

    def _make_in(self, name: str) -> MidiIn:
        with alsa.new_client() as made:
            client = super()._make_in(name)
        for descriptor in made:
            alsa.enlarge_input_pool(descriptor)
        self._note(client, made)
        return client

    def _make_out(self, name: str) -> MidiOut:
        with alsa.new_client() as made:
            client = super()._make_out(name)
        self._note(client, made)
        return client

    def _note(self, client: Client, made: Sequence[int]) -> None:
        for descriptor in made:
            self._descriptors[client] = descriptor
            self._numbers[client] = alsa.own_number(descriptor)

    def _connection(self, client: Client) -> Callable[[], bool]:
        """A device that is plugged in again may get the number that it had, so that its name tells nothing."""
        descriptor = self._descriptors.get(client)
        if descriptor is None:
            return lambda: True
        is_input = hasattr(client, "get_message")
        return lambda: alsa.is_connected(descriptor, is_input)

    def _delete(self, client: Client) -> None:
        self._descriptors.pop(client, None)
        self._numbers.pop(client, None)
        super()._delete(client)


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


def _library() -> Library:
    try:
        return cast(Library, import_module("rtmidi"))
    except ImportError as error:
        raise MachineError(
            "live ports need the package python-rtmidi, which is not installed: pip install 'pointsman[live]'. "
            "For Python 3.13 and newer it is built on the spot, which on Debian needs: apt-get install g++ pkg-config "
            "libasound2-dev libjack-jackd2-dev"
        ) from error
