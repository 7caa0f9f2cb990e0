"""What all MIDI systems have in common, with a library in memory in place of python-rtmidi."""

from __future__ import annotations

import pytest

from router.midi.backend_choice import choose_backend
from rules.errors import MachineError
from tests.support.fake_rtmidi import Client, Library, tidied


def test_four_clients_are_ready_before_anything_is_opened(library: Library) -> None:
    """Two that look for ports, and a spare one of each kind, with long queues and nothing filtered."""
    system = choose_backend("coremidi", "pit")
    assert [client.name for client in library.clients] == ["pit"] * 4
    assert library.queues == [16_384, 16_384]
    assert [client.deeds for client in library.clients] == [["all types"], [], ["all types"], []]
    assert (system.untidy, system.loopback()) == (0, None)


def test_opening_takes_the_spare_client_and_tidying_makes_another(library: Library) -> None:
    """What is closed is deleted then, too, one thing at a time; nothing is made or freed before."""
    system = choose_backend("coremidi", "pit")
    keys, rack = system.open_input("Pit Keyboard:MIDI 1", "keys"), system.open_output("Rack:MIDI 1", "rack")
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


def test_a_named_port_has_a_client_that_is_called_after_it(library: Library) -> None:
    """So it is the same for other programs each time; the spares stay ready for ports that return."""
    system = choose_backend("jack", "pit")
    ready = len(library.clients)
    system.open_input("Pit Keyboard:MIDI 1", "keys", named=True)
    system.open_output("Rack:MIDI 1", "rack", named=True)
    assert [client.name for client in library.clients[ready:]] == ["pit keys", "pit rack"]
    assert system.untidy == 0
    assert [system.is_ours(name) for name in ("pit keys:keys", "pit rack-01:rack", "pit pads:pads")] == [
        True,
        True,
        False,
    ]


def test_a_name_that_jack_would_refuse_is_not_used(library: Library) -> None:
    """A client's name has 60 bytes at most; the port plays on under the usual one."""
    system = choose_backend("jack", "pit")
    ready = len(library.clients)
    system.open_input("Pit Keyboard:MIDI 1", "k" * 56, named=True)
    system.open_input("Pit Keyboard:MIDI 1", "k" * 57, named=True)
    assert [client.name for client in library.clients[ready:]] == ["pit " + "k" * 56]


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
        system.open_input("Pit Keyboard:MIDI 1", "keys")
    assert len(library.clients) == 6


def test_the_index_is_looked_up_when_a_port_is_opened(library: Library) -> None:
    """Names may have moved since they were listed; one that has gone is said so, and its client is not lost."""
    system = choose_backend("coremidi", "pit")
    library.ports.insert(0, b"pit:new")
    system.open_input("Pit Keyboard:MIDI 1", "keys")
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
    library.ports = [b"Pit \xe9"]
    assert choose_backend("jack", "pit").input_names() == ["Pit \ufffd"]


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
    system.open_input("Pit Keyboard:MIDI 1", "keys")
    with pytest.raises(MachineError, match='"Rack:MIDI 1" can\'t be opened: the MIDI system says: server not running'):
        system.open_input("Rack:MIDI 1", "rack")
