"""The tests that rule files carry: each is played through the real engine, and what comes out is compared (ruling 35).

A device's name stands for what arrives at its port on its channel, a port's name for all that it gets. Sysex, clock
and transport have no channel: they count as a device's where its expectation names such a message. Outputs that no
expectation covers must stay silent. Our clock sends no clock messages there: nobody wants to write 24 a quarter note.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.engine.session import Session
from rules.errors import Problem
from rules.fields.written_messages import TimedMessage
from rules.midi.messages import SYSEX
from rules.midi.notation import Naming, format_message
from rules.program.pipeline import Pipeline
from rules.rulefile.locations import Location
from rules.rulefile.reading import Reading
from rules.rulefile.rule_tables import RuleTest
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import NANOSECONDS_PER_MS, NEVER

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
    session = Session(ruleset, pipeline, ticks=False)
    session.engine.restore(test.switches)
    out: list[tuple[int, bytes, int, int]] = []
    now = 0
    for timed in test.play:
        if timed.ms is not None:
            now = int(timed.ms * NANOSECONDS_PER_MS)
        session.arrive(session.players[timed.source or test.source], timed.message.data, now, out)
    while session.next_due < NEVER:
        session.advance(session.next_due, out)
    came: dict[str, list[OutgoingMessage]] = {}
    for target, message, due, _ in out:
        came.setdefault(pipeline.ports[target], []).append(OutgoingMessage(message, due))
    return came


def _faults(
    ruleset: RuleSet, test: RuleTest, place: Location, came: Mapping[str, Sequence[OutgoingMessage]]
) -> Iterator[Problem]:
    arrivals = {port: _Arrivals(messages) for port, messages in came.items()}
    covered: set[tuple[str, int]] = set()
    for name, expected in test.expect.items():
        port = ruleset.port_of(name)
        channel = ruleset.devices[name].channel if name in ruleset.devices else None
        numbers = arrivals[port].of(channel, expected) if port in arrivals else []
        covered.update((port, number) for number in numbers)
        got = [came[port][number] for number in numbers]
        if text := _difference(expected, got, channel, place.source.naming):
            yield place.inside("expect", name).problem(text)
    names = _first_names(ruleset)
    unexpected: dict[str, list[OutgoingMessage]] = {}
    for port, messages in came.items():
        for number, one in enumerate(messages):
            if (port, number) not in covered:
                name = names.get((port, _channel(one.message)), port)
                unexpected.setdefault(name, []).append(one)
    for name, strays in unexpected.items():
        words = _listed([_words(one, place.source.naming) for one in strays[:_MOST_SHOWN]], len(strays))
        yield place.problem(f'"{name}" must stay silent, but got {words}')


class _Arrivals:
    """The messages that came to a port, by channel."""

    def __init__(self, messages: Sequence[OutgoingMessage]) -> None:
        self._all = range(len(messages))
        self._by_channel: dict[int | None, list[int]] = {}
        for number, one in enumerate(messages):
            self._by_channel.setdefault(_channel(one.message), []).append(number)

    def of(self, channel: int | None, expected: Sequence[TimedMessage]) -> Sequence[int]:
        """Return the numbers of the messages that are for a device; `channel` None takes all."""
        if channel is None:
            return self._all
        found = self._by_channel.get(channel, [])
        if any(not timed.message.has_channel for timed in expected):
            return sorted(found + self._by_channel.get(None, []))
        return found


def _channel(message: bytes) -> int | None:
    """The channel 1-16 of a message; None for those without one."""
    return (message[0] & 0x0F) + 1 if message[0] < SYSEX else None


def _first_names(ruleset: RuleSet) -> Mapping[tuple[str, int | None], str]:
    """The first device for each channel of each port."""
    found: dict[tuple[str, int | None], str] = {}
    for name, device in ruleset.devices.items():
        for channel in range(1, 17) if device.channel is None else (device.channel,):
            found.setdefault((device.port, channel), name)
    return found


def _difference(
    expected: Sequence[TimedMessage], came: Sequence[OutgoingMessage], channel: int | None, naming: Naming
) -> str:
    """Return what is not as expected, in words; empty where all is."""
    pairs = list(zip(expected, came, strict=False))
    same = next((number for number, pair in enumerate(pairs) if not _is_same(*pair, channel)), len(pairs))
    if same == len(expected) == len(came):
        return ""
    with_time = any(timed.ms is not None for timed in expected)

    def wanted(messages: Sequence[TimedMessage]) -> str:
        return _listed([_expected_words(timed, channel, naming) for timed in messages])

    def got(messages: Sequence[OutgoingMessage]) -> str:
        first = messages[:_MOST_SHOWN]
        return _listed([_words(one, naming, with_time=with_time) for one in first], len(messages))

    if not expected or max(len(expected), len(came)) <= _MOST_SHOWN:
        return f"expected {wanted(expected)}, but got {got(came)}"
    if same == len(expected):
        return f"after message {same}: expected nothing more, but got {got(came[same:])}"
    here = slice(same, same + 1)
    return f"message {same + 1} of {len(expected)}: expected {wanted(expected[here])}, but got {got(came[here])}"


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


def _listed(words: Sequence[str], amount: int = 0) -> str:
    """Put words in a row; `amount` is of how many they are the first."""
    more = amount - len(words)
    return ", ".join(words) + (f" and {more} more" if more > 0 else "") if words else "nothing"
