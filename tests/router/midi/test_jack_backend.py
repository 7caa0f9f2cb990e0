"""JACK, whose server dies and comes back, with a library in memory in place of python-rtmidi."""

from __future__ import annotations

from typing import Any

import pytest

from router.midi import jack_backend
from router.midi.backend_choice import choose_backend
from rules.errors import MachineError
from tests.support.fake_rtmidi import InputClient, Library, tidied


class Child:
    """A process that asks whether the server is there; ends when told how."""

    def __init__(self) -> None:
        self.code: int | None = None

    def poll(self) -> int | None:
        """How it ended."""
        return self.code

    def kill(self) -> None:
        """End it."""

    def wait(self) -> int:
        """Until it has ended."""
        return 0


class Loop:
    """A JACK system whose server dies, and the child that asks for it."""

    def __init__(self, library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
        self.library = library
        self.system = choose_backend("jack", "pit")
        self.children: list[Child] = []
        self.kept: list[object] = []
        monkeypatch.setattr(jack_backend, "_probe", self._probe)
        monkeypatch.setattr(jack_backend, "_never_free", self.kept.append)

    def _probe(self, api: int) -> Any:
        self.children.append(Child())
        return self.children[-1]


@pytest.fixture
def loop(library: Library, monkeypatch: pytest.MonkeyPatch) -> Loop:
    """A JACK system with an open input and an open output."""
    loop = Loop(library, monkeypatch)
    loop.system.open_input("Pit Keyboard:MIDI 1", "keys")
    loop.system.open_output("Rack:MIDI 1", "rack")
    return loop


def test_nobody_is_called_as_the_server_is(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    """A client of that name would take the server's place, and everybody would be cut off."""
    with pytest.raises(MachineError, match='a client called "default", as the JACK server is, would cut it off'):
        choose_backend("jack", "default")
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "pit")
    with pytest.raises(MachineError, match="use another name"):
        choose_backend("jack", "pit")
    assert choose_backend("jack", "default").name == "JACK"


def test_the_loopback_costs_no_client(library: Library) -> None:
    """It is on the two that look for ports."""
    library.lists_all = True
    system = choose_backend("jack", "pit")
    assert system.loopback() is not None
    assert len(library.clients) == 4
    assert library.clients[0].deeds == ["all types", "open 2 heartbeat"]


class FakeJackWires:
    """The ports of a library, connections between them, and who left."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self.made: list[tuple[str, str]] = []
        self.closed = 0

    def connect(self, output: str, into: str) -> bool:
        """Connect, unless the input is one that refuses."""
        self.made.append((output, into))
        return "stubborn" not in into

    def senders(self) -> list[str]:
        """All ports, as the library lists them."""
        return [port.decode() for port in self._library.ports]

    receivers = senders

    def close(self) -> None:
        """Leave."""
        self.closed += 1


@pytest.fixture
def wires(library: Library, monkeypatch: pytest.MonkeyPatch) -> list[FakeJackWires]:
    """Those that were made."""
    made: list[FakeJackWires] = []

    def make() -> FakeJackWires:
        made.append(FakeJackWires(library))
        return made[-1]

    monkeypatch.setattr(jack_backend, "JackWires", make)
    library.lists_all = True
    return made


def test_silence_is_connected_to_every_input_of_ours(library: Library, wires: list[FakeJackWires]) -> None:
    """So that the server copies what comes; also to one that gets the name of one that was closed before."""
    system = choose_backend("jack", "pit")
    assert library.clients[4].deeds == ["virtual silence"]
    system.virtual_input("take")
    system.virtual_input("a:b")
    library.ports.remove(b"pit take-03:take")
    library.ports.insert(0, b"other:port")
    library.ports.remove(b"pit a:b-04:a:b")
    system.virtual_input("take")
    silence = "pit-02:silence"
    assert wires[0].made == [(silence, "pit take-03:take"), (silence, "pit a:b-04:a:b"), (silence, "pit take-04:take")]
    system.close()
    assert [one.closed for one in wires] == [1]


def test_ports_are_listed_by_the_jack_library(library: Library, wires: list[FakeJackWires]) -> None:
    """python-rtmidi takes a millisecond for it; while a server is lost nobody asks."""
    system = choose_backend("jack", "pit")
    assert system.input_names() == system.output_names() == [port.decode() for port in library.ports]
    wires[0].senders = wires[0].receivers = lambda: ["Rack:MIDI 2"]  # type: ignore[method-assign]
    assert (system.input_names(), system.output_names()) == (["Rack:MIDI 2"], ["Rack:MIDI 2"])
    system.lose()
    assert (system.input_names(), system.output_names()) == ([], [])


def test_silence_is_connected_to_nobody_elses_input(library: Library, wires: list[FakeJackWires]) -> None:
    """Another command of our name may run beside us; whoever is connected to our silence waits for us."""
    library.ports.append(b"pit-07:keys")
    system = choose_backend("jack", "pit")
    system.open_input("Pit Keyboard:MIDI 1", "keys")
    assert wires[0].made == []


def test_other_daemons_silence_is_no_port_for_anybody(wires: list[FakeJackWires]) -> None:
    """As little as their heartbeats."""
    system = choose_backend("jack", "pit")
    assert [system.is_ours(name) for name in ("stage-02:silence", "stage:heartbeat", "stage:keys")] == [
        True,
        True,
        False,
    ]


def test_wires_that_died_with_the_server_are_not_touched(wires: list[FakeJackWires], loop: Loop) -> None:
    """New ones are made with everything else."""
    loop.system.lose()
    loop.system.revive()
    loop.children[0].code = 0
    assert loop.system.revive()
    loop.system.close()
    assert [one.closed for one in wires] == [0, 1]


def test_after_a_death_inputs_are_deleted_and_outputs_left_alone(library: Library, loop: Loop) -> None:
    """A child asks first. Then all is made anew, and nothing old is touched again."""
    outputs = [client for client in library.clients if not isinstance(client, InputClient)]
    loop.system.lose()
    assert (loop.system.input_names(), loop.system.output_names()) == ([], [])
    assert [loop.system.revive(), loop.system.revive()] == [False, False]
    assert len(library.alive) == 4
    loop.children[0].code = 1
    assert not loop.system.revive()
    assert library.alive == loop.kept == outputs
    assert not loop.system.revive()
    loop.children[1].code = 0
    assert loop.system.revive()
    assert len(library.alive) == len(outputs) + 4
    assert loop.system.input_names() == ["Pit Keyboard:MIDI 1", "Rack:MIDI 1"]


def test_a_server_that_hangs_is_not_touched_until_it_answers(library: Library, loop: Loop) -> None:
    """The child that asked was ended by its alarm. What comes back in the end is our own heartbeat."""
    loop.system.lose()
    loop.system.revive()
    loop.children[0].code = -14
    assert [loop.system.revive(), loop.system.revive()] == [False, False]
    assert len(library.alive) == 4
    library.waiting.append(([0xB0, 0, 1], 0.0))
    assert loop.system.revive()
    assert (len(library.alive), loop.kept) == (4, [])


def test_leaving_a_lost_server_deletes_nothing(library: Library, loop: Loop) -> None:
    """Not even that might come to an end."""
    loop.system.lose()
    loop.system.close()
    assert len(loop.kept) == len(library.alive) == 4


def test_a_spare_that_died_with_the_server_is_not_touched(library: Library, loop: Loop) -> None:
    """Neither to open a port, nor to tidy up."""
    tidied(loop.system, library)
    spare = library.clients[-1]
    loop.system.open_input("Pit Keyboard:MIDI 1", "pads")
    library.is_dead = True
    for opening in (loop.system.open_input, loop.system.open_output):
        with pytest.raises(MachineError, match=r"server not running|JACK doesn't answer"):
            opening("Rack:MIDI 1", "lights")
    loop.system.keeps_ready = False
    loop.system.tidy()
    assert spare in loop.kept
    assert spare.deeds == []


def test_a_client_that_can_not_be_made_means_that_all_others_are_gone(library: Library, loop: Loop) -> None:
    """The library has freed them in its own depths: whatever is done with them would be a crash."""
    library.is_dead = True
    loop.system.tidy()
    assert len(loop.kept) == 4
    assert loop.system.input_names() == []
    with pytest.raises(MachineError, match="JACK doesn't answer"):
        loop.system.open_input("Pit Keyboard:MIDI 1", "keys")
    loop.system.revive()
    loop.children[0].code = 0
    assert not loop.system.revive()
    library.is_dead = False
    loop.system.revive()
    loop.children[1].code = 0
    assert loop.system.revive()
