"""Messages through loaded rules as they come, with times that the caller gives."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from rules.api.loading import Rules
from rules.compiler.compiler import compile_rules
from rules.engine import session as engine_session
from rules.engine.delivery import Sent
from rules.midi.messages import message_fault
from rules.midi.suggestions import nearest, those_known
from rules.program.switch_states import State
from rules.timing.delays import NEVER


class Outgoing(NamedTuple):
    """A message to be sent now: to which output port, its bytes, and when it was due (ns)."""

    port: str
    message: bytes
    due: int


class Session:
    """A performance by rules, from the first message to the last.

    Times are whole nanoseconds from any zero, given by the caller; nothing here reads a clock. They never go backwards:
    a method that gets an earlier time than one before raises ValueError. What has to go out is returned, in order.
    Messages that wait, such as those of a delay, are returned later: call `advance` at `next_due`, or at any time.

    A session belongs to one thread at a time and can't be pickled; the rules can.

    >>> from rules.api.loading import load_rules
    >>> session = Session(load_rules({"rig.toml": '''
    ... [ports]
    ... keys = { input = true }
    ... rack = { output = true }
    ... [[rules]]
    ... from = "keys"
    ... steps = [{ delay = 250 }]
    ... to = "rack"
    ... '''}))
    >>> session.feed("keys", bytes.fromhex("90 3C 64"), now=1_000_000)
    []
    >>> session.next_due
    251000000
    >>> session.advance(now=251_000_000)
    [Outgoing(port='rack', message=b'\\x90<d', due=251000000)]
    """

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        """The rules in force."""
        self._performance = engine_session.Session(rules.ruleset, rules.compiled)
        self._now: int | None = None

    @property
    def next_due(self) -> int | None:
        """When `advance` has something to do (ns); None while nothing waits."""
        due = self._performance.next_due
        return None if due >= NEVER else due

    @property
    def switches(self) -> dict[str, State]:
        """The states of the switches: on or off (bool), a value (str) or a number (int)."""
        return self._performance.switches

    def start(self, now: int) -> list[Outgoing]:
        """Return what the devices are to be sent first: their programs, volumes and so on (ruling 8)."""
        return self._collect(now, lambda out: self._performance.start(now, out))

    def feed(self, port: str, message: bytes, now: int) -> list[Outgoing]:
        """Play a message that arrives from an input port. `message` is one complete MIDI 1.0 message, sysex included.

        Returns what goes out by now: what was due before it, then what it causes at once. Raises ValueError for a port
        that the rules don't have, and for bytes that aren't one complete message.

        Source: MIDI 1.0 Detailed Specification 4.2.1, tables 1-8.
        """
        message = bytes(message)
        if fault := message_fault(message):
            raise ValueError(f"{message.hex(' ').upper() or 'no bytes'}: {fault}")
        player = self._player(port)
        return self._collect(now, lambda out: self._performance.arrive(player, message, now, out))

    def advance(self, now: int) -> list[Outgoing]:
        """Return what is due by now.

        An input port that sent active sensing and then fell silent is lost, and what it held ends (ruling 27).
        """
        return self._collect(now, lambda out: self._performance.advance(now, out))

    def disconnect(self, port: str, now: int) -> list[Outgoing]:
        """Return what ends the notes and pedals that an input port holds, since its cable is gone.

        Raises ValueError for a port that the rules don't have.
        """
        player = self._player(port)
        return self._collect(now, lambda out: self._performance.lose(player, now, out))

    def turn(self, switch: str, state: State, now: int) -> list[Outgoing]:
        """Turn a switch, and return what that sends. Raises ValueError for a switch or state that doesn't exist."""
        self._require_state(switch, state)
        return self._collect(now, lambda out: self._performance.turn(switch, state, now, out))

    def panic(self, now: int, *, every_key: bool = False) -> list[Outgoing]:
        """Return what silences all outputs, with `every_key` a note-off for each key of each channel too (ruling 17).

        What waited is discarded.
        """
        return self._collect(now, lambda out: self._performance.panic(now, out, every_key))

    def replace(self, rules: Rules, now: int) -> list[Outgoing]:
        """Go on by other rules. Notes that sound end as the rules of then would have ended them (ruling 30)."""
        compiled = compile_rules(rules.ruleset, self._performance.pipeline.ports)
        out = self._collect(now, lambda out: self._performance.replace(rules.ruleset, compiled, now, out))
        self.rules = rules
        return out

    def leave(self, now: int) -> list[Outgoing]:
        """Return what ends everything that is held. The session is over (ruling 22)."""
        return self._collect(now, lambda out: self._performance.leave(now, out))

    def _player(self, port: str) -> int:
        self.rules.require_input(port)
        return self._performance.players[port]

    def _require_state(self, switch: str, state: State) -> None:
        fields = self._performance.pipeline.layout.fields
        if switch not in fields:
            known = those_known("switch", "switches", fields)
            raise ValueError(f'there is no switch named "{switch}": {known}{nearest(switch, fields)}')
        states = fields[switch].states
        if state not in states:
            known = ", ".join(map(str, states))
            raise ValueError(f'the switch "{switch}" can\'t be at {state!r}; its states are {known}')

    def _collect(self, now: int, act: Callable[[list[Sent]], None]) -> list[Outgoing]:
        if self._now is not None and now < self._now:
            raise ValueError(f"time goes backwards: {now} ns after {self._now} ns")
        self._now = now
        out: list[Sent] = []
        act(out)
        ports = self._performance.pipeline.ports
        return [Outgoing(ports[target], message, due) for target, message, due, _ in out]
