"""Why a message ends up where it does: one message followed through every rule and step, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rules.analysis.mismatch import mismatch
from rules.analysis.node_recorder import Passing
from rules.analysis.trace_chain import ChainStory
from rules.analysis.trace_line import TraceLine
from rules.analysis.trace_triggers import TriggerStory
from rules.compiler.compiler import Compiler
from rules.compiler.sources import BranchEntry, BranchPlan, SourceEntry, condition_of
from rules.compiler.switch_guards import guard_of
from rules.fields.conditions import Condition
from rules.fields.matching import split_any
from rules.findings.clock_findings import clock_advice
from rules.midi.din import microseconds_on_wire
from rules.midi.messages import ACTIVE_SENSING, SYSEX, TRANSPORT
from rules.midi.notation import STANDARD, Naming
from rules.program.forms import Form, form_of
from rules.program.guards import holds
from rules.program.switch_states import Layout, State
from rules.rulefile.clock_table import OWN
from rules.rulefile.ruleset import RuleSet


@dataclass(frozen=True, slots=True)
class _Refusal:
    """Why a rule or zone does not take a message. What falls into a gap between zones counts as taken (ruling 6)."""

    reason: str
    counts_as_taken: bool = False


def trace(
    ruleset: RuleSet,
    source: str,
    message: bytes,
    switches: Mapping[str, State] | None = None,
    naming: Naming = STANDARD,
) -> list[TraceLine]:
    """The way of one message from a source, with switches as given (the others as at the start).

    Only today's rules are told, not what the ledger would add for notes that are held. Raises KeyError or ValueError
    for switches and states that don't exist.
    """
    return Tracer(ruleset, source, naming).lines(message, switches)


class Tracer:
    """Follows messages from one source, each by itself."""

    def __init__(self, ruleset: RuleSet, source: str, naming: Naming = STANDARD) -> None:
        self._compiler = Compiler(ruleset, ())
        self._ruleset = ruleset
        self._source = source
        self._naming = naming
        self._word = self.layout.initial

    @property
    def layout(self) -> Layout:
        """How switch states are packed."""
        return self._compiler.layout

    def lines(self, message: bytes, switches: Mapping[str, State] | None = None) -> list[TraceLine]:
        """Return the way of one message, with switches as given. Raises as `trace` does."""
        self._word = self.layout.initial
        for name, state in (switches or {}).items():
            self._word = self.layout.turned(self._word, name, state)
        if message[0] == ACTIVE_SENSING:
            return [TraceLine(0, "goes nowhere: active sensing only shows that the cable is connected")]
        entry = self._compiler.entry(self._source, self._compiler.clock_ports(self._source))
        passing = [Passing(message)]
        lines: list[TraceLine] = []
        if message[0] <= SYSEX:
            for link in self._compiler.port_steps(self._source):
                story, passing = self._chains().through(link, passing, 0)
                lines += story
        for one in passing:
            lines += self._enter(entry, one)
        lines = _once(lines)
        return [*lines, *self._wires(lines)] or [TraceLine(0, "goes nowhere: the steps of its port drop it")]

    def _chains(self) -> ChainStory:
        return ChainStory(self._compiler.ports, self.layout, self._word, self._naming)

    def _wires(self, lines: Sequence[TraceLine]) -> Iterator[TraceLine]:
        """Return how long all that arrives keeps the 5-pin wires busy."""
        for name, port in self._ruleset.ports.items():
            arrived = [message for line in lines for at, message in line.outcomes if at == name]
            if arrived and port.connection == "din":
                busy = microseconds_on_wire(arrived) / 1000
                yield TraceLine(0, f"keeps the DIN connection of {name} busy for {busy:g} ms")

    def _enter(self, entry: SourceEntry, one: Passing) -> Iterator[TraceLine]:
        form = form_of(one.message)
        triggers = self._compiler.triggers(self._source)
        pulling = [pulled for pulled in triggers if self._fits(form, [condition_of(pulled.trigger)])]
        story = TriggerStory(self._ruleset, self.layout, self._word, self._naming)
        yield from story.pull(pulling, one, form)
        self._word = story.word
        if not all(pulled.trigger.pass_on for pulled in pulling):
            return
        for port in entry.clocked(form):
            yield TraceLine(0, "clock and transport go by port")
            yield self._chains().arrival(port, one, 1)
        following = self._following(form)
        for port in following:
            yield TraceLine(0, f"your clock follows {self._source}")
            yield self._chains().arrival(port, one, 1)
        taken = False
        for rule_lines, took in self._rules(entry, one, form):
            taken = taken or took
            yield from rule_lines
        if taken or following or entry.clocked(form):
            return
        is_signal = form.status > SYSEX
        no_rule = "no rule matches" if self._branches() else f'no rule has `from = "{self._source}"`'
        reasons = clock_advice(self._compiler, self._source, form.status) if is_signal else [no_rule]
        yield from (TraceLine(0, f"goes nowhere: {reason}") for reason in reasons)

    def _following(self, form: Form) -> list[int]:
        """The ports that get clock and transport of the source because ours follows it."""
        if form.status not in TRANSPORT or self._ruleset.clock.follow != self._source:
            return []
        ports = self._ruleset.ports
        return [number for number in self._compiler.present if ports[self._compiler.ports[number]].clock == OWN]

    def _rules(self, entry: SourceEntry, one: Passing, form: Form) -> Iterator[tuple[list[TraceLine], bool]]:
        for branch in self._branches():
            rule = branch.rule
            head = f'rule "{rule.name}"{_zone_words(branch)}: '
            refusal = self._refusal(entry, branch, form, one.message)
            if refusal is not None:
                yield [TraceLine(0, head + refusal.reason, is_refusal=True)], refusal.counts_as_taken
                continue
            lines = [TraceLine(0, head + "matches", rule=rule.name or "")]
            lines += self._chains().follow(branch.chain, [one], 1)
            yield lines, True

    def _branches(self) -> list[BranchPlan]:
        return [branch for branch in self._compiler.branches if self._source in branch.rule.source]

    def _refusal(self, entry: SourceEntry, branch: BranchPlan, form: Form, message: bytes) -> _Refusal | None:
        """Return why a branch doesn't take a message; None when it does."""
        rule, zone = branch.rule, branch.zone
        if form.status > SYSEX and not rule.match:
            return _Refusal("clock and transport don't go by rules")
        if reason := mismatch(message, rule.match, self._naming):
            return _Refusal(f"doesn't match: `match` {reason}")
        if rule.otherwise and not any(holds(left.guard, self._word) for left in entry.left([form])):
            return _Refusal("another rule matched (otherwise)")
        if rule.when is not None and not holds(guard_of(self.layout, rule.when), self._word):
            return _Refusal(f"not now, it waits for {rule.when}")
        if zone is not None and (reason := mismatch(message, [zone], self._naming)):
            return _Refusal(f"not in this zone: it {reason}", counts_as_taken=True)
        if zone is not None and zone.when is not None and not holds(guard_of(self.layout, zone.when), self._word):
            return _Refusal(f"not now, the zone waits for {zone.when}")
        return None if BranchEntry(branch).fold(form) else _Refusal("doesn't match")

    def _fits(self, form: Form, conditions: Sequence[Condition]) -> bool:
        return bool(split_any(form, conditions)[0])


def _zone_words(branch: BranchPlan) -> str:
    if branch.zone is None:
        return ""
    name = branch.zone.name
    return f", zone {branch.zone_number + 1}" if name is None else f', zone "{name}"'


def _once(lines: Sequence[TraceLine]) -> list[TraceLine]:
    """No message goes twice to one port at one time (ruling 7); what a switch sends is worded, and counts, apart."""
    arrived: set[str] = set()
    kept = []
    for line in lines:
        if line.is_arrival and line.text in arrived:
            kept.append(TraceLine(line.depth, f"{line.text}: already sent there, so it goes out once"))
        else:
            kept.append(line)
        if line.is_arrival:
            arrived.add(line.text)  # it tells port, message and time
    return kept
