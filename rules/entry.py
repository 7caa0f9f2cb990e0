"""The start of a source's rules: what turns switches, which rules take a message, and what none of them takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rules.chain import Chain, follow_chain
from rules.conditions import Condition
from rules.guards import ALWAYS, Guard
from rules.lanes import Form
from rules.language.schema import Rule, Trigger, Zone
from rules.matching import counts_as_taken, split, split_any
from rules.messages import ESCAPED_TRANSPORT, RESET, SYSEX
from rules.nodes.switch import TriggerNode

if TYPE_CHECKING:
    from rules.compile import Compiler


@dataclass(frozen=True, slots=True)
class BranchPlan:
    """A rule, or one zone of it: when it is open, its steps and where they lead."""

    number: int
    rule: Rule
    zone: Zone | None
    guard: Guard
    chain: Chain


@dataclass(frozen=True, slots=True)
class PulledTrigger:
    """A trigger and the node that it pulls."""

    trigger: Trigger
    node: TriggerNode


class BranchEntry:
    """The start of one branch: its match and its zone."""

    def __init__(self, branch: BranchPlan) -> None:
        self._branch = branch

    def fold(self, form: Form) -> list[Form]:
        """The part of a form that goes this way."""
        branch = self._branch
        match = branch.rule.match
        if form.status > SYSEX:  # clock and transport only where they are named (ruling 4)
            match = tuple(condition for condition in match if condition.kinds is not None)
        taken = split_any(form, match)[0] if match or form.status <= SYSEX else []
        if branch.zone is not None:
            taken = [inside for piece in taken for inside in split(piece, branch.zone)[0]]
        guarded = [piece.guarded(branch.guard)._replace(rule=branch.number) for piece in taken]
        return [piece for piece in guarded if piece.guard]


class SourceEntry:
    """The start of all rules of a source: triggers first, then rules in file order, then what none of them took."""

    def __init__(self, compiler: Compiler, source: str, clock: Sequence[int]) -> None:
        self._compiler = compiler
        self._source = source
        self._clock = clock
        self._layout = compiler.layout
        self._triggers = compiler.triggers(source)
        self._branches = [branch for branch in compiler.branches if source in branch.rule.source]
        self._rules = [rule for rule in compiler.ruleset.rules if source in rule.source and not rule.otherwise]

    def fold(self, form: Form) -> list[Form]:
        """Everything that becomes of a form."""
        ends, passing = self._turned(form)
        ends += [piece._replace(target=port) for piece in passing for port in self.clocked(piece)]
        left: list[Form] | None = None
        for branch in self._branches:
            start = passing
            if branch.rule.otherwise:
                left = self.left(passing) if left is None else left
                start = left
            entry = BranchEntry(branch)
            for piece in start:
                for taken in entry.fold(piece):
                    ends += follow_chain(taken, branch.chain, self._compiler.nodes)
        return ends

    def clocked(self, form: Form) -> list[int]:
        """The ports that clock and transport go to; a system reset only to those that ask for it."""
        if form.status == RESET:
            ports = self._compiler.ruleset.ports
            return [port for port in self._clock if ports[self._compiler.ports[port]].reset]
        return list(self._clock) if form.status in ESCAPED_TRANSPORT else []

    def taken(self, form: Form) -> list[Form]:
        """One form for each rule that takes a form, or part of it."""
        _, passing = self._turned(form)
        left = self.left(passing)
        taken: list[Form] = []
        for number, rule in enumerate(self._compiler.ruleset.rules):
            if self._source in rule.source:
                entry = BranchEntry(BranchPlan(number, rule, None, self._layout.guard(rule.when), ()))
                for piece in left if rule.otherwise else passing:
                    taken += entry.fold(piece)
        return taken

    def _turned(self, form: Form) -> tuple[list[Form], list[Form]]:
        """The triggers that a form pulls, and what of it passes on."""
        ends: list[Form] = []
        passing = [form]
        for pulled in self._triggers:
            condition = condition_of(pulled.trigger)
            ends += [piece._replace(node=pulled.node) for piece in split(form, condition)[0]]
            if not pulled.trigger.thru:
                passing = [rest for piece in passing for rest in split(piece, condition)[1]]
        return ends, passing

    def left(self, passing: Sequence[Form]) -> list[Form]:
        """What no rule without `otherwise` takes (ruling 5)."""
        left = list(passing)
        for rule in self._rules:
            guard = self._layout.guard(rule.when)
            left = [piece for form in left for piece in self._not_taken(form, rule, guard)]
        return left

    def _not_taken(self, form: Form, rule: Rule, guard: Guard) -> list[Form]:
        if form.status > SYSEX:
            return [form]
        conditions = [condition for condition in rule.match if counts_as_taken(form, condition)]
        if rule.match and not conditions:
            return [form]
        taken, rest = split_any(form, conditions)
        if guard != ALWAYS:
            shut = self._layout.negated(guard)
            rest += [open_piece for piece in taken if (open_piece := piece.guarded(shut)).guard]
        return rest


class CountedEntry:
    """The end of a chain that only counts: the rules that take a form."""

    def __init__(self, entry: SourceEntry) -> None:
        self._entry = entry

    def fold(self, form: Form) -> list[Form]:
        """Forms that arrive, at no port in particular."""
        return [piece._replace(target=0) for piece in self._entry.taken(form)]


def condition_of(trigger: Trigger) -> Condition:
    """What a trigger asks of a message."""
    if trigger.note is not None:
        return Condition(kind=frozenset({"note"}), channel=trigger.channel, notes=frozenset({trigger.note}))
    if trigger.controller is not None:
        return Condition(channel=trigger.channel, controller=frozenset({trigger.controller}))
    if trigger.program is not None:
        return Condition(channel=trigger.channel, program=frozenset({trigger.program}))
    return Condition(kind=frozenset({trigger.kind or ""}))
