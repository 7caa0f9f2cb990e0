"""The start of a source's rules: what turns switches, which rules take a message, and what none of them takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from rules.compiler.chain import Chain, Nodes, OutletLink, StepLink, follow_chain
from rules.compiler.switch_guards import guard_of, words_of
from rules.fields.conditions import Condition
from rules.fields.matching import counts_as_taken, split, split_any, statuses_of
from rules.fields.when import When
from rules.midi.messages import ESCAPED_TRANSPORT, RESET, SYSEX
from rules.program.forms import Form
from rules.program.guards import ALWAYS, Guard, TooManyCubesError
from rules.program.switch_states import Layout
from rules.rulefile.rule_tables import Rule, Zone
from rules.rulefile.switch_tables import Trigger
from rules.steps.clock_trigger_node import ClockTriggerNode
from rules.steps.trigger_node import TriggerNode


@dataclass(frozen=True, slots=True)
class RuleCondition:
    """What a rule by its number, or one zone of it, asks of messages and, by `guard`, of the switches."""

    number: int
    rule: Rule
    zone: Zone | None
    guard: Guard

    @property
    def when(self) -> When | None:
        """What asks for the switches: the zone, or else the rule."""
        return self.rule.when if self.zone is None or self.zone.when is None else self.zone.when


@dataclass(frozen=True, slots=True)
class BranchPlan(RuleCondition):
    """A rule, or one zone of it with its number from 0: what it asks for, its steps, and where they lead."""

    zone_number: int
    steps: tuple[StepLink, ...]
    outlet: OutletLink

    @property
    def chain(self) -> Chain:
        """The steps, and the outlet behind them."""
        return (*self.steps, self.outlet)


@dataclass(frozen=True, slots=True)
class PulledTrigger:
    """A trigger and the node that it pulls: one that turns a switch, or one that asks our clock for something."""

    trigger: Trigger
    node: TriggerNode | ClockTriggerNode


class BranchEntry:
    """The start of one branch: its match and its zone."""

    def __init__(self, condition: RuleCondition, chain: Chain = ()) -> None:
        self.condition = condition
        self.otherwise = condition.rule.otherwise
        self.chain = chain

    def statuses(self) -> frozenset[int]:
        """The statuses of which anything can go this way: a rule is asked for no others."""
        match, zone = self.condition.rule.match, self.condition.zone
        found = _ROUTED if not match else frozenset[int]().union(*map(_statuses_matched, match))
        return found if zone is None else found & statuses_of(zone)

    def fold(self, form: Form) -> list[Form]:
        """The part of a form that goes this way. Raises TooManyCubesError."""
        asked = self.condition
        match = asked.rule.match
        if form.status > SYSEX:  # clock and transport only where they are named (ruling 4)
            match = tuple(condition for condition in match if condition.kinds is not None)
        taken = split_any(form, match)[0] if match or form.status <= SYSEX else []
        if asked.zone is not None:
            taken = [inside for piece in taken for inside in split(piece, asked.zone)[0]]
        try:
            guarded = [piece.guarded(asked.guard)._replace(rule=asked.rule.name or "") for piece in taken]
        except TooManyCubesError as error:
            raise error.asked_by(asked.when, words_of(asked.when)) from None
        return [piece for piece in guarded if piece.guard]


_ROUTED = frozenset(range(0x80, SYSEX + 1))
"""The statuses that rules route without being told to (ruling 4)."""


def _statuses_matched(condition: Condition) -> frozenset[int]:
    statuses = statuses_of(condition)
    return statuses if condition.kinds is not None else statuses & _ROUTED


@dataclass(frozen=True, slots=True)
class SourceParts:
    """What a rule set says of one source: its triggers, its rules with their numbers, and these branch by branch.

    `clock` are the numbers of the ports that its clock and transport go to, `resets` those that ask for a system reset.
    """

    triggers: Sequence[PulledTrigger]
    rules: Sequence[tuple[int, Rule]]
    branches: Sequence[BranchPlan]
    clock: Sequence[int]
    resets: frozenset[int]


class SourceEntry:
    """The start of all rules of a source: triggers first, then rules in file order, then what none of them took."""

    def __init__(self, parts: SourceParts, layout: Layout, nodes: Nodes) -> None:
        self._layout = layout
        self._nodes = nodes
        self._triggers = parts.triggers
        self._clock = parts.clock
        self._resets = parts.resets
        whole = [RuleCondition(number, rule, None, guard_of(layout, rule.when)) for number, rule in parts.rules]
        self._rules = _by_status(map(BranchEntry, whole))
        self._branches = _by_status(BranchEntry(branch, branch.chain) for branch in parts.branches)

    def fold(self, form: Form) -> list[Form]:
        """Everything that becomes of a form."""
        ends, passing = self._turned(form)
        ends += [piece._replace(target=port) for piece in passing for port in self.clocked(piece)]
        for entry, taken in self._routed(form.status, passing, self._branches):
            ends += follow_chain(taken, entry.chain, self._nodes)
        return ends

    def _routed(
        self, status: int, passing: Sequence[Form], entries: Mapping[int, Sequence[BranchEntry]]
    ) -> Iterator[tuple[BranchEntry, Form]]:
        """Each entry that forms of a status go through, in order, with what it takes."""
        left: Sequence[Form] | None = None
        for entry in entries.get(status, ()):
            start = passing
            if entry.otherwise:
                left = self.left(passing) if left is None else left
                start = left
            for piece in start:
                for taken in entry.fold(piece):
                    yield entry, taken

    def clocked(self, form: Form) -> list[int]:
        """The ports that clock and transport go to; a system reset only to those that ask for it."""
        if form.status == RESET:
            return [port for port in self._clock if port in self._resets]
        return list(self._clock) if form.status in ESCAPED_TRANSPORT else []

    def taken(self, form: Form) -> list[tuple[int, Form]]:
        """The number of each rule that takes a form, or part of it, with what it takes."""
        _, passing = self._turned(form)
        return [(entry.condition.number, taken) for entry, taken in self._routed(form.status, passing, self._rules)]

    def branched(self, form: Form) -> Iterator[tuple[Chain, Form]]:
        """Return what each branch takes of a form, in order, with the chain that follows."""
        _, passing = self._turned(form)
        return ((entry.chain, taken) for entry, taken in self._routed(form.status, passing, self._branches))

    def let_in(self, form: Form) -> list[Form]:
        """Return what of a form the rules get to see."""
        return self._turned(form)[1]

    def kept_by_switches(self, form: Form) -> list[Form]:
        """Return what of a form changes a switch and isn't passed on."""
        pulled = (trigger.trigger for trigger in self._triggers if not trigger.trigger.pass_on)
        return [piece for trigger in pulled for piece in split(form, condition_of(trigger))[0]]

    def _turned(self, form: Form) -> tuple[list[Form], list[Form]]:
        """The triggers that a form pulls, and what of it passes on."""
        ends: list[Form] = []
        passing = [form]
        for pulled in self._triggers:
            condition = condition_of(pulled.trigger)
            ends += [piece._replace(node=pulled.node) for piece in split(form, condition)[0]]
            if not pulled.trigger.pass_on:
                passing = [rest for piece in passing for rest in split(piece, condition)[1]]
        return ends, passing

    def left(self, passing: Sequence[Form]) -> list[Form]:
        """Return what no rule without `otherwise` takes (ruling 5) of forms with one status."""
        left = list(passing)
        for entry in self._rules.get(passing[0].status, ()) if passing else ():
            if not entry.otherwise:
                left = [piece for form in left for piece in self._not_taken(form, entry.condition)]
        return left

    def _not_taken(self, form: Form, asked: RuleCondition) -> list[Form]:
        rule, guard = asked.rule, asked.guard
        if form.status > SYSEX:
            return [form]
        conditions = [condition for condition in rule.match if counts_as_taken(form, condition)]
        if rule.match and not conditions:
            return [form]
        taken, rest = split_any(form, conditions)
        if guard == ALWAYS:
            return rest
        try:
            shut = self._layout.negated(guard)
            return rest + [open_piece for piece in taken if (open_piece := piece.guarded(shut)).guard]
        except TooManyCubesError as error:
            raise error.asked_by(rule.when, f'rule "{rule.name}"') from None


