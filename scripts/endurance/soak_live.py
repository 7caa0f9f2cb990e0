#!/usr/bin/env python3
"""Plays the real daemon for minutes over a realtime JACK server of its own, with new rules all the time.

Two programs play (keys are struck twice and let go once), two listen; the rule file is saved anew about twice a second.
Prints counts; a violation is printed, and the exit code is 1. The same --seed plays the same.

What must hold in the end:

* Nothing sounds, no pedal is down, and nothing is held: by what went out, and by the daemon's own count.
* All that was played arrived, what goes through as it comes was heard to the message, and all that the journal says
  went out was heard. But for whole periods that the sound server drops, as it says itself; a listener on a direct line
  shows what that costs without us.
* The journal gives, played again, what went out.
* The daemon answers each question, raises nothing, ends with code 0, and leaves no process.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from endurance.comparing import compared  # noqa: E402
from endurance.performance import RULES, Hand  # noqa: E402
from endurance.processes import left_after, schedule, within  # noqa: E402
from router.midi.jack_library import JackWires  # noqa: E402
from rules.errors import MachineError  # noqa: E402
from rules.journal.format import HEAD, IN, unpack  # noqa: E402
from rules.journal.replay import replay  # noqa: E402
from tests.live.daemon import Daemon  # noqa: E402
from tests.live.peer import Peer  # noqa: E402
from tests.live.server import JackServer  # noqa: E402
from tests.support.live_rig import silent  # noqa: E402
from tests.support.outgoing_records import went_out  # noqa: E402

FRAMES = 128
TURN_S = 0.25
SETTLES_S = 3.0


class Soak:
    """A daemon that records, two who play, and three who listen: at both outputs, and on a direct line."""

    def __init__(self, chance: random.Random, rate: int) -> None:
        self.chance, self.rate = chance, rate
        self.counts: Counter[str] = Counter()
        self.wrong: list[str] = []
        self.hands = {name: Hand(chance) for name in ("keys", "pads")}
        self.played: dict[str, list[bytes]] = {name: [] for name in self.hands}
        self.players: dict[str, Peer] = {}
        self.listeners: dict[str, Peer] = {}
        self._started = ExitStack()

    def begin(self, server: JackServer, folder: Path, priority: int) -> None:
        """Start all programs: those that play and listen as realtime processes of a priority, the daemon as usual."""
        self.server_log = folder / "jackd.log"
        schedule(priority)
        for name in self.hands:
            self.players[name] = Peer(server.environment, name.title(), "out", "port")
            self._started.callback(self.players[name].kill)
        for name in ("rack", "box", "line"):
            self.listeners[name] = Peer(server.environment, name.title(), "in", "port")
            self._started.callback(self.listeners[name].kill)
        schedule(0)
        self.daemon = Daemon(server.environment, folder, RULES[0])
        self._started.callback(self.daemon.kill)
        schedule(priority)
        self.daemon.has_opened("keys", "pads", "rack", "box")
        wires = JackWires()
        if not wires.connect("Pads:port", "Line:port"):
            raise SystemExit("the direct line can't be connected")
        wires.close()
        self.kept = folder / "kept"
        self.kept.hardlink_to(self.daemon.ask("record", path=str(folder / "soak.mid"))["journal"])
        time.sleep(1)
        for peer in self.listeners.values():
            peer.lines.clear()

    def play(self, seconds: float) -> None:
        """Play, with new rules and questions in between."""
        end = time.monotonic() + seconds
        turn = time.monotonic()
        while turn < end:
            for name, hand in self.hands.items():
                self._send(name, list(hand.plays(round(self.rate / len(self.hands) * TURN_S))))
            if self.chance.random() < 0.5:
                self.daemon.save(self.chance.choice(RULES))
                self.counts["rule files saved"] += 1
            self._ask("status")
            turn += TURN_S
            time.sleep(max(0.0, turn - time.monotonic()))
        for name, hand in self.hands.items():
            self._send(name, list(hand.lets_go()))
        within(30, self._has_arrived)
        time.sleep(SETTLES_S)

    def _has_arrived(self) -> bool:
        return all(self.daemon.port(name)["messages"] >= len(played) for name, played in self.played.items())

    def _send(self, name: str, messages: Sequence[bytes]) -> None:
        """Spread over a turn, a few at a time."""
        self.played[name] += messages
        parts: list[bytes | float] = []
        for at in range(0, len(messages), 4):
            parts += [*messages[at : at + 4], 0.8 * TURN_S * 4 / len(messages)]
        self.players[name].play(*parts)

    def _ask(self, verb: str) -> None:
        self.counts["questions"] += 1
        try:
            self.daemon.ask(verb)
        except MachineError as error:
            self.wrong.append(f"no answer: {error}")

    def judge(self) -> None:
        """Look at what was heard, said and kept; the daemon leaves."""
        status = self.daemon.ask("status")
        if status["held"]:
            self.wrong.append(f"{status['held']} notes are held")
        for what in ("errors", "missed", "stalls"):
            if status[what]:
                self.wrong.append(f"{what}: {status[what]}")
        self.wrong += [f"{port['name']}: {port['lost']} lost" for port in status["ports"] if port["lost"]]
        self.counts["reloads"] = self.daemon.said("new rules are in force")
        code = self.daemon.leave()
        if code:
            self.wrong.append(f"the daemon ended with {code}")
        if left := left_after(self.daemon.pid, 5):
            self.wrong.append(f"{len(left)} processes live on")
        self.wrong += [line for line in self.daemon.lines if "Traceback" in line or "Internal error" in line]
        self._compare()

    def _compare(self) -> None:
        records = list(unpack(self.kept.read_bytes(), len(HEAD)))
        out = went_out(records)
        replayed = replay(records)
        if replayed[len(replayed) - len(out) :] != out:  # before the recording began, setup messages went out
            self.wrong.append("the journal gives something else")
        for player, name in enumerate(self.players):
            came = [data for kind, _, number, data in records if kind == IN and number == player]
            self._compared(f"from {name}", self.played[name], came)
        # the ports have numbers in the order of the first rules
        for target, name in enumerate(("rack", "box")):
            sent, heard = [data for port, data, _ in out if port == target], self.listeners[name].heard
            self._compared(f"to {name}", sent, heard)
            if not silent(sent):
                self.wrong.append(f"something sounds on at {name}")
        self._compared("from pads to box", self.played["pads"], self.listeners["box"].heard)
        self._compared("on the direct line", self.played["pads"], self.listeners["line"].heard)

    def _compared(self, where: str, sent: Sequence[bytes], heard: Sequence[bytes]) -> None:
        """Count what was sent, and what of it was not heard as it went out: the server's, if it says why."""
        faults = compared(sent, heard)
        self.counts[f"messages {where}"] = len(sent)
        if faults.places:
            self.counts[f"lost {where}"] = faults.lost
            self.counts[f"extra {where}"] = faults.extra
            if faults.places > self.dropped_periods():
                self.wrong.append(f"{where}: {faults}, and {self.dropped_periods()} periods dropped by the server")

    def dropped_periods(self) -> int:
        """How often the server has said that it went on without a client, whose messages of that period are lost."""
        return self.server_log.read_text(encoding="utf-8", errors="replace").count("XRun")

    def close(self) -> None:
        """End everything."""
        self._started.close()


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("minutes", nargs="?", type=float, default=4, help="how long (4)")
    parser.add_argument("--rate", type=int, default=1_000, help="messages a second (1000)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--priority", type=int, default=0, help="play and listen in real time (1-99), on a busy computer"
    )
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder, JackServer.running(FRAMES, Path(folder) / "jackd.log") as server:
        for variable in ("XDG_RUNTIME_DIR", "XDG_STATE_HOME"):
            server.environment[variable] = os.environ[variable] = folder
        os.environ.update(JACK_DEFAULT_SERVER=server.name)
        soak = Soak(random.Random(asked.seed), asked.rate)
        try:
            soak.begin(server, Path(folder), asked.priority)
            soak.play(60 * asked.minutes)
            soak.judge()
            dropped = soak.dropped_periods()
        finally:
            soak.close()
    kind = "realtime" if server.is_realtime else "without realtime rights"
    print(f"{asked.minutes:g} minutes over JACK ({kind}, periods of {FRAMES} frames), seed {asked.seed}:")
    soak.counts["periods dropped by the server"] = dropped
    print(*(f"  {amount:>9,} {what}" for what, amount in soak.counts.items()), sep="\n")
    print(f"  {len(soak.wrong):>9,} violations", *soak.wrong, sep="\n    ")
    return 1 if soak.wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
