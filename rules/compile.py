"""Rules to a pipeline: every rule of every source folded into tables, once, when the rules are read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from rules.cells import CellMaker
from rules.chain import (
    Chain,
    DeliverLink,
    Nodes,
    OutletLink,
    device_links,
    follow_chain,
    identity_forms,
    step_links,
)
from rules.conditions import Condition
from rules.guards import ALWAYS, Guard, both
from rules.lanes import Form
from rules.language.ruleset import RuleSet
from rules.language.schema import OnOffSwitch, Outlet, Rule, Trigger, Zone
from rules.matching import counts_as_taken, split, split_any
from rules.messages import RESET, SYSEX, TRANSPORT
from rules.nodes.switch import TriggerNode
from rules.notation import MessageText
from rules.pipeline import Branch, Pipeline, SwitchSend, Table
from rules.sharing import shared_banks, shared_channels
from rules.switches import Layout


def compile_rules(ruleset: RuleSet, ports: Sequence[str] = ()) -> Pipeline:
    """The pipeline of a checked rule set. `ports` are the output ports of the pipeline that it will replace, if any:
    they keep their numbers."""
    return _Compiler(ruleset, ports).pipeline()


@dataclass(frozen=True, slots=True)
class _Branch:
    """A rule, or one zone of it."""

    number: int
    rule: Rule
    zone: Zone | None
    guard: Guard
    chain: Chain


class _Compiler:
    def __init__(self, ruleset: RuleSet, ports: Sequence[str]) -> None:
        self.ruleset = ruleset
        self.layout = Layout(ruleset.switches)
        outputs = [name for name, port in ruleset.ports.items() if port.can_send]
        self.ports = (*ports, *(name for name in outputs if name not in ports))
        self.number = {name: number for number, name in enumerate(self.ports)}
        self.present = frozenset(self.number[name] for name in outputs)
        self.sources = tuple(name for name, port in ruleset.ports.items() if port.can_receive)
        caught = {thing for rule in ruleset.rules for thing in rule.catch_up}
        self.cells = CellMaker(caught)
        self.nodes = Nodes(self._table_after)
        self.device_chains: dict[str, Chain] = {}
        self.branches = [branch for number, rule in enumerate(ruleset.rules) for branch in self._branches(number, rule)]

    def pipeline(self) -> Pipeline:
        """Everything, frozen."""
        clocks = tuple(self._clock_ports(name) for name in self.sources)
        tables = tuple(self._source_table(name, clock) for name, clock in zip(self.sources, clocks, strict=True))
        shared = shared_channels(tables, self.nodes.all.values())
        banks = shared_banks(tables)
        return Pipeline(
            ports=self.ports,
            present=self.present,
            sources=self.sources,
            tables=tuple(self.cells.finished(table, shared, banks) for table in tables),
            layout=self.layout,
            rules=tuple(rule.name or "" for rule in self.ruleset.rules),
            nodes=self.nodes.all,
            branches=tuple(self._catching()),
            sends=tuple(self._switch_sends()),
            held_by={
                name: self.sources.index(switch.source)
                for name, switch in self.ruleset.switches.items()
                if isinstance(switch, OnOffSwitch) and switch.mode == "hold"
            },
            clocks=clocks,
            starts=tuple(self._starts()),
            shared=shared,
            banks=banks,
        )

    # -- chains ---------------------------------------------------------------------------------------------------

    def _branches(self, number: int, rule: Rule) -> Iterable[_Branch]:
        names_offs = any(condition.kind is not None and "note-off" in condition.kind for condition in rule.match)
        key = ("rule", rule.name or "")
        for place, zone in enumerate(rule.zones or (None,)):
            label = (*key, "zone", place + 1) if zone is not None else key
            steps = step_links(rule.steps, label, self.layout, self.nodes, names_offs)
            guard = self.layout.guard(rule.when)
            outlets = rule.to or ()
            if zone is not None:
                steps += step_links(zone.steps, (*label, "own"), self.layout, self.nodes, names_offs)
                guard = both(guard, self.layout.guard(zone.when))
                outlets = zone.to if zone.to is not None else outlets
            yield _Branch(number, rule, zone, guard, (*steps, OutletLink(outlets, self._end, self.nodes)))

    def _end(self, name: str) -> Chain:
        """What happens at a device, or at a port itself."""
        if name not in self.device_chains:
            device = self.ruleset.devices.get(name)
            if device is None:
                self.device_chains[name] = (DeliverLink(self.number[name], None),)
            else:
                target = self.number[device.port]
                self.device_chains[name] = device_links(device, name, target, self.layout, self.nodes)
        return self.device_chains[name]

    # -- tables ---------------------------------------------------------------------------------------------------

    def _source_table(self, source: str, clock: Sequence[int]) -> Table:
        """A source's port steps, then its rules. Clock and transport go past the steps: no rule routes them."""
        entry: Chain = (_Entry(self, source, clock),)
        steps = step_links(self.ruleset.ports[source].steps, ("port", source), self.layout, self.nodes)
        return self.cells.table(
            follow_chain(form, entry if form.status > SYSEX else (*steps, *entry), self.nodes)
            for form in identity_forms()
        )

    def _table_after(self, chain: Chain) -> Table:
        return self.cells.table(follow_chain(form, chain, self.nodes) for form in identity_forms())

    def _clock_ports(self, source: str) -> tuple[int, ...]:
        """The ports whose clock comes from a source: named there, or else the one source that plays all into it."""
        found = []
        for name, port in self.ruleset.ports.items():
            if not port.can_send:
                continue
            if port.clock == source or (port.clock is None and self._whole_sources(name) == {source}):
                found.append(self.number[name])
        return tuple(found)

    def _whole_sources(self, port: str) -> set[str]:
        """The sources with a rule without `match` to a port."""
        found: set[str] = set()
        for rule in self.ruleset.rules:
            if rule.match:
                continue
            outlets: list[Outlet] = [*(rule.to or ())]
            for zone in rule.zones:
                outlets += zone.to or ()
            if any(self.ruleset.port_of(name) == port for outlet in outlets for name in outlet.to):
                found.update(rule.source)
        return found

    # -- what switches and starts send ----------------------------------------------------------------------------

    def _catching(self) -> Iterable[Branch]:
        for branch in self.branches:
            if not branch.rule.catch_up:
                continue
            chain: Chain = (_BranchEntry(branch), *branch.chain)
            for name in branch.rule.source:
                yield Branch(self.sources.index(name), branch.guard, branch.rule.catch_up, self._table_after(chain))

    def _switch_sends(self) -> Iterable[SwitchSend]:
        for turn in self.ruleset.on:
            messages = [self._addressed(name, message) for name, written in turn.send.items() for message in written]
            yield SwitchSend(self.layout.guard(turn.switch), tuple(messages))

    def _starts(self) -> Iterable[tuple[int, bytes]]:
        for name, device in self.ruleset.devices.items():
            for message in device.start:
                yield self._addressed(name, message)

    def _addressed(self, name: str, message: MessageText) -> tuple[int, bytes]:
        """A message for a device or port, on the device's channel."""
        device = self.ruleset.devices.get(name)
        channel = device.channel if device is not None else None
        return self.number[self.ruleset.port_of(name)], message.moved_to(channel)

    # -- switches -------------------------------------------------------------------------------------------------

    def triggers(self, source: str) -> list[tuple[Trigger, TriggerNode]]:
        """What turns switches from a source, in file order."""
        found: list[tuple[Trigger, TriggerNode]] = []

        def add(trigger: Trigger, key: tuple[str | int, ...], node: TriggerNode) -> None:
            if trigger.source == source:
                found.append((trigger, self.nodes.get((source, *key), lambda: node)))

        for name, switch in self.ruleset.switches.items():
            if isinstance(switch, OnOffSwitch):
                add(switch, ("switch", name), TriggerNode(name, hold=switch.mode == "hold"))
                continue
            for number, chosen in enumerate(switch.set):
                add(chosen, ("switch", name, "set", number), TriggerNode(name, state=chosen.value))
            for number, stepped in enumerate(switch.step):
                add(stepped, ("switch", name, "step", number), TriggerNode(name, by=stepped.by))
        return found


