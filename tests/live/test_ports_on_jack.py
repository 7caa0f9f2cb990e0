"""Ports on a real JACK server: found, lost, found again; full buffers, endless sysex, a server that dies or hangs."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

import pytest

from tests.live.peer import EVERY_KIND, NOTE, OFF, Peer
from tests.live.server import JackServer, until
from tests.live.thru import Thru

MakePeer = Callable[..., Peer]
MakeThru = Callable[..., Thru]


def test_what_is_played_arrives(peer: MakePeer, thru: MakeThru) -> None:
    """Every kind of message, clock, active sensing and sysex among them, whole and in order."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=pit key*", "out:rack=Rack*")
    stage.play(*EVERY_KIND)
    rack.hears(EVERY_KIND)
    state = router.state()
    assert (state["in", "keys"]["computer_port"], state["in", "keys"]["messages"]) == ("Pit Keyboard:port", 9)
    assert (state["out", "rack"]["computer_port"], state["out", "rack"]["lost"]) == ("Rack:port", 0)


def test_other_programs_find_our_virtual_ports(jack: JackServer, thru: MakeThru) -> None:
    """One router connects to the other one's port, by a name that stays; nobody connects to itself."""
    first = thru("in:into=!into", "out:out=!out")
    second = Thru(jack.environment, "in:keys=*out", "out:rack=*into")
    try:
        second.hears_of("pointsman out:out")
        second.hears_of("pointsman into:into")
    finally:
        second.kill()
    assert first.count("found") == 2


def names_of_ports(jack: JackServer) -> set[str]:
    """All ports of the server that send or receive."""
    program = (
        "import rtmidi as r; jack = r.API_UNIX_JACK; "
        "print(*r.MidiIn(jack).get_ports(), *r.MidiOut(jack).get_ports(), sep='\\n')"
    )
    asked = subprocess.run([sys.executable, "-c", program], env=jack.environment, capture_output=True, check=True)
    return set(asked.stdout.decode().splitlines())


def test_names_of_our_ports_stay_the_same_over_restarts(jack: JackServer, peer: MakePeer) -> None:
    """They are called after the ports of the rules, whatever else was opened first."""
    peer("Pit Keyboard", "out")
    peer("Rack", "in")
    ours = {"pointsman keys:keys", "pointsman rack:rack"}
    for wanted in (["in:keys=Pit key*", "out:rack=Rack*"], ["out:rack=Rack*", "in:keys=Pit key*"]):
        router = Thru(jack.environment, *wanted)
        try:
            router.hears_of("found: input")
            router.hears_of("found: output")
            assert ours <= names_of_ports(jack)
        finally:
            router.tell("stop")
            router.hears_of("closed")
            router.kill()


def test_a_port_that_is_missing_is_waited_for(peer: MakePeer, thru: MakeThru) -> None:
    """It is opened when it appears."""
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    router.hears_of('waiting: input "keys": the computer has no port named "Pit Key*"; waiting for it')
    rack = peer("Rack", "in")
    router.hears_of('found: output "rack"')
    stage = peer("Pit Keyboard", "out")
    router.hears_of('found: input "keys"')
    stage.play(NOTE)
    rack.hears([NOTE])


def test_ports_that_go_and_come_back(peer: MakePeer, thru: MakeThru) -> None:
    """Both sides, several times: said each time, and the music goes on."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    for times in (1, 2, 3):
        stage.play(NOTE)
        rack.hears([NOTE])
        stage.kill()
        rack.kill()
        router.hears_of('lost: input "keys": Pit Keyboard:port has gone', times)
        router.hears_of('lost: output "rack": Rack:port has gone', times)
        stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
        router.hears_of('found: input "keys"', times + 1)
        router.hears_of('found: output "rack"', times + 1)
    stage.play(OFF)
    rack.hears([OFF])


def test_two_equal_devices_are_told_apart(peer: MakePeer, thru: MakeThru) -> None:
    """The candidates are listed; JACK's number or ours chooses one."""
    racks = [peer("Rack", "in"), peer("Rack", "in")]
    router = thru("out:one=Rack*", "out:two=Rack*#2")
    router.hears_of('ambiguous: output "one": "Rack*" means Rack:port or Rack-01:port')
    router.hears_of('found: output "two": Rack-01:port')
    router.tell("flood 1")
    racks[1].hears([b"\x90\x00\x00"])
    assert racks[0].heard == []


@pytest.mark.parametrize("wire", ["", "@din"])
def test_a_flood_arrives_whole(peer: MakePeer, thru: MakeThru, wire: str) -> None:
    """Far more than the server's buffers hold, in order; a DIN wire gets it at its pace."""
    rack = peer("Rack", "in")
    router = thru(f"out:rack=Rack*{wire}")
    count = 300 if wire else 20_000 // 3
    router.tell(f"flood {count}")
    rack.hears(bytes((0x90, at >> 7 & 127, at & 127)) for at in range(count))
    assert router.state()["out", "rack"]["lost"] == 0


