"""What only the daemon that is woken does: long sysex, bursts, and plugs that are pulled for a moment."""

from __future__ import annotations

import signal
import time

from benchmarks.alsa.place import daemon_between
from benchmarks.figures import Figure
from router.daemon.control_client import ask_daemon
from rules.journal.format import OUT, unpack
from tests.alsa.kernel import cable, unplugged

_DEVICES = """
[ports]
keys = { input = "VirMIDI*-0" }
module = { output = "VirMIDI*-0" }
stage = { output = "bench:stage" }
[devices]
synth = { port = "module", channel = 1, setup = "program 5" }
[[rules]]
from = "keys"
to = ["synth", "stage"]
"""
_SETUP = 0xC0
_LONG = b"\xf0" + bytes(at % 128 for at in range(99_998)) + b"\xf7"


def measure(quick: bool) -> list[Figure]:
    """All of it."""
    return [*_amounts(), *_plugs(10 if quick else 100)]


def _amounts() -> list[Figure]:
    burst = [bytes((0x90, at >> 7, at & 127)) for at in range(1_800)]
    flood = [bytes((0xB0, at >> 7, at & 127)) for at in range(5_000)]
    with daemon_between("records") as (daemon, player):
        player.play_all(_LONG)
        sysex = player.heard(1)
        daemon.signal(signal.SIGSTOP)
        for message in burst:
            player.play(message)
        daemon.signal(signal.SIGCONT)
        bursts = player.heard(len(burst), within_s=20)
        player.play_all(*flood)
        time.sleep(3)
        floods = player.heard(len(flood), within_s=20)
    higher = [bytes((0x90, message[1] + 12, message[2])) for message in burst]
    return [
        Figure(
            "sysex of 100,000 bytes, in and out", [len(_LONG) if sysex == [_LONG] else 0], "bytes", at_least=100_000
        ),
        _in_order("burst of 1,800 while the daemon is stopped", higher, bursts),
        _in_order("5,000 to a program that reads nothing for 3 s", flood, floods),
    ]


def _in_order(what: str, expected: list[bytes], got: list[bytes]) -> Figure:
    whole = got == expected
    ours = "in order" if whole else "not in order, or others"
    return Figure(what, [len(got) if whole else 0], "messages", at_least=len(expected), ours=ours)


def _plugs(times: int) -> list[Figure]:
    """Pull the plug of a keyboard that holds a note, and of the module at the same card."""
    away, ended = [], 0
    with daemon_between("records", _DEVICES) as (daemon, player):
        for times_back in range(1, times + 1):
            with cable(0) as wire:
                wire.write(b"\x90\x3c\x64")
                player.heard(1)
            begin = time.monotonic()
            with unplugged():
                pass
            away.append(1_000 * (time.monotonic() - begin))
            ended += player.heard(1, within_s=20) == [b"\x80\x3c\x40"]
            daemon.says("is back", 2 * times_back, within_s=20)
        said = daemon.said
        journal = list(unpack(ask_daemon("pointsman", "last")["journal"]))
    setups = sum(kind == OUT and message[0] == _SETUP for kind, _, _, message in journal)
    words = f"away for {min(away):.1f} to {max(away):.1f} ms"
    return [
        Figure("plug pulled for a moment: noticed", [said.count("has gone") / 2], "times", at_least=times, ours=words),
        Figure("the same: found again", [said.count("is back") / 2], "times", at_least=times),
        Figure("the same: what was held is ended", [ended], "times", at_least=times),
        Figure("the same: setup sent", [setups - 1], "times", at_least=times, ours="and once at the start"),
    ]
