"""Devices with a wire, as ALSA shows them to programs: sysex in pieces, clock within it, running status."""

from __future__ import annotations

from collections.abc import Callable

from tests.alsa.kernel import cable, client_number
from tests.live.peer import Peer
from tests.live.server import until
from tests.live.thru import Thru

MakePeer = Callable[..., Peer]
MakeThru = Callable[..., Thru]

NOTE = b"\x90\x3c\x64"
KEYS = "Virtual Raw MIDI*VirMIDI*-0"
MODULE = "Virtual Raw MIDI*VirMIDI*-1"


def test_a_device_sends_as_on_a_wire(peer: MakePeer, thru: MakeThru) -> None:
    """Running status is spelled out, and a clock within a sysex comes first, the sysex whole behind it."""
    rack = peer("Rack", "in")
    thru(f"in:keys={KEYS}", "out:rack=Rack*")
    whole = b"\xf0" + bytes(at % 128 for at in range(4_998)) + b"\xf7"
    with cable(0) as wire:
        wire.write(NOTE + b"\x3e\x64")
        rack.hears([NOTE, b"\x90\x3e\x64"])
        wire.write(whole[:3_000] + b"\xf8" + whole[3_000:] + NOTE)
        rack.hears([NOTE, b"\x90\x3e\x64", b"\xf8", whole, NOTE])


def test_a_device_may_send_sysex_of_any_length(peer: MakePeer, thru: MakeThru) -> None:
    """A hundred thousand bytes arrive whole, also at a program behind us."""
    rack = peer("Rack", "in")
    thru(f"in:keys={KEYS}", "out:rack=Rack*")
    whole = b"\xf0" + bytes(99_998) + b"\xf7"
    with cable(0) as wire:
        wire.write(whole + NOTE)
        rack.hears([whole, NOTE])


def test_a_device_gets_what_is_sent(thru: MakeThru) -> None:
    """Byte by byte as on a wire, with running status and in order: notes, and a sysex whole."""
    router = thru(f"out:module={MODULE}")
    with cable(1) as wire:
        router.tell("flood 300", "sysex 3000", "flood 1")
        notes = b"\x90" + b"".join(bytes((at >> 7 & 127, at & 127)) for at in range(300))
        expected = notes + b"\xf0" + bytes(2_998) + b"\xf7" + notes[:3]
        until(lambda: len(wire.read()) >= len(expected), "all that was sent")
        assert wire.read() == expected


def test_a_program_that_comes_back_under_another_number(peer: MakePeer, thru: MakeThru) -> None:
    """Numbers in names don't count: it is lost and found again in both directions."""
    names = ("Pit Keyboard", "Rack")
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Keyboard:port", "out:rack=Rack:port")
    before = [client_number(name) for name in names]
    stage.kill()
    rack.kill()
    peer("Squatter", "in"), peer("Squatter", "out")
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    assert [client_number(name) for name in names] != before
    router.hears_of('found: input "keys": Pit Keyboard:port', 2)
    router.hears_of('found: output "rack": Rack:port', 2)
    assert (router.count('lost: input "keys"'), router.count('lost: output "rack"')) == (1, 1)
    stage.play(NOTE)
    rack.hears([NOTE])
