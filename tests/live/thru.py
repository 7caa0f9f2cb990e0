"""The smallest router: whatever arrives on any input goes to every output. It holds `Ports` to real ports.

As a program: `python -m tests.live.thru "in:keys=Pit Key*" "out:rack=Rack*"`. It writes each event as `kind: words`,
and reads commands from standard input: `state` (the ports as JSON), `cure`, `flood COUNT` (notes to every output),
`sysex LENGTH`, `busy SECONDS`, `want PORTS...` and `stop`.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from collections.abc import Mapping
from typing import Any

from router.midi.backend_choice import choose_backend
from router.midi.event_loop import EventLoop
from router.midi.port_events import PortEvent
from router.midi.port_manager import PortManager
from router.midi.scan_times import ScanTimes
from router.midi.waiting import waiter_for
from rules.midi.messages import message_fault
from rules.ports.patterns import Wanted
from tests.live.peer import system_of_tests
from tests.live.program import Program
from tests.live.server import until


class Thru(Program):
    """A router in a process of its own."""

    def __init__(self, environment: Mapping[str, str], *ports: str) -> None:
        super().__init__(environment, "tests.live.thru", *ports)
        self.hears_of("ready")

    def hears_of(self, event: str, times: int = 1) -> None:
        """Wait for an event, by a part of its line."""
        until(lambda: self.count(event) >= times, f"{event}; there is: {self.lines}")

    def count(self, event: str) -> int:
        """How often something was said so far."""
        return sum(event in line for line in self.lines)

    def state(self) -> dict[tuple[str, str], dict[str, Any]]:
        """How the ports stand, by direction and name."""
        before = self.count("state: ")
        self.tell("state")
        self.hears_of("state: ", before + 1)
        text = next(line for line in reversed(self.lines) if line.startswith("state: "))
        ports: list[dict[str, Any]] = json.loads(text.removeprefix("state: "))
        return {(port["direction"], port["name"]): port for port in ports}


def wanted(text: str) -> Wanted:
    """Read `in:keys=Pit Key*`, `out:take=!take` (virtual) or `out:rack=Rack*@din`."""
    direction, _, rest = text.partition(":")
    name, _, pattern = rest.partition("=")
    pattern, _, wire = pattern.partition("@")
    assert direction in ("in", "out")
    return Wanted(
        name,
        "in" if direction == "in" else "out",
        pattern.removeprefix("!"),
        virtual=pattern.startswith("!"),
        connection="din" if wire == "din" else "usb",
    )


class Loop:
    """What the daemon's loop does with ports, without rules."""

    def __init__(self, ports: PortManager) -> None:
        self.ports = ports
        self.commands: list[str] = []
        self.running = True
        self._scans = ScanTimes(ports.backend)
        self.loop = EventLoop(self._take, self._tend, waiter=waiter_for(ports.backend))

    def run(self, texts: list[str]) -> None:
        """Pass everything on until told to stop."""
        self.tell(self.ports.want(map(wanted, texts), time.monotonic_ns()))
        print("ready")
        self.loop.run(lambda: not self.running)
        self.ports.flush(3_000_000_000)
        self.ports.close()
        print("closed")

    def _take(self) -> bool:
        busy = bool(self.commands)
        while self.commands:
            self.obey(*self.commands.pop(0).split())
        for input_port in self.ports.inputs:
            while (received := input_port.get_message()) is not None:
                busy = True
                input_port.messages += 1
                message = bytes(received[0])
                for whole in input_port.reassemble(message) if message_fault(message) else (message,):
                    self.send(whole)
        return busy

    def _tend(self, now: int) -> int:
        if self._scans.is_due(now):
            self.tell(self.ports.scan(now))
        return min(self._scans.next, self.ports.pump(now))

    def send(self, message: bytes) -> None:
        """To every output."""
        for output_port in self.ports.outputs.values():
            output_port.send(message, time.monotonic_ns())

    def obey(self, command: str, *arguments: str) -> None:
        """Do what was asked."""
        if command == "state":
            print("state: " + json.dumps(self.ports.state()))
        elif command == "cure":
            self.ports.reopen_silent(time.monotonic_ns())
        elif command == "busy":
            time.sleep(float(arguments[0]))
        elif command == "flood":
            for at in range(int(arguments[0])):
                self.send(bytes((0x90, at >> 7 & 127, at & 127)))
        elif command == "sysex":
            self.send(b"\xf0" + bytes(int(arguments[0]) - 2) + b"\xf7")
        elif command == "want":
            self.tell(self.ports.want(map(wanted, arguments), time.monotonic_ns()))
            self.ports.drop_unwanted()
        else:
            self.running = False

    @staticmethod
    def tell(events: list[PortEvent]) -> None:
        """Say what happened."""
        for event in events:
            print(f"{event.kind}: {event.words}")


def main(*texts: str) -> None:
    """Be the router."""
    loop = Loop(PortManager(choose_backend(system_of_tests(), "pointsman")))

    def listen() -> None:
        for line in sys.stdin:
            loop.commands.append(line)
            loop.loop.wake()

    threading.Thread(target=listen, daemon=True).start()
    loop.run(list(texts))
    sys.stdout.flush()
    os._exit(0)  # the thread above waits for standard input for ever


if __name__ == "__main__":
    main(*sys.argv[1:])
