"""The computer's MIDI systems, with a library in memory in place of python-rtmidi."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from router import alsa, backends, jack
from router.backends import Backend, choose_backend
from rules.errors import MachineError
from rules.pacing import Pacer, Rate

ROOT = Path(__file__).parents[2]
NAMES = {1: "core", 2: "alsa", 3: "jack", 4: "winmm"}


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
    """What python-rtmidi offers, as far as it is used."""

    def __init__(self, *apis: int) -> None:
        self.apis = list(apis)
        self.clients: list[Client] = []
        self.ports = [b"Stage 88:MIDI 1", b"Rack:MIDI 1"]
        self.waiting: list[tuple[list[int], float]] = []
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
        return NAMES[api]

    @property
    def alive(self) -> list[Client]:
        """Clients that were not deleted."""
        return [client for client in self.clients if "delete" not in client.deeds]


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Library:
    """The library on a computer with CoreMIDI, JACK and Windows MM alike."""
    made = Library(1, 3, 4)
    monkeypatch.setattr(backends, "_library", lambda: made)
    monkeypatch.setattr(alsa, "DEVICE", "/nowhere")
    return made


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


def test_four_clients_are_ready_before_anything_is_opened(library: Library) -> None:
    """Two that look for ports, and a spare one of each kind, with long queues and nothing filtered."""
    system = choose_backend("coremidi", "pit")
    assert [client.name for client in library.clients] == ["pit"] * 4
    assert library.queues == [16_384, 16_384]
    assert [client.deeds for client in library.clients] == [["all types"], [], ["all types"], []]
    assert (system.untidy, system.loopback()) == (0, None)


def tidied(system: Backend, library: Library) -> list[int]:
    """How many clients there are after each thing that was tidied up, until nothing is left to do."""
    alive = []
    while system.untidy:
        system.tidy()
        alive.append(len(library.alive))
    return alive


def test_opening_takes_the_spare_client_and_tidying_makes_another(library: Library) -> None:
    """What is closed is deleted then, too, one thing at a time; nothing is made or freed before."""
    system = choose_backend("coremidi", "pit")
    keys, rack = system.open_input("Stage 88:MIDI 1", "keys"), system.open_output("Rack:MIDI 1", "rack")
    assert len(library.clients) == 4
    assert library.clients[2].deeds == ["all types", "open 0 keys"]
    assert library.clients[3].deeds == ["open 1 rack"]
    rack.send_message(b"\x90\x3c\x64")
    library.waiting.append(([0x90, 60, 100], 0.0))
    assert keys.get_message() == ([0x90, 60, 100], 0.0)
    rack.close()
    keys.close()
    assert library.clients[3].deeds == ["open 1 rack", "903c64", "close"]
    assert tidied(system, library) == [3, 2, 3, 4]
    system.close()
    system.close()
    assert library.alive == []


def test_spares_are_given_up_when_nobody_needs_them(library: Library) -> None:
    """Each costs the processor something, though it does nothing; later they are made again."""
    system = choose_backend("coremidi", "pit")
    system.keeps_ready = False
    assert tidied(system, library) == [3, 2]
    system.keeps_ready = True
    assert tidied(system, library) == [3, 4]
    system.close()
    assert library.alive == []


def test_more_ports_than_spares(library: Library) -> None:
    """Each gets a client of its own."""
    system = choose_backend("coremidi", "pit")
    for _ in range(3):
        system.open_input("Stage 88:MIDI 1", "keys")
    assert len(library.clients) == 6


def test_the_index_is_looked_up_when_a_port_is_opened(library: Library) -> None:
    """Names may have moved since they were listed; one that has gone is said so, and its client is not lost."""
    system = choose_backend("coremidi", "pit")
    library.ports.insert(0, b"pit:new")
    system.open_input("Stage 88:MIDI 1", "keys")
    assert library.clients[2].deeds[-1] == "open 1 keys"
    with pytest.raises(MachineError, match='"Organ" can\'t be opened: it has gone'):
        system.open_output("Organ", "organ")
    assert system.untidy == 3  # the two spares, and the client that found nothing


@pytest.mark.parametrize("times", [1, 3, 4])
def test_a_port_that_vanishes_while_names_are_read_costs_another_look(
    library: Library, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    """The library counts the ports before it asks for their names; where it never comes to an end, that is told."""
    system = choose_backend("coremidi", "pit")
    whole = Client.get_ports
    left = [True] * times

    def vanishing(client: Client, encoding: None) -> list[bytes]:
        if left:
            left.pop()
            raise OSError("error looking for port name!")
        return whole(client, encoding)

    monkeypatch.setattr(Client, "get_ports", vanishing)
    if times <= 3:
        assert system.input_names() == [name.decode() for name in library.ports]
    else:
        with pytest.raises(MachineError, match="can't be listed: the MIDI system says: error looking for port"):
            system.input_names()


def test_names_that_are_no_text_are_listed_all_the_same(library: Library) -> None:
    """Some devices have latin-1 names."""
    library.ports = [b"Stage \xe9"]
    assert choose_backend("jack", "pit").input_names() == ["Stage \ufffd"]


def test_virtual_ports_have_a_name_that_stays(library: Library) -> None:
    """Their client is called after them; ours are known by it, also where JACK has added a number."""
    system = choose_backend("jack", "pit")
    system.virtual_output("take")
    system.virtual_input("from daw")
    assert [(client.name, client.deeds[-1]) for client in library.clients[4:]] == [
        ("pit take", "virtual take"),
        ("pit from daw", "virtual from daw"),
    ]
    names = ["pit take:take", "pit-03:keys", "pit:x", "pit from daw-01:from daw", "pit 2:take", "pitch:x", "pit-3:x"]
    assert [system.is_ours(name) for name in names] == [True, True, True, True, False, False, False]


def test_windows_has_no_virtual_ports(library: Library) -> None:
    """A clear word instead of a crash."""
    system = choose_backend("winmm", "pit")
    assert not system.has_virtual
    with pytest.raises(MachineError, match="Windows MM has no virtual ports"):
        system.virtual_input("take")


def test_what_the_library_raises_becomes_words(library: Library) -> None:
    """With what we were about to do."""
    system = choose_backend("coremidi", "pit")
    library.is_dead = True
    system.open_input("Stage 88:MIDI 1", "keys")
    with pytest.raises(MachineError, match='"Rack:MIDI 1" can\'t be opened: the MIDI system says: server not running'):
        system.open_input("Rack:MIDI 1", "rack")


def test_without_a_name_the_first_system_that_is_there_is_used(
    library: Library, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """On Linux ALSA where its device exists, else JACK."""
    monkeypatch.setattr(sys, "platform", "linux")
    assert choose_backend(None, "pit").name == "JACK"
    library.apis = [2, 3]
    (tmp_path / "seq").touch()
    monkeypatch.setattr(alsa, "DEVICE", str(tmp_path / "seq"))
    assert choose_backend(None, "pit").name == "ALSA"
    assert choose_backend("jack", "pit").name == "JACK"


def test_where_no_system_is_there_all_reasons_are_told(library: Library) -> None:
    """And what would help."""
    library.is_dead = True
    with pytest.raises(MachineError) as caught:
        choose_backend("jack", "pit")
    assert "no MIDI system can be used here. JACK can't be used: the MIDI system says: server not running" in str(
        caught.value
    )
    assert "sudo modprobe snd-seq" in str(caught.value)
    with pytest.raises(MachineError, match="alsa: python-rtmidi was built without it"):
        choose_backend("alsa", "pit")


def test_without_python_rtmidi_it_is_said_what_to_install() -> None:
    """From the real command: exit code 2 and the packages, no traceback."""
    program = "import sys; sys.modules['rtmidi'] = None\nfrom router.cli import main\nsys.exit(main(['ports']))"
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "pointsman ports: live ports need the package python-rtmidi" in done.stderr
    assert "pip install 'pointsman[live]'" in done.stderr
    assert "apt-get install g++ pkg-config libasound2-dev libjack-jackd2-dev" in done.stderr


# -- JACK -------------------------------------------------------------------------------------------------------------


class Loop:
    """A JACK system whose server dies, and the child that asks for it."""

    def __init__(self, library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
        self.library = library
        self.system = choose_backend("jack", "pit")
        self.children: list[Child] = []
        self.kept: list[object] = []
        monkeypatch.setattr(jack, "_probe", self._probe)
        monkeypatch.setattr(jack, "_never_free", self.kept.append)

    def _probe(self, api: int) -> Any:
        self.children.append(Child())
        return self.children[-1]


@pytest.fixture
def loop(library: Library, monkeypatch: pytest.MonkeyPatch) -> Loop:
    """A JACK system with an open input and an open output."""
    loop = Loop(library, monkeypatch)
    loop.system.open_input("Stage 88:MIDI 1", "keys")
    loop.system.open_output("Rack:MIDI 1", "rack")
    return loop


def test_the_loopback_costs_no_client(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is on the two that look for ports."""
    system = choose_backend("jack", "pit")

    def made(client: Client, name: str) -> None:
        library.ports.append(b"pit-01:heartbeat")

    monkeypatch.setattr(Client, "open_virtual_port", made)
    assert system.loopback() is not None
    assert len(library.clients) == 4
    assert library.clients[0].deeds == ["all types", "open 2 heartbeat"]


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
    assert loop.system.input_names() == ["Stage 88:MIDI 1", "Rack:MIDI 1"]


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
    loop.system.open_input("Stage 88:MIDI 1", "pads")
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
        loop.system.open_input("Stage 88:MIDI 1", "keys")
    loop.system.revive()
    loop.children[0].code = 0
    assert not loop.system.revive()
    library.is_dead = False
    loop.system.revive()
    loop.children[1].code = 0
    assert loop.system.revive()


