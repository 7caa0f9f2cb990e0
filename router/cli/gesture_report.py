"""What `learn` does: collects what a player does, and prints what it was.

The data (`--json`) are an object a line, for each thing that was touched:

    {"port": "pads", "computer_port": "Pad Box:Pad Box MIDI 1 20:0", "kind": "note", "channel": 10, "number": 36,
     "values": [97], "words": "note C2 (key 36), channel 10: velocity 97", "again": false,
     "blocks": [{"purpose": "the port", "lines": ["[ports]", "pads = { input = \\"Pad Box\\" }"]}]}

`again` tells that it was touched before; its blocks are left out then.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

from router.cli.own_ports import OwnPorts
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.rule_files import read_rule_files
from router.midi.backend import Backend
from router.midi.backend_choice import choose_backend
from router.midi.event_loop import EventLoop
from router.midi.listening_ports import ListeningPorts
from router.midi.scan_times import ScanTimes
from router.midi.waiting import waiter_for
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.terminal import is_terminal, painted, say
from rules.listening.gestures import Control, Identity, controls
from rules.listening.snippets import Block, blocks, pattern_for, port_block, port_name
from rules.midi.messages import ACTIVE_SENSING, CLOCK, MTC, RESET, message_fault
from rules.midi.notation import STANDARD, Naming
from rules.ports.patterns import Found, Wanted, bare_name, find_port, wanted_ports
from rules.timing.delays import NANOSECONDS_PER_SECOND


class LearnSettings(NamedTuple):
    """What `learn` shall do: `rules` give the names of ports, `backend` the MIDI system (None: chosen by itself)."""

    rules: tuple[str, ...] = ()
    backend: str | None = None
    json: bool = False


_QUIET_S: Final = 0.3  # seconds of silence that end a gesture
_GESTURE_EVERY_NS: Final = 10_000_000  # between two looks whether a gesture has ended
_LONGEST_S: Final = 2.0  # seconds after which a gesture without an end is told all the same
_TICKING: Final = frozenset({CLOCK, MTC})
_NOBODYS: Final = frozenset({ACTIVE_SENSING, RESET})

_INVITATION: Final = "Press a key, a pad or a pedal, or turn a knob. Ctrl-C ends it."


def learn(settings: LearnSettings, backend: Backend | None = None, clock: Clock = SYSTEM_CLOCK) -> int:
    """Listen to every port until Ctrl-C; return the exit code. Raises RuleFileError, MachineError or UsageError."""
    names = PortNames.of(settings.rules)
    system = backend or choose_backend(settings.backend, "pointsman-learn")
    listening = ListeningPorts(system, "learn", leaves_out=OwnPorts())
    report = GestureReport(names, system, settings.json)
    scans = ScanTimes(system)

    def take() -> bool:
        heard = list(listening.poll())
        for port, message in heard:
            report.hear(port, message, clock.now_ns() / NANOSECONDS_PER_SECOND)
        return bool(heard)

    def tend(now: int) -> int:
        if scans.is_due(now):
            report.meet(listening.look())
        report.tell(now / NANOSECONDS_PER_SECOND)
        return min(scans.next, now + _GESTURE_EVERY_NS)

    try:
        EventLoop(take, tend, clock, waiter=waiter_for(system, clock)).run(lambda: False)
    except KeyboardInterrupt:
        if is_terminal(sys.stdout):
            say([""])  # the shell goes on below the ^C
    finally:
        listening.close()
        if backend is None:
            system.close()
    return FINE


class PortNames:
    """What the rule files call the ports of the computer; ports that they don't know get a name of their own."""

    def __init__(self, wanted: Sequence[Wanted], taken: Sequence[str], naming: Naming) -> None:
        self.naming = naming
        self._wanted = wanted
        self._taken = list(taken)
        self._given: dict[str, str] = {}

    @classmethod
    def of(cls, arguments: Sequence[str]) -> PortNames:
        """Read them from rule files; without any, all are new. Raises RuleFileError, MachineError or UsageError."""
        if not arguments:
            return cls((), (), STANDARD)
        from rules.rulefile.reading import read_rule_set

        reading = read_rule_set(read_rule_files(arguments))
        wanted = [port for port in wanted_ports(reading.ruleset) if port.direction == "in" and not port.virtual]
        naming = next((place.source.naming for place in reading.ports.values()), STANDARD)
        return cls(wanted, list(reading.ruleset.ports), naming)

    def name(self, port: str, names: Sequence[str]) -> tuple[str, str | None]:
        """Return our name for a port of the computer and, if it is new, the pattern to be written down for it."""
        index = names.index(port)
        for wanted in self._wanted:
            if find_port(wanted.pattern, names) == Found(index):
                return wanted.name, None
        pattern = pattern_for(index, names)
        if pattern not in self._given:
            self._given[pattern] = port_name(pattern, self._taken)
            self._taken.append(self._given[pattern])
        return self._given[pattern], pattern


