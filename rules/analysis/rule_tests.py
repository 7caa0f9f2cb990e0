"""The tests that rule files carry: each is played through the real engine, and what comes out is compared (ruling 35).

A device's name stands for what arrives at its port on its channel, a port's name for all that it gets. Sysex, clock
and transport have no channel: they count as a device's where its expectation names such a message. Outputs that no
expectation covers must stay silent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.engine.engine import Engine
from rules.errors import Problem
from rules.fields.written_messages import TimedMessage
from rules.midi.messages import SYSEX
from rules.midi.notation import Naming, format_message
from rules.program.pipeline import Pipeline
from rules.rulefile.locations import Location
from rules.rulefile.reading import Reading
from rules.rulefile.rule_tables import RuleTest
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import NANOSECONDS_PER_MS, NEVER, steady_nanoseconds

_TOLERANCE_NS: Final = 500
"""Times are written and compared to the microsecond."""

_MOST_SHOWN: Final = 8


@dataclass(frozen=True, slots=True)
class OutgoingMessage:
    """A message that came out at a port, and when: nanoseconds from the start of the test."""

    message: bytes
    due: int


@dataclass(frozen=True, slots=True)
class RuleTestResult:
    """How a test of a rule file went: its name, its place (`file:line`), and what was not as expected, in words."""

    name: str
    place: Location
    faults: tuple[Problem, ...]

    @property
    def passed(self) -> bool:
        """Whether everything came out as expected."""
        return not self.faults


def run_tests(reading: Reading, pipeline: Pipeline) -> list[RuleTestResult]:
    """Run every test of the rule files, each from the start, through the pipeline that they were compiled to."""
    ruleset = reading.ruleset
    return [
        RuleTestResult(test.name, place, tuple(_faults(ruleset, test, place, _played(ruleset, test, pipeline))))
        for test, place in zip(ruleset.tests, reading.tests, strict=True)
    ]


def _played(ruleset: RuleSet, test: RuleTest, pipeline: Pipeline) -> Mapping[str, Sequence[OutgoingMessage]]:
    """Return what comes out of each port, in order, until nothing is pending any more."""
    engine = Engine(pipeline, steady_nanoseconds(ruleset.bpm))
    engine.restore(test.switches)
    players: dict[str, int] = {}
    out: list[tuple[int, bytes, int, int]] = []
    now = 0
    for timed in test.play:
        if timed.ms is not None:
            now = int(timed.ms * NANOSECONDS_PER_MS)
        source = timed.source or test.source
        if source not in players:
            players[source] = engine.add_player(source)
        engine.feed(players[source], timed.message.data, now, out)
    while engine.next_due < NEVER:
        engine.advance(engine.next_due, out)
    came: dict[str, list[OutgoingMessage]] = {}
    for target, message, due, _ in out:
        came.setdefault(pipeline.ports[target], []).append(OutgoingMessage(message, due))
    return came


def _faults(
    ruleset: RuleSet, test: RuleTest, place: Location, came: Mapping[str, Sequence[OutgoingMessage]]
) -> Iterator[Problem]:
    covered: set[tuple[str, int]] = set()
    for name, expected in test.expect.items():
        port = ruleset.port_of(name)
        channel = ruleset.devices[name].channel if name in ruleset.devices else None
        numbers = [number for number, one in enumerate(came.get(port, ())) if _concerns(one.message, channel, expected)]
        covered.update((port, number) for number in numbers)
        arrivals = [came[port][number] for number in numbers]
        if text := _difference(expected, arrivals, channel, place.source.naming):
            yield place.inside("expect", name).problem(text)
    unexpected: dict[str, list[str]] = {}
    for port, messages in came.items():
        for number, one in enumerate(messages):
            if (port, number) not in covered:
                name = _nearest_name(ruleset, port, one.message)
                unexpected.setdefault(name, []).append(_words(one, place.source.naming))
    for name, words in unexpected.items():
        yield place.problem(f'"{name}" must stay silent, but got {_listed(words)}')


def _concerns(message: bytes, channel: int | None, expected: Sequence[TimedMessage]) -> bool:
    """Return whether a message at the port is for the device; `channel` None takes all."""
    if channel is None:
        return True
    if message[0] >= SYSEX:
        return any(not timed.message.has_channel for timed in expected)
    return (message[0] & 0x0F) + 1 == channel


def _difference(
    expected: Sequence[TimedMessage], came: Sequence[OutgoingMessage], channel: int | None, naming: Naming
) -> str:
    """Return what is not as expected, in words; empty where all is."""
    pairs = list(zip(expected, came, strict=False))
    same = next((number for number, pair in enumerate(pairs) if not _is_same(*pair, channel)), len(pairs))
    if same == len(expected) == len(came):
        return ""
    wanted = [_expected_words(timed, channel, naming) for timed in expected]
    got = [_words(one, naming, with_time=any(timed.ms is not None for timed in expected)) for one in came]
    if not wanted or max(len(wanted), len(got)) <= _MOST_SHOWN:
        return f"expected {_listed(wanted)}, but got {_listed(got)}"
    if same == len(wanted):
        return f"after message {same}: expected nothing more, but got {_listed(got[same:])}"
    return f"message {same + 1} of {len(wanted)}: expected {wanted[same]}, but got {_listed(got[same : same + 1])}"


def _is_same(timed: TimedMessage, arrival: OutgoingMessage, channel: int | None) -> bool:
    if timed.message.moved_to(channel) != arrival.message:
        return False
    return timed.ms is None or abs(timed.ms * NANOSECONDS_PER_MS - arrival.due) <= _TOLERANCE_NS


def _expected_words(timed: TimedMessage, channel: int | None, naming: Naming) -> str:
    words = format_message(timed.message.moved_to(channel), naming)
    return words if timed.ms is None else f"at {_milliseconds(float(timed.ms))} ms {words}"


def _words(arrival: OutgoingMessage, naming: Naming, *, with_time: bool = False) -> str:
    words = format_message(arrival.message, naming)
    return f"at {_milliseconds(arrival.due / NANOSECONDS_PER_MS)} ms {words}" if with_time else words


def _milliseconds(ms: float) -> str:
    """To the microsecond, as exactly as times are compared."""
    return f"{ms:.3f}".rstrip("0").rstrip(".")


def _listed(words: Sequence[str]) -> str:
    more = len(words) - _MOST_SHOWN
    return ", ".join(words[:_MOST_SHOWN]) + (f" and {more} more" if more > 0 else "") if words else "nothing"


def _nearest_name(ruleset: RuleSet, port: str, message: bytes) -> str:
    """The device that a message was for, or the port where there is no such device."""
    for name, device in ruleset.devices.items():
        if device.port == port and message[0] < SYSEX and device.channel in (None, (message[0] & 0x0F) + 1):
            return name
    return port
