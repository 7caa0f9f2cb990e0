"""The ALSA sequencer as one client of ours, on a sequencer in memory."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast

import pytest

from router.midi.alsa.records import unpacked
from router.midi.alsa.sequencer import Sequencer
from router.midi.alsa.sequencer_backend import SequencerBackend
from router.midi.port_manager import PortManager
from rules.errors import MachineError
from rules.ports.patterns import Wanted
from tests.support.fake_sequencer import OURS, FakeSequencer

KEYS, RACK = (20, 0), (24, 0)
NOTE, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"


class System(SequencerBackend):
    """The backend, and the sequencer that it is on."""

    def __init__(self) -> None:
        self.kernel = FakeSequencer()
        super().__init__("pointsman", lambda name: cast(Sequencer, self.kernel))


@pytest.fixture
def system() -> Iterator[System]:
    """A sequencer with a keyboard and a rack."""
    made = System()
    made.kernel.plug("Pit Keyboard:MIDI 1", KEYS, "in")
    made.kernel.plug("Rack:MIDI 1", RACK, "out")
    yield made
    made.close()
    assert made.kernel.closed


def test_names_are_read_again_only_after_something_was_announced(system: System) -> None:
    """Nobody has to look four times a second."""
    system.receive()
    for _ in range(3):
        assert system.input_names() == ["Pit Keyboard:MIDI 1 20:0"]
        assert system.output_names() == ["Rack:MIDI 1 24:0"]
    assert system.kernel.listed == 1
    system.ports_changed = False
    system.kernel.plug("Pads:MIDI 1", (28, 0))
    assert system.receive()
    assert system.ports_changed
    assert system.input_names() == ["Pit Keyboard:MIDI 1 20:0", "Pads:MIDI 1 28:0"]
    assert system.kernel.listed == 2


def test_what_is_played_arrives_and_what_is_sent_goes_out(system: System) -> None:
    """From the ports of ours that are connected."""
    keys = system.open_input("Pit Keyboard:MIDI 1 20:0", "keys")
    rack = system.open_output("Rack:MIDI 1 24:0", "rack")
    assert keys.get_message() is None
    system.kernel.play(KEYS, NOTE, OFF)
    assert system.receive()
    assert [received[0] for _ in range(2) if (received := keys.get_message())] == [NOTE, OFF]
    rack.send_message(list(NOTE))
    (sent,) = unpacked(system.kernel.sent())
    assert cast(Any, sent).messages == (NOTE,)


def test_a_connection_that_was_cut_is_noticed_though_the_name_is_back(system: System) -> None:
    """A device that is unplugged and plugged in again has the number that it had."""
    keys = system.open_input("Pit Keyboard:MIDI 1 20:0", "keys")
    system.receive()
    assert keys.is_connected()
    system.kernel.unplug(KEYS)
    system.kernel.plug("Pit Keyboard:MIDI 1", KEYS, "in")
    system.receive()
    assert system.input_names() == ["Pit Keyboard:MIDI 1 20:0"]
    assert not keys.is_connected()


def test_a_plug_that_is_pulled_for_a_moment_is_lost_and_found(system: System) -> None:
    """At the next look, each time: the session ends what sounds, and sends what devices want first."""
    ports = PortManager(system)
    ports.want([Wanted("keys", "in", "Pit*"), Wanted("rack", "out", "Rack*")], 0)
    for times in range(1, 4):
        system.kernel.unplug(KEYS)
        system.kernel.plug("Pit Keyboard:MIDI 1", KEYS, "in")
        system.receive()
        assert [event.kind for event in ports.scan(times)] == ["lost", "found"]
        system.kernel.play(KEYS, NOTE)
        system.receive()
        assert ports.inputs[0].get_message() == (NOTE, 0.0)


def test_our_own_ports_are_known_by_the_number_of_our_client(system: System) -> None:
    """Names may be equal."""
    names = [f"pointsman:keys {OURS}:1", "pointsman:keys 130:1", "pointsman:keys"]
    assert [system.is_ours(name) for name in names] == [True, False, False]


def test_virtual_ports_stay_whoever_is_connected(system: System) -> None:
    """Nothing is lost when nobody listens."""
    made, heard = system.virtual_output("out"), system.virtual_input("in")
    assert made.is_connected()
    assert heard.is_connected()
    assert made.limit is not None
    assert made.limit.room(0) > 100


def test_an_output_is_limited_by_the_pool_of_who_listens(system: System) -> None:
    """Devices have none."""
    rack = system.open_output("Rack:MIDI 1 24:0", "rack")
    assert rack.limit is not None
    assert rack.limit.room(0) == 100
    system.kernel.pools[RACK[0]] = (200, 150)
    assert rack.limit.room(0) == 140
    system.kernel.pools[RACK[0]] = (200, 0)
    assert rack.limit.room(0) == 0


def test_a_port_that_has_gone_or_refuses_is_told_in_words(system: System) -> None:
    """Another device may have its address by now; and nothing of ours is left behind."""
    with pytest.raises(MachineError, match="it has gone"):
        system.open_input("Pit Keyboard:MIDI 2 20:0", "keys")
    name = system.kernel.plug("Private:MIDI 1", (30, 99))
    with pytest.raises(MachineError, match="Operation not permitted"):
        system.open_output(name, "rack")
    assert not any(system.is_ours(port) for port, _, _ in system.kernel.ports())


def test_a_port_that_is_closed_is_gone(system: System) -> None:
    """At once: nothing is left to tidy."""
    keys = system.open_input("Pit Keyboard:MIDI 1 20:0", "keys")
    keys.close()
    assert not any(system.is_ours(port) for port, _, _ in system.kernel.ports())
    system.tidy()
    system.lose()
    assert (system.untidy, system.revive(), system.is_lost) == (0, True, False)
