"""Ports on the ALSA sequencer: numbers in names, sysex in pieces, small buffers, devices that are unplugged."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.alsa.kernel import unplugged
from tests.live.peer import EVERY_KIND, NOTE, OFF, Peer
from tests.live.server import until
from tests.live.thru import Thru

MakePeer = Callable[..., Peer]
MakeThru = Callable[..., Thru]


def test_what_is_played_arrives(peer: MakePeer, thru: MakeThru) -> None:
    """Every kind of message, clock, active sensing and sysex among them, whole and in order."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=pit key*", "out:rack=Rack:port")
    stage.play(*EVERY_KIND)
    rack.hears(EVERY_KIND)
    state = router.state()
    assert (state["in", "keys"]["computer_port"], state["in", "keys"]["messages"]) == ("Pit Keyboard:port", 9)


def test_ports_that_go_and_come_back(peer: MakePeer, thru: MakeThru) -> None:
    """Both sides, under the numbers that they had, and faster than we look: said each time, and the music goes on."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    for times in (1, 2, 3):
        stage.play(NOTE)
        rack.hears([NOTE])
        stage.kill()
        rack.kill()
        stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
        router.hears_of('lost: input "keys"', times)
        router.hears_of('lost: output "rack"', times)
        router.hears_of('found: input "keys"', times + 1)
        router.hears_of('found: output "rack"', times + 1)
    stage.play(OFF)
    rack.hears([OFF])


def test_a_device_that_is_unplugged_and_plugged_in_again(thru: MakeThru) -> None:
    """A device of the kernel's has the same name and number afterwards; both directions are opened again.

    However short it was away.
    """
    router = thru("in:keys=Virtual Raw MIDI*VirMIDI*-0", "out:rack=Virtual Raw MIDI*VirMIDI*-0")
    for times in range(1, 21):
        with unplugged():
            pass
        router.hears_of('lost: input "keys"', times)
        router.hears_of('lost: output "rack"', times)
        router.hears_of('found: input "keys"', times + 1)
        router.hears_of('found: output "rack"', times + 1)


def test_two_equal_devices_are_told_apart(peer: MakePeer, thru: MakeThru) -> None:
    """Their names differ in numbers only, which don't count; #2 takes the second."""
    first, second = peer("Rack", "in"), peer("Rack", "in")
    router = thru("out:one=Rack*", "out:two=Rack #2")
    router.hears_of('ambiguous: output "one": "Rack*" means Rack:port or Rack:port')
    router.tell("flood 1")
    second.hears([b"\x90\x00\x00"])
    assert first.heard == []


def test_virtual_ports_and_no_connection_to_ourselves(thru: MakeThru) -> None:
    """Another router finds them by a name that stays; a pattern for everything doesn't mean our own."""
    first = thru("in:into=!into", "out:out=!out")
    second = thru("in:keys=*out", "out:rack=*into", "out:all=pointsman*")
    second.hears_of("pointsman:out")
    second.hears_of("pointsman:into")
    assert first.count("found") == 2


def test_bursts_wait_for_us_while_we_are_busy(peer: MakePeer, thru: MakeThru) -> None:
    """Our pool holds two thousand: of a burst of 1,800 nothing is lost, though we read none of it for a while."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    notes = [bytes((0x90, at >> 7, at & 127)) for at in range(1_800)]
    for times in (1, 2, 3):
        router.tell("busy 5")
        stage.play(0.5, *notes)
        rack.hears(notes * times)


def test_a_flood_is_paced_for_small_buffers(peer: MakePeer, thru: MakeThru) -> None:
    """A receiver whose pool holds 200 gets 5,000 notes in order, and loses none."""
    rack = peer("Rack", "in")
    router = thru("out:rack=Rack*")
    router.tell("flood 5000")
    rack.hears(bytes((0x90, at >> 7 & 127, at & 127)) for at in range(5_000))
    assert router.state()["out", "rack"]["lost"] == 0


@pytest.mark.parametrize("length", [1_000, 5_572, 20_000, 100_000])
def test_a_sysex_of_any_length_arrives_whole(peer: MakePeer, thru: MakeThru, length: int) -> None:
    """At a program whose pool holds 200 records, with notes before and after it."""
    rack = peer("Rack", "in")
    router = thru("out:rack=Rack*")
    for _ in range(3):
        router.tell("flood 2", f"sysex {length}", "flood 1")
    whole = b"\xf0" + bytes(length - 2) + b"\xf7"
    rack.hears([b"\x90\x00\x00", b"\x90\x00\x01", whole, b"\x90\x00\x00"] * 3)


def test_a_long_sysex_of_another_program_passes_through(peer: MakePeer, thru: MakeThru) -> None:
    """A hundred thousand bytes, which it sends in pieces as we do, and a sysex that fills most of our pool at once."""
    rack = peer("Rack", "in")
    sender = thru("out:dump=!dump")
    thru("in:keys=pointsman:dump", "out:rack=Rack*")
    sender.tell("sysex 100000", "flood 1")
    rack.hears([b"\xf0" + bytes(99_998) + b"\xf7", b"\x90\x00\x00"])
    stage = peer("Pit Keyboard", "out")
    thru("in:keys=Pit Key*", "out:rack=Rack*")
    stage.play(b"\xf0" + bytes(16_000) + b"\xf7", NOTE)
    until(lambda: rack.heard[-1:] == [NOTE], "the note behind it")
    assert len(rack.heard[-2]) == 16_002


def test_leaving_sends_what_waits(peer: MakePeer, thru: MakeThru) -> None:
    """Nothing of it is lost when the client goes."""
    rack = peer("Rack", "in")
    router = thru("out:rack=Rack*")
    router.tell("flood 1000", "stop")
    router.hears_of("closed")
    until(lambda: len(rack.lines) == 1_000, "all that was sent")
