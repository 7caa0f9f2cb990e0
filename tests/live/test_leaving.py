"""How the daemon leaves: whatever tells it to, nothing is left sounding."""

from __future__ import annotations

import os
import pty
import signal
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.live.daemon import Daemon
from tests.live.peer import Peer
from tests.live.server import JackServer, until

MakeDaemon = Callable[..., Daemon]
MakePeer = Callable[..., Peer]

ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
PEDAL, PEDAL_UP = b"\xb0\x40\x7f", b"\xb0\x40\x00"
RULES = """
[ports]
keys = { input = "Pit Key*" }
rack = { output = "Rack*" }
[[rules]]
from = "keys"
to = "rack"
[[rules]]
from = "keys"
match = { kind = "note" }
steps = [{ delay = 30000 }, { rechannel = 2 }]
to = "rack"
"""
SLOW = RULES.replace('"Rack*"', '"Rack*", connection = "din"')


def holding(daemon: Daemon, peer: MakePeer) -> tuple[Peer, Peer]:
    """A note and a pedal are held, a copy of the note is still to come."""
    stage, rack = peer("Pit Keyboard", "out"), peer("Rack", "in")
    daemon.hears_of('input "keys": Pit Keyboard')
    daemon.hears_of('output "rack": Rack')
    until(lambda: len(rack.lines) >= 16, "a device that comes late is silenced")
    rack.lines.clear()
    until(lambda: not rack.lines, "silence")
    stage.play(ON, PEDAL)
    until(lambda: rack.heard[-2:] == [ON, PEDAL], "note and pedal")
    rack.lines.clear()
    return stage, rack


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_what_sounds(daemon: MakeDaemon, peer: MakePeer, number: signal.Signals) -> None:
    """The note and the pedal; the note that was still to come never does; and the exit code says that all is well."""
    router = daemon(RULES)
    _, rack = holding(router, peer)
    router.signal(number)
    assert router.ends() == 0
    until(lambda: {OFF, PEDAL_UP} <= set(rack.heard), f"note-off and pedal; there came {rack.heard}")
    assert b"\x91\x3c\x64" not in rack.heard


def test_what_was_held_before_a_stall_ends_after_it(daemon: MakeDaemon, peer: MakePeer) -> None:
    """The process is stopped for three seconds; whether the release of that time arrived or not, nothing hangs."""
    router = daemon(RULES)
    stage, rack = holding(router, peer)
    router.signal(signal.SIGSTOP)
    stage.play(OFF, PEDAL_UP)
    threading.Event().wait(3)
    router.signal(signal.SIGCONT)
    router.hears_of("the daemon could not run for 3")
    until(lambda: {OFF, PEDAL_UP} <= set(rack.heard), f"note-off and pedal; there came {rack.heard}")
    assert router.ask("status")["held"] <= 1  # the copy that is still to come
    assert router.ask("status")["stalls"] == 1
    assert router.leave() == 0


def test_after_a_crash_the_next_start_ends_what_sounds(daemon: MakeDaemon, peer: MakePeer) -> None:
    """Killed without warning, a daemon leaves the note sounding; the next one of its name silences the outputs."""
    crashed = daemon(RULES)
    _, rack = holding(crashed, peer)
    crashed.kill()
    assert OFF not in rack.heard
    rack.lines.clear()
    router = daemon(RULES)
    router.hears_of("all outputs are silenced")
    until(lambda: {PEDAL_UP, b"\xb0\x7b\x00", b"\xb0\x78\x00"} <= set(rack.heard), f"silence; there came {rack.heard}")
    assert router.leave() == 0
    assert daemon(RULES).said("silenced") == 0


def test_a_closed_terminal_ends_what_sounds(daemon: MakeDaemon, peer: MakePeer) -> None:
    """Where a terminal started it, its end is an order to leave."""
    ours, theirs = pty.openpty()
    router = daemon(RULES, terminal=theirs)
    os.close(theirs)
    _, rack = holding(router, peer)
    os.close(ours)
    assert router.ends() == 0
    until(lambda: {OFF, PEDAL_UP} <= set(rack.heard), f"note-off and pedal; there came {rack.heard}")


def test_a_hang_up_without_a_terminal_reads_the_rules_again(daemon: MakeDaemon, peer: MakePeer) -> None:
    """A service is told so to reload; what sounds goes on."""
    router = daemon(RULES)
    _, rack = holding(router, peer)
    router.signal(signal.SIGHUP)
    router.hears_of("no rule file has changed")
    assert rack.heard == []
    assert router.leave() == 0


def test_a_second_signal_ends_it_at_once(daemon: MakeDaemon, peer: MakePeer) -> None:
    """While it still waits for a slow wire to carry two thousand note-offs."""
    router = daemon(SLOW)
    holding(router, peer)
    router.ask("panic", every_key=True)

    def has_ended() -> bool:
        if router.code is None:
            router.signal(signal.SIGINT)
        return router.code is not None

    until(has_ended, "the end")
    assert router.ends() == 130


@pytest.mark.parametrize("trouble", ["kill", "hang"])
def test_a_server_in_trouble_holds_nobody_up(
    jack: JackServer, daemon: MakeDaemon, peer: MakePeer, tmp_path: Path, trouble: str
) -> None:
    """Whether it has just died or hangs, and before anybody misses it: the daemon leaves, and the take is saved."""
    router = daemon(RULES, "--record", str(tmp_path / "takes"))
    holding(router, peer)
    getattr(jack, trouble)()
    assert router.leave() == 0
    assert len(list((tmp_path / "takes").glob("*.mid"))) == 1
