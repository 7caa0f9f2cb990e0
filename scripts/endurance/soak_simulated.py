#!/usr/bin/env python3
"""Plays the daemon's loop for minutes on a MIDI system in memory, in a time that passes only while the loop sleeps.

Two hands strike keys twice and let go once; new rules come several times a second. In every second evening cables are
pulled as well. Prints counts; a violation is printed, and the exit code is 1. The same --seed gives the same evenings.

What must hold at the end of each evening of a minute:

* Nothing sounds, no pedal is down, and nothing is held: by what the outputs heard, and by the engine's own count.
* What goes through as it comes was heard to the message, however often the rules changed.
* All that arrived is in the journal, which gives, played again, what went out.
* Nothing was raised.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from endurance.performance import RULES, Hand  # noqa: E402
from router.daemon.prepared_rules import prepare_texts  # noqa: E402
from rules.journal.format import IN  # noqa: E402
from rules.journal.replay import replay  # noqa: E402
from tests.support.live_rig import LiveRig, prepared, silent  # noqa: E402
from tests.support.outgoing_records import went_out  # noqa: E402

EVENING_MS = 60_000.0


class Evening:
    """An evening of playing, `lasts_ms` long; `heard` is what each output got, `wrong` what must not be."""

    def __init__(self, chance: random.Random, cables: bool, lasts_ms: float) -> None:
        self.chance, self.cables, self.lasts_ms = chance, cables, lasts_ms
        self.rules = prepared(RULES[0])
        self.rig = LiveRig(RULES[0])
        self.rig.hub.plug("Box", sends=False)
        self.hands = {"keys": Hand(chance), "pads": Hand(chance)}
        self.played: dict[str, list[bytes]] = {"keys": [], "pads": []}
        self.counts: Counter[str] = Counter(evenings=1)
        self.heard: dict[str, list[bytes]] = {"Rack": [], "Box": []}
        self.wrong: list[str] = []
        self.rig.goes(self._script())
        self._listen()
        self._judge()

    def _script(self) -> Iterator[float]:
        passed = 0.0
        while passed < self.lasts_ms:
            for name, hand in self.hands.items():
                self._send(name, hand.plays(self.chance.randrange(1, 12)))
            what = self.chance.random()
            if what < 0.03:
                self._reload()
            elif what < 0.032 and self.cables:
                yield from self._pull("keys" if self.chance.random() < 0.5 else "rack")
            pause = self.chance.choice((0.5, 2, 7, 30))
            passed += pause
            yield pause
        for name, hand in self.hands.items():
            self._send(name, hand.lets_go())
        yield 2_000
        if self.rig.live.session.engine.sounding:
            self.wrong.append(f"{self.rig.live.session.engine.sounding} notes are held")

    def _send(self, name: str, messages: Iterator[bytes]) -> None:
        for message in messages:
            getattr(self.rig, name).play(message)
            self.played[name].append(message)
            self.counts["messages played"] += 1

    def _reload(self) -> None:
        """Other rules, after those that play."""
        self.rules = prepare_texts((("rules.toml", self.chance.choice(RULES).encode()),), self.rules)
        self.rig.live.swap(self.rules)
        self.counts["reloads"] += 1

    def _pull(self, name: str) -> Iterator[float]:
        device = getattr(self.rig, name)
        self._listen()
        yield from self.rig.replug(device)
        self.heard["Rack"] += device.messages
        self.counts["cables pulled"] += 1

    def _listen(self) -> None:
        for device in self.rig.hub.devices:
            if device.name in self.heard:
                self.heard[device.name] += device.messages

    def _judge(self) -> None:
        live, records = self.rig.live, self.rig.records
        self.counts["messages heard"] = sum(map(len, self.heard.values()))
        for name, messages in self.heard.items():
            if not silent(messages):
                self.wrong.append(f"something sounds on at {name}")
        through = self.heard["Box"]
        if through[: len(self.played["pads"])] != self.played["pads"]:
            self.wrong.append(f"{len(self.played['pads'])} went through, {len(through)} were heard, or others")
        arrived = sum(record[0] == IN for record in records)
        if not self.cables and arrived != self.counts["messages played"]:
            self.wrong.append(f"{self.counts['messages played']} were played, {arrived} arrived")
        if replay(records) != went_out(records):
            self.wrong.append("the journal gives something else")
        if live.errors:
            self.wrong.append(f"{live.errors} errors: {self.rig.said[:3]}")


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("minutes", nargs="?", type=float, default=4, help="how long, by the real clock (4)")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    chance = random.Random(asked.seed)
    end = time.monotonic() + 60 * asked.minutes
    counts: Counter[str] = Counter()
    violations = 0
    for cables in cycle((False, True)):
        evening = Evening(chance, cables, EVENING_MS)
        counts += evening.counts
        for wrong in evening.wrong:
            violations += 1
            print(f"evening {counts['evenings']}: {wrong}", flush=True)
        if time.monotonic() > end:
            break
    print(f"{asked.minutes:g} minutes of evenings of a minute each, seed {asked.seed}:")
    print(*(f"  {amount:>9,} {what}" for what, amount in counts.items()), sep="\n")
    print(f"  {violations:>9,} violations")
    return 1 if violations else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