class _BranchEntry:
    """The start of one branch: its match and its zone."""

    def __init__(self, branch: _Branch) -> None:
        self._branch = branch

    def fold(self, form: Form) -> list[Form]:
        """The part of a form that goes this way."""
        branch = self._branch
        taken, _ = split_any(form, branch.rule.match)
        if form.status > SYSEX and not branch.rule.match:
            taken = []
        if branch.zone is not None:
            taken = [inside for piece in taken for inside in split(piece, branch.zone)[0]]
        guarded = [replace(piece.guarded(branch.guard), rule=branch.number) for piece in taken]
        return [piece for piece in guarded if piece.guard]


class _Entry:
    """The start of all rules of a source: triggers first, then rules in file order, then what none of them took."""

    def __init__(self, compiler: _Compiler, source: str, clock: Sequence[int]) -> None:
        self._compiler = compiler
        self._clock = clock
        self._layout = compiler.layout
        self._triggers = [(_condition(trigger), trigger.thru, node) for trigger, node in compiler.triggers(source)]
        self._branches = [branch for branch in compiler.branches if source in branch.rule.source]
        self._rules = [rule for rule in compiler.ruleset.rules if source in rule.source and not rule.otherwise]

    def fold(self, form: Form) -> list[Form]:
        """Everything that becomes of a form."""
        ends, passing = self._turned(form)
        ends += [replace(piece, target=port) for piece in passing for port in self._clocked(piece)]
        left: list[Form] | None = None
        for branch in self._branches:
            start = passing
            if branch.rule.otherwise:
                left = self._left(passing) if left is None else left
                start = left
            entry = _BranchEntry(branch)
            for piece in start:
                for taken in entry.fold(piece):
                    ends += follow_chain(taken, branch.chain, self._compiler.nodes)
        return ends

    def _clocked(self, form: Form) -> list[int]:
        """The ports that clock and transport go to; a system reset only to those that ask for it."""
        if form.status == RESET:
            ports = self._compiler.ruleset.ports
            return [port for port in self._clock if ports[self._compiler.ports[port]].reset]
        return list(self._clock) if form.status in TRANSPORT else []

    def _turned(self, form: Form) -> tuple[list[Form], list[Form]]:
        """The triggers that a form pulls, and what of it passes on."""
        ends: list[Form] = []
        passing = [form]
        for condition, thru, node in self._triggers:
            ends += [replace(piece, node=node) for piece in split(form, condition)[0]]
            if not thru:
                passing = [rest for piece in passing for rest in split(piece, condition)[1]]
        return ends, passing

    def _left(self, passing: Sequence[Form]) -> list[Form]:
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


def _condition(trigger: Trigger) -> Condition:
    """What a trigger asks of a message."""
    if trigger.note is not None:
        return Condition(kind=frozenset({"note"}), channel=trigger.channel, notes=frozenset({trigger.note}))
    if trigger.controller is not None:
        return Condition(channel=trigger.channel, controller=frozenset({trigger.controller}))
    if trigger.program is not None:
        return Condition(channel=trigger.channel, program=frozenset({trigger.program}))
    return Condition(kind=frozenset({trigger.kind or ""}))
