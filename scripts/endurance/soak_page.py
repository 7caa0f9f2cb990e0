#!/usr/bin/env python3
"""Lets five phones look at the page for minutes, while music plays over a JACK server of its own and rules change.

One phone only looks. One sleeps for a quarter of the time, without reading. One leaves and comes back again and again.
One asks which way messages took. One turns a switch. Half-way the daemon is killed, and another one begins. A violation
is printed, and the exit code is 1.

What must hold in the end:

* Each phone knows the same state, and it is the daemon's own.
* Each was told that the daemon had gone and was back; none was dropped but the one that left by itself.
* Every order was answered. None of the processes has raised anything.

How late updates came and what the processes have in memory is printed, for a person to judge.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from websockets.asyncio.client import ClientConnection, connect  # noqa: E402
from websockets.exceptions import ConnectionClosed  # noqa: E402
from websockets.typing import Origin  # noqa: E402

from benchmarks.live.page_cost import free_port, started_page  # noqa: E402
from benchmarks.live.rigs import RIG, SINKS, SOURCES, played  # noqa: E402
from benchmarks.live.stage import Process, Stage, stage  # noqa: E402
from router.daemon.control_client import ask_daemon  # noqa: E402

RATE = 100
FRAMES = 256
SAVE_EVERY_S = 10.0
SLEEP_S, AWAKE_S = 5.0, 15.0
ANSWERED_S = 10.0
SETTLES_S = 3.0
PORTS = [f"bench-{name}:" for name in (*SOURCES, *SINKS)]


class Phone:
    """A phone at the page: what it knows, and what it does besides looking."""

    def __init__(self, name: str, port: int) -> None:
        self.name = name
        self._address = f"127.0.0.1:{port}"
        self.state: dict[str, Any] = {}
        self.counts: Counter[str] = Counter()
        self.delays: list[float] = []
        self.wrong: list[str] = []
        self.is_asleep = False
        self.leaves = False
        self._line: ClientConnection | None = None
        self._asked = 0
        self._answers: dict[int, asyncio.Future[dict[str, Any]]] = {}

    async def look(self) -> None:
        """Look at the page, again and again, until cancelled."""
        while True:
            line = connect(
                f"ws://{self._address}/live", origin=Origin(f"http://{self._address}"), max_size=None, proxy=None
            )
            async with line as self._line:
                self.leaves = False
                try:
                    async for text in self._line:
                        while self.is_asleep:
                            await asyncio.sleep(0.1)
                        self._take(json.loads(text), len(text))
                except ConnectionClosed:
                    pass
                if not self.leaves:
                    self.wrong.append(f"{self.name} was dropped: {self._line.close_code}")
                self.counts["views"] += 1

    def _take(self, told: dict[str, Any], size: int) -> None:
        self.counts["kB"] += size / 1_000  # type: ignore[assignment]  # parts count too
        self.counts[told["type"]] += 1
        if told["type"] == "state":
            self.state = told["state"]
        elif told["type"] == "change":
            self.state.update(told["change"])
        elif told["type"] == "answer":
            waits = self._answers.pop(told["id"])
            if not waits.done():
                waits.set_result(told)
        elif told["type"] == "log":
            self.delays += [time.time() - entry["at"] for entry in told["log"][-1:]]

    async def order(self, **order: Any) -> None:
        """Ask for something; an answer has to come."""
        if self._line is None:
            return
        self._asked += 1
        answer = self._answers[self._asked] = asyncio.get_running_loop().create_future()
        await self._line.send(json.dumps({"id": self._asked, **order}))
        try:
            told = await asyncio.wait_for(answer, ANSWERED_S)
        except TimeoutError:
            self.wrong.append(f"{self.name} had no answer to {order}")
            return
        self.counts["refused" if not told["ok"] else "done"] += 1

    async def leave(self) -> None:
        """Leave, to come again."""
        self.leaves = True
        if self._line is not None:
            await self._line.close()


async def sleeps(phone: Phone) -> None:
    while True:
        await asyncio.sleep(AWAKE_S)
        phone.is_asleep = True
        await asyncio.sleep(SLEEP_S)
        phone.is_asleep = False


async def comes_and_goes(phone: Phone) -> None:
    while True:
        await asyncio.sleep(4)
        await phone.leave()


async def asks_why(phone: Phone) -> None:
    while True:
        await asyncio.sleep(5)
        await phone.order(do="through", **{"from": "keyboard", "to": "piano"})


async def turns(phone: Phone) -> None:
    values = ["garden", "cave"]
    while True:
        await asyncio.sleep(1)
        values.reverse()
        await phone.order(do="switch", name="place", value=values[0])


async def plays(place: Stage) -> None:
    """Play, a little at a time, so that phones have their turns."""
    messages = played(RATE)
    send = place.sources["keyboard"].send_message
    while True:
        for message in messages:
            send(message)
            await asyncio.sleep(1 / RATE)


async def saves(rules: Path, place: Stage) -> None:
    texts = [RIG.replace('name = "left hand"', f'name = "left hand {number}"') for number in (1, 2)]
    while True:
        await asyncio.sleep(SAVE_EVERY_S)
        place.deaf()  # what plays for an hour is more than the listeners keep
        texts.reverse()
        new = rules.with_suffix(".new")
        new.write_text(texts[0], encoding="utf-8")
        new.replace(rules)


class Soak:
    """The processes, and the phones."""

    def __init__(self, place: Stage) -> None:
        self.place = place
        self.rules = place.rules(RIG)
        self.daemons = [self._daemon()]
        self.port = free_port()
        self.page = started_page(place, self.port, "--control")
        self.phones = [Phone(name, self.port) for name in ("looks", "sleeps", "comes and goes", "asks why", "turns")]
        self.memory: list[str] = []
        self.wrong: list[str] = []

    def _daemon(self) -> Process:
        command = [sys.executable, "-m", "router", "run", str(self.rules), "--backend", "jack", "--name", "bench"]
        return self.place.start(command, *PORTS)

    async def run(self, seconds: float) -> None:
        """Everything."""
        looking = [asyncio.create_task(phone.look()) for phone in self.phones]
        _, second, third, fourth, fifth = self.phones
        doing = [
            asyncio.create_task(one)
            for one in (
                sleeps(second),
                comes_and_goes(third),
                asks_why(fourth),
                turns(fifth),
                plays(self.place),
                saves(self.rules, self.place),
            )
        ]
        await asyncio.sleep(seconds / 2)
        self._note_memory()
        self.daemons[-1].kill()
        self.daemons.append(await asyncio.to_thread(self._daemon))
        await asyncio.sleep(seconds / 2)
        self._note_memory()
        for task in doing:
            task.cancel()
        results = await asyncio.gather(*doing, return_exceptions=True)
        self.wrong += [repr(one) for one in results if not isinstance(one, asyncio.CancelledError)]
        second.is_asleep = False
        await asyncio.sleep(SETTLES_S)
        await asyncio.to_thread(self._judge)
        for task in looking:
            task.cancel()
        results = await asyncio.gather(*looking, return_exceptions=True)
        self.wrong += [repr(one) for one in results if not isinstance(one, asyncio.CancelledError)]

    def _note_memory(self) -> None:
        page, daemon = self.page.memory(), self.daemons[-1].memory()
        self.memory.append(f"page {page.own:.1f} MB, daemon {daemon.own:.1f} MB")

    def _judge(self) -> None:
        status = ask_daemon("bench", "status")
        counts = {port["name"]: port["messages"] for port in status["ports"]}
        for phone in self.phones:
            for key, wanted in (("switches", status["switches"]), ("activity", counts), ("rules", status["rules"])):
                if phone.state.get(key) != wanted:
                    self.wrong.append(f"{phone.name} knows {key} {phone.state.get(key)}, and it is {wanted}")
            if not phone.counts["gone"] and phone.name != "comes and goes":
                self.wrong.append(f"{phone.name} wasn't told that the daemon had gone")
            self.wrong += phone.wrong
        for process in (self.page, *self.daemons):
            self.wrong += [line for line in process.log.splitlines() if "Error" in line or "Traceback" in line]
        if self.page.code is not None:
            self.wrong.append(f"the page ended with {self.page.code}")

    def report(self, minutes: float) -> None:
        """Print what came of it."""
        print(f"{minutes:g} minutes, {RATE} messages a second, rules saved every {SAVE_EVERY_S:g} s:")
        for phone in self.phones:
            delays = sorted(phone.delays) or [0.0]
            late = [f"{1_000 * delays[int(share * (len(delays) - 1))]:.0f}" for share in (0.5, 0.99, 1)]
            counts = ", ".join(f"{amount:,.0f} {what}" for what, amount in sorted(phone.counts.items()))
            print(f"  {phone.name}: {counts}; p50, p99, most {', '.join(late)} ms late")
        print(f"  memory half-way and at the end: {'; '.join(self.memory)}")
        print(f"  {len(self.wrong)} violations", *self.wrong, sep="\n    ")


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("minutes", nargs="?", type=float, default=4, help="how long (4)")
    asked = parser.parse_args(arguments)
    with stage(FRAMES) as place:
        place.source(*SOURCES)
        place.sink(*SINKS)
        soak = Soak(place)
        asyncio.run(soak.run(60 * asked.minutes))
    soak.report(asked.minutes)
    return 1 if soak.wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