def _by_status(entries: Iterable[BranchEntry]) -> Mapping[int, Sequence[BranchEntry]]:
    """Those that are to be asked under each status, in order."""
    found: dict[int, list[BranchEntry]] = {}
    for entry in entries:
        for status in entry.statuses():
            found.setdefault(status, []).append(entry)
    return found


class ArrivingEntry:
    """The end of a chain that only asks what comes to the rules, and isn't consumed by a switch."""

    def __init__(self, entry: SourceEntry) -> None:
        self._entry = entry

    def fold(self, form: Form) -> list[Form]:
        """Forms that arrive, at no port in particular."""
        return [piece._replace(target=0) for piece in self._entry.let_in(form)]


class CountedEntry:
    """The end of a chain that only counts: the rules that take a form."""

    def __init__(self, entry: SourceEntry) -> None:
        self._entry = entry

    def fold(self, form: Form) -> list[Form]:
        """Forms that arrive: the number of the rule stands where else the port's is."""
        return [taken._replace(target=number) for number, taken in self._entry.taken(form)]


def condition_of(trigger: Trigger) -> Condition:
    """Return what a trigger asks of a message."""
    if trigger.note is not None:
        return Condition(kind=frozenset({"note"}), channel=trigger.channel, notes=frozenset({trigger.note}))
    if trigger.controller is not None:
        return Condition(channel=trigger.channel, controller=frozenset({trigger.controller}))
    if trigger.program is not None:
        return Condition(channel=trigger.channel, program=frozenset({trigger.program}))
    return Condition(kind=frozenset({trigger.kind or ""}))
