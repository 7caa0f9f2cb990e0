"""`pointsman run` on the ALSA sequencer, which it takes of itself: nothing is left sounding, and losses are told."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterable

from tests.alsa.kernel import cable, client_number, unplugged
from tests.live.daemon import Daemon
from tests.live.peer import Peer
from tests.live.server import until

MakeDaemon = Callable[..., Daemon]
MakePeer = Callable[..., Peer]

RULES = """
[ports]
keys = { input = "Pit Key*" }
rack = { output = "Rack*" }
[[rules]]
from = "keys"
steps = [{ transpose = 12 }]
to = "rack"
"""
DEVICES = """
[ports]
keys = { input = "VirMIDI*-0" }
module = { output = "VirMIDI*-1" }
rack = { output = "Rack*" }
[[rules]]
from = "keys"
to = ["module", "rack"]
"""


def notes(rack: Peer) -> list[str]:
    """The note-ons and note-offs that have arrived, in hex."""
    return [message.hex() for message in rack.heard if message[0] & 0xE0 == 0x80]


def plays(rack: Peer, expected: Iterable[str]) -> None:
    """Wait until these notes, and no others, have arrived."""
    wanted = list(expected)
    until(lambda: len(notes(rack)) >= len(wanted), f"{wanted}; there are {notes(rack)}")
    assert notes(rack) == wanted


def test_an_evening(daemon: MakeDaemon, peer: MakePeer) -> None:
    """New rules while a note sounds, a keyboard that is unplugged, panic, the end: each note is ended, and once."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = daemon(RULES)
    router.has_opened("keys", "rack")
    stage.play(b"\x90\x3c\x64")
    plays(rack, heard := ["904864"])

    router.reload(RULES.replace("12", "-1"))
    stage.play(b"\x90\x40\x64", b"\x80\x3c\x40")
    plays(rack, heard := [*heard, "903f64", "804840"])

    stage.tell("unplug")
    plays(rack, heard := [*heard, "803f40"])
    stage.tell("plug")
    router.has_opened("keys")
    stage.play(b"\x90\x41\x64")
    plays(rack, heard := [*heard, "904064"])

    router.ask("panic", every_key=False)
    plays(rack, heard := [*heard, "804040"])
    stage.play(b"\x90\x43\x64")
    plays(rack, heard := [*heard, "904264"])
    assert router.leave() == 0
    plays(rack, [*heard, "804240"])


def test_a_keyboard_whose_plug_is_pulled(daemon: MakeDaemon, peer: MakePeer) -> None:
    """What it held is ended; keyboard and module play again when they are back, under the names they had."""
    rack = peer("Rack", "in")
    router = daemon(DEVICES)
    router.has_opened("keys", "module", "rack")
    with cable(0) as keyboard:
        keyboard.write(b"\x90\x3c\x64")
        plays(rack, ["903c64"])
    with unplugged():
        plays(rack, ["903c64", "803c40"])
        until(lambda: router.port("module")["state"] == "missing", "the module is missed")
    router.has_opened("keys", "module")
    with cable(0) as keyboard, cable(1) as module:
        keyboard.write(b"\x90\x3e\x64")
        until(lambda: b"\x90\x3e\x64" in module.read(), f"the note at the module; there is {module.read()!r}")
        plays(rack, ["903c64", "803c40", "903e64"])
        assert router.leave() == 0
        until(lambda: b"\x80\x3e\x40" in module.read(), "its end at the module")


def test_what_comes_too_fast_for_us_is_told(daemon: MakeDaemon, peer: MakePeer) -> None:
    """Six thousand messages while we are stopped are more than ALSA keeps: we say so, and end what was held."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    router = daemon(RULES)
    router.has_opened("keys", "rack")
    stage.tell("903e64")
    plays(rack, ["904a64"])
    router.signal(signal.SIGSTOP)
    stage.tell(*["903c64", "803c40"] * 3_000, "sleep 1")
    stage.tell("unplug")
    until(lambda: client_number("Pit Keyboard") is None, "all is sent")
    router.signal(signal.SIGCONT)
    router.hears_of("more came in at once than ALSA keeps")
    until(lambda: router.port("keys")["state"] == "missing", "the keyboard is missed")
    assert notes(rack)[1:] == ["804a40"]
    assert router.leave() == 0
