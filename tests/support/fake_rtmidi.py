"""python-rtmidi in memory."""

from __future__ import annotations

from collections.abc import Sequence

from router.midi.backend import Backend

_NAMES = {1: "core", 2: "alsa", 3: "jack", 4: "winmm"}


class Client:
    """A client of the library, and what was done with it."""

    def __init__(self, library: Library, name: str) -> None:
        if library.is_dead:
            raise OSError("server not running?")
        self.library = library
        self.name = name
        self.deeds: list[str] = []
        library.clients.append(self)

    def get_ports(self, encoding: None) -> list[bytes]:
        """The names, as bytes."""
        return list(self.library.ports)

    def open_port(self, port: int, name: str) -> None:
        """Connect."""
        self.deeds.append(f"open {port} {name}")

    def open_virtual_port(self, name: str) -> None:
        """Make a port."""
        self.deeds.append(f"virtual {name}")
        if self.library.lists_all:
            self.library.ports.append(f"{self.name}-{len(self.library.ports):02}:{name}".encode())

    def close_port(self) -> None:
        """Disconnect."""
        self.deeds.append("close")

    def delete(self) -> None:
        """Free it."""
        assert "delete" not in self.deeds
        self.deeds.append("delete")

    def send_message(self, message: Sequence[int]) -> None:
        """Send."""
        self.deeds.append(bytes(message).hex())


class InputClient(Client):
    """One that listens."""

    def ignore_types(self, sysex: bool, timing: bool, active_sense: bool) -> None:
        """Filter nothing, please."""
        assert (sysex, timing, active_sense) == (False, False, False)
        self.deeds.append("all types")

    def get_message(self) -> tuple[list[int], float] | None:
        """What waits."""
        return self.library.waiting.pop(0) if self.library.waiting else None


class Library:
    """What python-rtmidi offers, as far as it is used. With `lists_all`, virtual ports are among the computer's."""

    def __init__(self, *apis: int) -> None:
        self.apis = list(apis)
        self.clients: list[Client] = []
        self.ports = [b"Pit Keyboard:MIDI 1", b"Rack:MIDI 1"]
        self.waiting: list[tuple[list[int], float]] = []
        self.lists_all = False
        self.is_dead = False
        self.queues: list[int] = []

    def MidiIn(self, api: int, name: str, queue_size_limit: int) -> InputClient:
        """A client that listens."""
        self.queues.append(queue_size_limit)
        return InputClient(self, name)

    def MidiOut(self, api: int, name: str) -> Client:
        """A client that sends."""
        return Client(self, name)

    def get_compiled_api(self) -> list[int]:
        """What it was built with."""
        return self.apis

    def get_api_name(self, api: int) -> str:
        """Their names."""
        return _NAMES[api]

    @property
    def alive(self) -> list[Client]:
        """Clients that were not deleted."""
        return [client for client in self.clients if "delete" not in client.deeds]


def tidied(system: Backend, library: Library) -> list[int]:
    """How many clients there are after each thing that was tidied up, until nothing is left to do."""
    alive = []
    while system.untidy:
        system.tidy()
        alive.append(len(library.alive))
    return alive