class Gesture:
    """What one port has sent since it was silent last."""

    def __init__(self, now: float) -> None:
        self.began = self.last = now
        self.messages: list[bytes] = []


class GestureReport:
    """Collects gestures, and says what they were."""

    def __init__(self, names: PortNames, backend: Backend, as_json: bool) -> None:
        self._names = names
        self._backend = backend
        self._json = as_json
        self._gestures: dict[str, Gesture] = {}
        self._known: set[tuple[str, Identity]] = set()
        self._shown: set[str] = set()
        self._met_any = False
        if not as_json:
            say([_INVITATION])

    def meet(self, ports: Sequence[str]) -> None:
        """Say which ports are listened to from now on."""
        if not self._json and ports:
            say([f"Listening to {', '.join(plain(bare_name(port)) for port in ports)}", ""])
        elif not self._json and not self._met_any:
            say(["There is no MIDI input yet. Waiting until you plug one in.", ""])
        self._met_any = True
        sys.stdout.flush()

    def hear(self, port: str, message: bytes, now: float) -> None:
        """Take one message. A clock runs on without a hand: it is told once, and prolongs no gesture."""
        if message_fault(message) or message[0] in _NOBODYS:
            return
        if message[0] in _TICKING:
            (ticking,) = controls([message])
            if (port, ticking.identity) not in self._known:
                self._say(port, ticking)
            return
        gesture = self._gestures.setdefault(port, Gesture(now))
        gesture.messages.append(message)
        gesture.last = now

    def tell(self, now: float) -> None:
        """Say what the gestures were that have ended by now."""
        over = [
            port
            for port, gesture in self._gestures.items()
            if now - gesture.last >= _QUIET_S or now - gesture.began >= _LONGEST_S
        ]
        for port in over:
            for control in controls(self._gestures.pop(port).messages):
                self._say(port, control)

    def _say(self, port: str, control: Control) -> None:
        names = self._backend.input_names()
        if port not in names:  # it was pulled in the midst of the gesture
            return
        name, pattern = self._names.name(port, names)
        again = (port, control.identity) in self._known
        self._known.add((port, control.identity))
        ready = [] if again else blocks(control, name, self._names.naming)
        if pattern is not None and name not in self._shown:
            self._shown.add(name)
            both_ways = find_port(pattern, self._backend.output_names()).__class__ is Found
            ready.insert(0, port_block(name, pattern, both_ways))
        if self._json:
            say([json.dumps(self._data(port, name, control, again, ready))])
        else:
            say(self._lines(port, control, again, ready))
        sys.stdout.flush()

    def _lines(self, port: str, control: Control, again: bool, ready: Sequence[Block]) -> Iterator[str]:
        words = plain(f"{bare_name(port)}: {control.words(self._names.naming)}")
        yield f"{words} (as above)" if again else painted(words, "strong", sys.stdout)
        for block in ready:
            yield f"  # {block.purpose}"
            yield from (f"  {line}" for line in block.lines)
            yield ""

    def _data(self, port: str, name: str, control: Control, again: bool, ready: Sequence[Block]) -> dict[str, Any]:
        return {
            "port": name,
            "computer_port": port,
            "kind": control.kind,
            "channel": control.channel,
            "number": control.number,
            "values": list(control.values),
            "words": control.words(self._names.naming),
            "again": again,
            "blocks": [{"purpose": block.purpose, "lines": list(block.lines)} for block in ready],
        }
