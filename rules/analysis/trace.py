"""Why a message ends up where it does: one message followed through every rule and step, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rules.analysis.mismatch import mismatch
from rules.analysis.node_recorder import NodeRecorder, Passing
from rules.compiler.chain import Chain, DeliverLink, OutletLink, RangeLink, StepLink
from rules.compiler.compiler import Compiler
from rules.compiler.sources import BranchEntry, BranchPlan, PulledTrigger, SourceEntry, condition_of
from rules.compiler.switch_guards import guard_of
from rules.fields.conditions import Condition
from rules.fields.matching import split_any
from rules.fields.written_messages import DelayedMessage
from rules.findings.clock_findings import clock_advice
from rules.midi.controllers import SWITCH_ON
from rules.midi.din import microseconds_on_wire
from rules.midi.messages import ACTIVE_SENSING, CONTROLLER, NOTE_OFF, SYSEX, TRANSPORT, split_message
from rules.midi.notation import STANDARD, Naming, format_message
from rules.program.clock_orders import CONTINUE_ORDER, START_ORDER, STOP_ORDER, TAP_ORDER
from rules.program.forms import Form, form_of
from rules.program.guards import Guard, holds
from rules.program.switch_states import Layout, State
from rules.rulefile.clock_table import OWN
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import AdvanceTrigger, OnOffSwitch
from rules.steps.clock_trigger_node import ClockTriggerNode
from rules.steps.press_node import PressNode
from rules.timing.delays import AT_ONCE, Delay, in_words


@dataclass(frozen=True, slots=True)
class TraceLine:
    """One line of the story. `depth` indents it; `outcomes` are what arrives there: (port, message); `late` says that a
    delay holds it up, `is_arrival` that a rule or the clock brought it to its port, `is_refusal` that a rule or zone
    doesn't take the message. `rule` is the rule that takes it there, `target` the device or port that it goes to."""

    depth: int
    text: str
    outcomes: tuple[tuple[str, bytes], ...] = ()
    late: bool = False
    is_arrival: bool = False
    is_refusal: bool = False
    rule: str = ""
    target: str = ""


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
                story, passing = self._through(link, passing, 0)
                lines += story
        for one in passing:
            lines += self._enter(entry, one)
        lines = _once(lines)
        return [*lines, *self._wires(lines)] or [TraceLine(0, "goes nowhere: the steps of its port drop it")]

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
        for pulled in pulling:
            if not self._acts_later(pulled, one, form):
                yield from self._pull(pulled, one, form)
        yield from self._pull_later([pulled for pulled in pulling if self._acts_later(pulled, one, form)], one, form)
        if not all(pulled.trigger.pass_on for pulled in pulling):
            return
        for port in entry.clocked(form):
            yield TraceLine(0, "clock and transport go by port")
            yield self._arrival(port, one, 1)
        following = self._following(form)
        for port in following:
            yield TraceLine(0, f"your clock follows {self._source}")
            yield self._arrival(port, one, 1)
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

    def _acts_later(self, pulled: PulledTrigger, one: Passing, form: Form) -> bool:
        """Return whether a message is a press that acts when it has been held, or is let go."""
        is_press = _is_press(form.status, split_message(one.message)[2])
        return is_press and bool(_acting(pulled.node, form.status))

    def _pull(self, pulled: PulledTrigger, one: Passing, form: Form) -> Iterator[TraceLine]:
        """Return what a message does to a switch at once, and what that sends."""
        before = self._word
        recorder = NodeRecorder(self.layout, self._word, one)
        recorder.hand(pulled.node, form.status, *split_message(one.message)[1:])
        self._word = recorder.word
        told = _turning(pulled, self.layout, before, self._word)
        if within := _within(pulled.node, form.status):
            told += f", unless it ends a press of less than {within} ms"
        yield TraceLine(0, f"{told}, {_passing_words(pulled)}")
        yield from self._sent_by_turning(before, recorder.chosen)

    def _pull_later(self, pulling: Sequence[PulledTrigger], one: Passing, form: Form) -> Iterator[TraceLine]:
        """Return what a press does to switches when it is held, in order of time, or let go. Rules see it before."""
        at_once = self._word
        for pulled in sorted(pulling, key=lambda pulled: pulled.node.long):
            is_sure = pulled.node.long > 0
            before = self._word if is_sure else at_once
            recorder = NodeRecorder(self.layout, before, one)
            pulled.node.pressed(0, recorder)
            self._word = recorder.word
            told = _turning(pulled, self.layout, before, self._word)
            yield TraceLine(0, f"{_acting(pulled.node, form.status)}: {told}, {_passing_words(pulled)}")
            for line in self._sent_by_turning(before, recorder.chosen):
                yield replace(line, late=True, outcomes=line.outcomes if is_sure else ())
            if not is_sure:
                self._word = at_once
        self._word = at_once

    def _sent_by_turning(self, before: int, chosen: str | None) -> Iterator[TraceLine]:
        """Return what switches send that were at `before`; one of them may be `chosen` in the state that it was in."""
        for turned in self._ruleset.on_switch:
            guard = guard_of(self.layout, turned.when)
            if not holds(guard, self._word):
                continue
            if not holds(guard, before):
                yield TraceLine(1, f"now {turned.when}, which sends:" if turned.send else f"now {turned.when}")
            elif chosen is not None and self._decides(chosen, guard):
                yield TraceLine(1, f"again {turned.when}, which sends:" if turned.send else f"again {turned.when}")
            else:
                continue
            for name, messages in turned.send.items():
                yield from (self._sent_to(name, message) for message in messages)
            if turned.bpm is not None:
                yield TraceLine(2, f"sets the tempo to {turned.bpm:g} BPM")
            yield from (TraceLine(2, f"asks for: {effect}") for effect in turned.do)

    def _decides(self, switch: str, guard: Guard) -> bool:
        """Return whether a condition that holds now is true because of a switch."""
        states = self.layout.fields[switch].states
        return not all(holds(guard, self.layout.turned(self._word, switch, state)) for state in states)

    def _sent_to(self, name: str, written: DelayedMessage) -> TraceLine:
        device = self._ruleset.devices.get(name)
        message = written.message.moved_to(device.channel if device is not None else None)
        port = self._ruleset.port_of(name)
        words = f"to port {port}: {format_message(message, self._naming)}{_later(written.after)}"
        return TraceLine(2, words, ((port, message),))

    def _rules(self, entry: SourceEntry, one: Passing, form: Form) -> Iterator[tuple[list[TraceLine], bool]]:
        for branch in self._branches():
            rule = branch.rule
            head = f'rule "{rule.name}"{_zone_words(branch)}: '
            refusal = self._refusal(entry, branch, form, one.message)
            if refusal is not None:
                yield [TraceLine(0, head + refusal.reason, is_refusal=True)], refusal.counts_as_taken
                continue
            lines = [TraceLine(0, head + "matches", rule=rule.name or "")]
            lines += self._follow(branch.chain, [one], 1)
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

    # -- along a chain ----------------------------------------------------------------------------------------------

    def _follow(self, chain: Chain, passing: Sequence[Passing], depth: int) -> list[TraceLine]:
        lines: list[TraceLine] = []
        for link in chain:
            if isinstance(link, OutletLink):
                for one in passing:
                    lines += self._divide(link, one, depth)
                return lines
            story, passing = self._through(link, passing, depth)
            lines += story
            if not passing:
                return lines
            if isinstance(link, DeliverLink):
                return lines + self._arrivals(link, passing, depth)
        return lines

    def _divide(self, link: OutletLink, one: Passing, depth: int) -> list[TraceLine]:
        """To every name that its channel leads to."""
        channel = form_of(one.message).channel
        names = link.names_for(channel)
        if not names:
            return [TraceLine(depth, f"{self._told(one)}: `to` has nothing for channel {channel}, so it is dropped")]
        lines = []
        for name in names:
            lines.append(TraceLine(depth, f"{self._told(one)}: to {name}", target=name))
            lines += self._follow(link.end_of(name), [one], depth + 1)
        return lines

    def _arrivals(self, link: DeliverLink, passing: Sequence[Passing], depth: int) -> list[TraceLine]:
        return [self._arrival(link.target, one, depth) for one in passing]

    def _arrival(self, target: int, one: Passing, depth: int) -> TraceLine:
        port = self._compiler.ports[target]
        later = _later(one.delay)
        text = f"arrives at port {port}: {self._told(one)}{later}"
        return TraceLine(depth, text, ((port, one.message),), late=bool(later), is_arrival=True)

    def _through(self, link: object, passing: Sequence[Passing], depth: int) -> tuple[list[TraceLine], list[Passing]]:
        """Return what one link makes of each message, and the words for it."""
        lines: list[TraceLine] = []
        after: list[Passing] = []
        for one in passing:
            made = self._made(link, one)
            after += made
            if isinstance(link, StepLink):
                lines.append(TraceLine(depth, self._step_words(link, one, made)))
            elif isinstance(link, RangeLink) and [new.message for new in made] != [one.message]:
                told = ", ".join(map(self._told, made)) or "dropped"
                lines.append(TraceLine(depth, f"outside the notes of the device: {told}"))
        return lines, after

    def _step_words(self, link: StepLink, one: Passing, made: Sequence[Passing]) -> str:
        if link.when is not None and not holds(link.open, self._word):
            return f"{link.step.words(self._naming)}: not now, it waits for {link.when}"
        if [new.message for new in made] == [one.message] and made[0].delay == one.delay:
            return f"{link.step.words(self._naming)}: passes unchanged"
        told = ", ".join(self._told(new) + _later(new.delay) for new in made)
        return f"{link.step.words(self._naming)}: {told or 'dropped'}"

    def _made(self, link: object, one: Passing) -> list[Passing]:
        """The messages that one link makes of one message."""
        assert isinstance(link, StepLink | RangeLink | DeliverLink)
        form = form_of(one.message)
        _, first, second = split_message(one.message)
        made: list[Passing] = []
        for new in link.fold(form):
            if not new.exists or not holds(new.guard, self._word):
                continue
            recorder, lane = NodeRecorder(self.layout, self._word, one), new.lane()
            if new.node is not None:
                recorder.hand(new.node, new.status, lane.first(first, second), lane.second(first, second))
            else:
                recorder.note(new.status, lane.first(first, second), lane.second(first, second), one.delay)
            made += recorder.made
        return made

    def _told(self, one: Passing) -> str:
        return format_message(one.message, self._naming)


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