# -- ALSA -------------------------------------------------------------------------------------------------------------


def test_alsa_knows_its_own_clients_by_number(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    """Names are not enough: they may be equal. Inputs get a larger pool."""
    library.apis = [2]
    enlarged: list[int] = []
    fake = SimpleNamespace(
        new_client=alsa.new_client,
        own_number=lambda descriptor: descriptor,
        enlarge_input_pool=enlarged.append,
        client_number=alsa.client_number,
        pool_of=lambda descriptor, number: (200, 200) if number == 20 else None,
        PoolRoom=alsa.PoolRoom,
        is_connected=lambda descriptor, is_input: (descriptor, is_input) != (130, True),
        DEVICE="/nowhere",
    )

    def descriptors() -> set[int]:
        return set(range(128, 128 + len(library.clients)))

    monkeypatch.setattr(alsa, "_descriptors", descriptors)
    monkeypatch.setattr(backends, "alsa", fake)
    system = choose_backend("alsa", "pit")
    assert enlarged == [128, 130]
    names = ["pit:keys 129:0", "pit:keys 20:0", "Stage:MIDI 1 128:0", "pit:odd"]
    assert [system.is_ours(name) for name in names] == [True, False, True, True]
    rack = system.open_output("Rack:MIDI 1", "rack")
    assert rack.is_connected()
    assert isinstance(rack.limit, Rate)
    library.ports.append(b"Synth:MIDI 20:0")
    assert isinstance(system.open_output("Synth:MIDI 20:0", "synth").limit, alsa.PoolRoom)
    assert not system.open_input("Stage 88:MIDI 1", "keys").is_connected()
    assert system.sysex_limit == 5_572


@pytest.mark.parametrize(
    ("name", "number"), [("Stage 88:MIDI 1 20:0", 20), ("Stage 88:MIDI 1", None), ("a 1:2 128:12", 128)]
)
def test_the_number_of_a_client(name: str, number: int | None) -> None:
    """From the end of a port's name."""
    assert alsa.client_number(name) == number


class Kernel:
    """A pool of 200 that is read now and then."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.waiting = 0
        self.lost = 0
        monkeypatch.setattr(alsa, "pool_of", lambda descriptor, number: (200, 200 - self.waiting))

    def take(self, message: bytes) -> None:
        """What is sent; too much is lost with all that waits."""
        self.waiting += 1 if len(message) <= 3 else 1 - (-len(message) // 28)
        if self.waiting > 200:
            self.lost += self.waiting
            self.waiting = 0


def test_another_program_gets_no_more_than_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked of the kernel; the longest sysex goes when nothing else waits there, and nothing is ever lost."""
    kernel = Kernel(monkeypatch)
    pacer = Pacer(alsa.PoolRoom(5, 128))
    sysex = b"\xf0" + bytes(5_570) + b"\xf7"
    for message in [b"\x90\x3c\x64"] * 500 + [sysex] * 3 + [b"\x80\x3c\x40"] * 10:
        pacer.wait(message)
    now, sent = 0, 0
    while pacer:
        while (taken := pacer.take(now)) is not None:
            kernel.take(taken)
            sent += 1
        assert not pacer or now < pacer.next_time(now) <= now + 500_000
        kernel.waiting = max(0, kernel.waiting - 30)
        now += 500_000
    assert (sent, kernel.lost) == (513, 0)
    kernel.waiting = 0
    assert pacer.allow(64, now) == 64
    kernel.waiting = 170
    assert pacer.allow(64, now) == 20
