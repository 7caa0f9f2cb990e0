"""What `soundcheck` does: plays the notes of a plan, and says what could be heard.

The data (`--json`) are one object; `state` is `played`, `missing` (its port isn't there), `virtual` (its port is made
by the daemon, so that nobody hears it now) or `silent` (its own steps let no note through):

    {"command": "soundcheck", "ok": true,
     "devices": [{"device": "organ", "port": "rack1", "computer_port": "4x4 Interface 1", "state": "played",
                  "channel": 4, "key": 60, "velocity": 40, "message": "note-on 4 C4 40"}]}
"""

from __future__ import annotations

import json
import os
import select
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from typing import Final, NamedTuple

from router.cli.soundcheck_report import FoundPorts, SoundcheckReport
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.interrupts import ended_like_ctrl_c
from router.files.rule_files import read_rule_files
from router.midi.backend import Backend
from router.midi.backend_choice import choose_backend
from router.midi.event_loop import EventLoop, nothing_arrives
from router.midi.port_manager import PortManager
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.terminal import is_terminal, painted, say
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.errors import MachineError
from rules.listening.soundcheck import DeviceCheck, Plan, plan
from rules.ports.patterns import wanted_ports
from rules.rulefile.reading import read_rule_set
from rules.rulefile.ruleset import RuleSet


class SoundcheckSettings(NamedTuple):
    """What `soundcheck` shall do: `seconds` is how long a note sounds, None until Enter is pressed."""

    rules: tuple[str, ...]
    seconds: float | None = None
    backend: str | None = None
    json: bool = False


_CAUTION: Final = "Turn the volume down first: how loud a soft note is depends on the instrument."
_HOW: Final = "Press Enter for each device; Ctrl-C ends it."
_USUAL_S: Final = 2.0
_LAST_SENDS_NS: Final = 1_000_000_000  # that the wires get for the last note-offs

IsOver = Callable[[], bool]
"""Whether a note has sounded for long enough."""


def soundcheck(
    settings: SoundcheckSettings,
    backend: Backend | None = None,
    waits: Callable[[], IsOver] | None = None,
    clock: Clock = SYSTEM_CLOCK,
) -> int:
    """Play the notes; return the exit code, 1 where something can't be heard.

    `waits` is asked again for each note. Raises RuleFileError, MachineError or UsageError.
    """
    reading = read_rule_set(read_rule_files(settings.rules))
    planned = plan(reading.ruleset)
    if not planned.checks:
        say([json.dumps({"command": "soundcheck", "ok": True, "devices": []})] if settings.json else [_no_devices()])
        return FINE
    by_hand = settings.seconds is None and waits is None and _someone_is_there() and not settings.json
    if waits is None:
        waits = _for_enter if by_hand else _for_seconds(settings.seconds or _USUAL_S, clock)
    with ended_like_ctrl_c(), ExitStack() as closing:
        ports = PortManager(backend or choose_backend(settings.backend, "pointsman-soundcheck"), clock)
        closing.callback(ports.close)
        player = NotePlayer(reading.ruleset, planned, ports, clock)
        report = SoundcheckReport(reading, planned.checks, player.found)
        if not settings.json:
            say([painted(_CAUTION, "mild", sys.stdout), *([_HOW] if by_hand else []), ""])
        player.begin(_for_enter() if by_hand else lambda: True)
        player.play_all(waits, None if settings.json else report.lines())
        player.require_all_sent()
    say([json.dumps(report.data(), indent=2)] if settings.json else report.summary())
    return FINE if report.ok else INCOMPLETE


def _no_devices() -> str:
    return "The rule files have no devices. Write each instrument under [devices], with its port and channel."


class NotePlayer:
    """Plays the notes of a plan on ports, and ends every note that it has begun. `found` says which ports are there."""

    def __init__(self, ruleset: RuleSet, planned: Plan, ports: PortManager, clock: Clock) -> None:
        used = {check.port for check in planned.checks}
        wanted = [one for one in wanted_ports(ruleset) if one.direction == "out" and one.name in used]
        self._checks = planned.checks
        self._ports = ports
        self._now_ns = clock.now_ns
        self._loop = EventLoop(nothing_arrives, self._tend, clock)
        self._session = Session(planned.ruleset, planned.pipeline)
        self._outputs = planned.pipeline.ports
        self._out: list[Sent] = []
        events = ports.want((one for one in wanted if not one.virtual), self._now_ns())
        self.found = FoundPorts(
            frozenset(one.name for one in wanted if one.virtual),
            {event.wanted.name: event for event in events if event.wanted and event.kind != "found"},
            {state["name"]: state["computer_port"] for state in ports.state()},
        )

    def begin(self, is_over: IsOver) -> None:
        """Send what the devices want to be sent first (ruling 8), and wait."""
        self._session.start(self._now_ns(), self._out)
        self._wait(is_over)

    def play_all(self, waits: Callable[[], IsOver], lines: Sequence[str] | None) -> None:
        """Play device after device, and say its line; whatever happens meanwhile, nothing sounds when this returns."""
        try:
            for number, check in enumerate(self._checks):
                if lines is not None:
                    say([lines[number]])
                    sys.stdout.flush()
                if self.found.state(check) == "played":
                    self._play(check, waits())
        finally:
            self._session.leave(self._now_ns(), self._out)
            self._send()
            self._ports.flush(_LAST_SENDS_NS)

    def _play(self, check: DeviceCheck, is_over: IsOver) -> None:
        player = self._session.players[check.source]
        self._session.arrive(player, check.note, self._now_ns(), self._out)
        self._wait(is_over)
        self._session.arrive(player, check.end, self._now_ns(), self._out)
        self._session.lose(player, self._now_ns(), self._out)  # echoes that are still to come
        self._send()

    def _wait(self, is_over: IsOver) -> None:
        """Let time pass, and send what falls due."""
        self._send()
        self._loop.tend_soon()
        self._loop.run(is_over)

    def _tend(self, now: int) -> int:
        if now >= self._session.next_due:
            self._session.advance(now, self._out)
            self._send()
        return min(self._session.next_due, self._ports.pump(now))

    def _send(self) -> None:
        for target, message, _, _ in self._out:
            output_port = self._ports.outputs.get(self._outputs[target])
            if output_port is not None:
                output_port.send(message, self._now_ns())
        self._out.clear()

    def require_all_sent(self) -> None:
        """Raise MachineError where the MIDI system refused a message: it can't be told then what was heard."""
        now = self._now_ns()
        said = (
            (output_port, output_port.complaint(now, "the MIDI system")) for output_port in self._ports.outputs.values()
        )
        complaints = [f"{output_port.wanted.words}: {words}" for output_port, words in said if words]
        if complaints:
            raise MachineError("; ".join(complaints))


def _someone_is_there() -> bool:
    """Return whether Enter can be waited for: on Windows only sockets can."""
    return os.name != "nt" and is_terminal(sys.stdin) and is_terminal(sys.stdout)


def _for_enter() -> IsOver:
    def is_over() -> bool:
        if not select.select([sys.stdin], [], [], 0)[0]:
            return False
        sys.stdin.readline()
        return True

    return is_over


def _for_seconds(seconds: float, clock: Clock) -> Callable[[], IsOver]:
    def waits() -> IsOver:
        end = clock.now_ns() + seconds * 1e9
        return lambda: clock.now_ns() >= end

    return waits