def test_sysex_up_to_the_limit_arrives_whole(peer: MakePeer, thru: MakeThru) -> None:
    """16,379 bytes do; one more is refused in words and counted, and harms nothing else."""
    rack = peer("Rack", "in")
    stage = peer("Pit Keyboard", "out")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    whole = b"\xf0" + bytes(at % 128 for at in range(16_377)) + b"\xf7"
    stage.play(whole, 0.02, whole, NOTE)
    rack.hears([whole, whole, NOTE])
    maker = peer("Maker", "in")
    big = thru("out:maker=Maker*", "in:void=Void*")
    big.tell("sysex 16380", "sysex 16379")
    until(lambda: len(maker.lines) == 1, "the sysex that fits")
    assert len(maker.heard[0]) == 16_379
    big.hears_of('dropping: output "maker": 1 sysex refused, of up to 16,380 bytes; JACK carries 16,379')
    assert router.state()["out", "rack"]["refused"] == 0


def test_a_sysex_without_an_end_can_be_cured(peer: MakePeer, thru: MakeThru) -> None:
    """It swallows what follows, until the input is opened anew; a sound input is not harmed by that."""
    stage, pads, rack = peer("Pit Keyboard", "out"), peer("Pads", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Key*", "in:pads=Pads*", "out:rack=Rack*")
    stage.play(NOTE)
    pads.play(OFF)
    until(lambda: len(rack.lines) == 2, "both play")
    stage.play(b"\xf0\x7d\x01", 0.1, NOTE)
    until(lambda: router.state()["in", "keys"]["messages"] == 1, "silence")
    for _ in range(40):
        router.tell("cure")
        stage.play(NOTE, 0.1)
        if len(rack.lines) > 2:
            break
        until(lambda: True)
    until(lambda: len(rack.lines) > 2, "the keyboard is heard again")
    pads.play(OFF)
    until(lambda: rack.heard[-1] == OFF, "the pads are still heard")


def test_a_server_that_dies_and_returns(jack: JackServer, peer: MakePeer, thru: MakeThru) -> None:
    """Nothing freezes, however much is sent meanwhile; when it is back, everything is opened anew."""
    peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*", "out:take=!take")
    for times in (1, 2):
        jack.kill()
        router.tell("flood 5000")
        router.hears_of("server lost: JACK doesn't answer any more", times)
        assert router.state()["out", "rack"]["state"] == "server lost"
        assert router.state()["out", "rack"]["lost"] > 0
        jack.start()
        router.hears_of("server back: JACK is back", times)
        router.hears_of('found: output "take"', times + 1)
        stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
        router.hears_of('found: input "keys"', times + 1)
        router.hears_of('found: output "rack"', times + 1)
        stage.play(NOTE)
        rack.hears([NOTE])


def test_a_server_that_returns_before_anybody_notices(jack: JackServer, peer: MakePeer, thru: MakeThru) -> None:
    """The names look as before, and yet everything has to be opened anew."""
    peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    jack.kill()
    jack.start()
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router.hears_of("server back")
    router.hears_of('found: input "keys"', 2)
    router.hears_of('found: output "rack"', 2)
    stage.play(NOTE)
    rack.hears([NOTE])


def test_a_server_that_hangs_and_goes_on(jack: JackServer, peer: MakePeer, thru: MakeThru) -> None:
    """Whoever asks it would hang as well: nobody does, and when it goes on, so do we."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    jack.hang()
    router.tell("flood 5000")
    router.hears_of("server lost")
    assert router.state()["in", "keys"]["state"] == "server lost"
    jack.go_on()
    router.hears_of("server back")
    router.hears_of('found: input "keys"', 2)
    router.hears_of('found: output "rack"', 2)
    before = len(rack.lines)
    stage.play(NOTE)
    until(lambda: len(rack.lines) > before, "the note")
    assert rack.heard[-1] == NOTE


@pytest.mark.parametrize("trouble", ["none", "dead", "hanging"])
def test_leaving_ends_at_once(jack: JackServer, peer: MakePeer, thru: MakeThru, trouble: str) -> None:
    """What was sent last still arrives; a dead or hanging server is no reason to stay."""
    rack = peer("Rack", "in")
    router = thru("out:rack=Rack*")
    if trouble == "dead":
        jack.kill()
    elif trouble == "hanging":
        jack.hang()
    if trouble != "none":
        router.hears_of("server lost")
    router.tell("flood 3000", "stop")
    router.hears_of("closed")
    until(lambda: router.code == 0, "the end")
    if trouble == "none":
        until(lambda: len(rack.lines) == 3_000, "all that was sent")


def test_a_reload_touches_no_port_that_stays(peer: MakePeer, thru: MakeThru) -> None:
    """New ports are opened, old ones closed; a port under another pattern that means the same stays as well."""
    stage, rack, other = peer("Pit Keyboard", "out"), peer("Rack", "in"), peer("Other", "in")
    router = thru("in:keys=Pit Key*", "out:rack=Rack*")
    router.tell("want in:keys=*board:* out:rack=Rack* out:other=Other*")
    router.hears_of('found: output "other"')
    stage.play(NOTE)
    rack.hears([NOTE])
    other.hears([NOTE])
    assert router.state()["in", "keys"]["messages"] == 1
    router.tell("want in:keys=*board:* out:other=Other*")
    router.hears_of('lost: output "rack": no longer wanted')
    stage.play(OFF)
    other.hears([NOTE, OFF])
    assert rack.heard == [NOTE]
    router.tell("want in:keys=*board:* out:other=Rack*")
    router.hears_of('found: output "other": Rack:port')
    stage.play(NOTE)
    until(lambda: rack.heard == [NOTE, NOTE], "the note at the new place")
    until(lambda: b"\xb0\x7b\x00" in other.heard and b"\xbf\x78\x00" in other.heard, "silence at the old place")