def _is_press(status: int, second: int) -> bool:
    """Return whether a message presses what it pulls, rather than letting it go."""
    kind = status & 0xF0
    return second >= SWITCH_ON if kind == CONTROLLER else kind != NOTE_OFF


def _within(node: PressNode, status: int) -> int:
    """Return how many ms a press may last so that its release acts; 0 where that doesn't act."""
    return 0 if node.long or node.has_release or status >= SYSEX else node.patience[status & 0x0F]


def _acting(node: PressNode, status: int) -> str:
    """Return when a press acts, in words; empty where that is at once."""
    if node.long:
        return f"when held for {node.long} ms"
    within = _within(node, status)
    return f"when let go within {within} ms" if within else ""


def _passing_words(pulled: PulledTrigger) -> str:
    return "and passes on" if pulled.trigger.pass_on else "and is not passed on"


_TO_CLOCK: Final = {
    START_ORDER: "starts your clock",
    CONTINUE_ORDER: "lets your clock continue",
    STOP_ORDER: "stops your clock",
    TAP_ORDER: "taps the tempo",
}


def _turning(pulled: PulledTrigger, layout: Layout, before: int, after: int) -> str:
    """Return what becomes of a switch, or is asked of our clock, in words."""
    if isinstance(pulled.node, ClockTriggerNode):
        return _TO_CLOCK[str(pulled.node.order)]
    name, trigger = pulled.node.switch, pulled.trigger
    state = _state_words(layout.state(after, name))
    if before == after:
        return f'leaves the switch "{name}" at {state}'
    if isinstance(trigger, AdvanceTrigger):
        return f'advances the switch "{name}" by {trigger.by:+d} to {state}'
    verb = "toggles" if isinstance(trigger, OnOffSwitch) and trigger.mode == "toggle" else "sets"
    return f'{verb} the switch "{name}" to {state}'


def _state_words(state: State) -> str:
    return str(state) if not isinstance(state, bool) else "on" if state else "off"


def _later(delay: Delay) -> str:
    return "" if delay == AT_ONCE else f", {in_words(delay)} later"
