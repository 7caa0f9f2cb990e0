"""The ALSA sequencer by way of python-rtmidi, with a library and a kernel in memory."""

from __future__ import annotations

import pytest

from router.midi.alsa import kernel_calls
from router.midi.alsa.peers_room import PeersRoom
from router.midi.backend_choice import choose_backend
from rules.ports.pacing import Rate
from tests.support.fake_rtmidi import Library


def test_alsa_knows_its_own_clients_by_number(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    """Names are not enough: they may be equal. Inputs get a larger pool."""
    library.apis = [2]
    enlarged: list[int] = []
    kernel = {
        "own_number": lambda descriptor: descriptor,
        "enlarge_input_pool": enlarged.append,
        "pool_of": lambda descriptor, number: (200, 200) if number == 20 else None,
        "is_connected": lambda descriptor, is_input: (descriptor, is_input) != (130, True),
    }
    for name, answer in kernel.items():
        monkeypatch.setattr(kernel_calls, name, answer)

    def descriptors() -> set[int]:
        return set(range(128, 128 + len(library.clients)))

    monkeypatch.setattr(kernel_calls, "_descriptors", descriptors)
    system = choose_backend("alsa", "pit")
    assert enlarged == [128, 130]
    names = ["pit:keys 129:0", "pit:keys 20:0", "Pit Keyboard:MIDI 1 128:0", "pit:odd"]
    assert [system.is_ours(name) for name in names] == [True, False, True, True]
    rack = system.open_output("Rack:MIDI 1", "rack")
    assert rack.is_connected()
    assert isinstance(rack.limit, Rate)
    library.ports.append(b"Synth:MIDI 20:0")
    assert isinstance(system.open_output("Synth:MIDI 20:0", "synth").limit, PeersRoom)
    assert not system.open_input("Pit Keyboard:MIDI 1", "keys").is_connected()
    assert system.sysex_limit == 5_572
