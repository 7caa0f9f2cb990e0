"""Rules to a pipeline: every rule of every source folded into tables, once, when the rules are read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import chain
from typing import Final, TypeVar, overload

from rules.compiler.cells import CellMaker
from rules.compiler.chain import (
    Chain,
    DestinationChains,
    Nodes,
    OutletLink,
    StepLink,
    ThroughLink,
    follow_chain,
    identity_forms,
    step_links,
)
from rules.compiler.clocks import ClockChoice, clock_choices
from rules.compiler.loss_tables import loss_table
from rules.compiler.sharing import shared_banks, shared_channels
from rules.compiler.sources import (
    ArrivingEntry,
    BranchEntry,
    BranchPlan,
    CountedEntry,
    PulledTrigger,
    SourceEntry,
    SourceParts,
)
from rules.compiler.switch_guards import both_of, guard_of, layout_of, placed
from rules.compiler.triggers import pulled_triggers
from rules.fields.conditions import SIGNAL_KINDS
from rules.fields.written_messages import DelayedMessage
from rules.midi.messages import NOTE_ON, STATUS_OF_KIND, SYSEX
from rules.program.forms import Form
from rules.program.guards import TooManyCubesError
from rules.program.pipeline import ChasedBranch, Pipeline, SwitchAction, WrittenMessage
from rules.program.tables import NodeKey, Table
from rules.rulefile.reading import Reading
from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.stages import Stage
from rules.rulefile.switch_tables import OnOffSwitch

Thing = TypeVar("Thing")

_TO_CLOCK: Final = "clock "
"""How effects begin that are orders to our clock."""


def compile_rules(ruleset: RuleSet, ports: Sequence[str] = ()) -> Pipeline:
    """The pipeline of a checked rule set. `ports` are the output ports of the pipeline that it will replace, if any:
    they keep their numbers. Raises TooManyCubesError; `compile_reading` says where."""
    compiler = Compiler(ruleset, ports)
    pipeline = compiler.pipeline()
    compiler.forget()
    return pipeline


def compile_reading(reading: Reading, ports: Sequence[str] = ()) -> Pipeline:
    """The same for rule files as read. Raises RuleFileError where conditions on switches come to too many combinations
    of states, with file and line."""
    try:
        return compile_rules(reading.ruleset, ports)
    except TooManyCubesError as error:
        raise placed(error, reading) from None


def compile_routes(ruleset: RuleSet) -> Pipeline:
    """A pipeline that says where messages go, for who only looks at it: an engine needs more than that to run."""
    return Compiler(ruleset, ()).routes()


class _LazyTables(Sequence[Table]):
    """Tables about what the rules do with a message, made by a compiler of their own when they are first asked for.

    While music plays nothing asks for them, so forms and chains need not be kept for them.
    """

    def __init__(self, made: Callable[[], Compiler], make: Callable[[Compiler, str], Table], length: int) -> None:
        self._compiler = made
        self._make = make
        self._length = length

    def __len__(self) -> int:
        return self._length

    @overload
    def __getitem__(self, number: int) -> Table: ...

    @overload
    def __getitem__(self, number: slice) -> Sequence[Table]: ...

    def __getitem__(self, number: int | slice) -> Table | Sequence[Table]:
        return self._tables[number]

    @cached_property
    def _tables(self) -> Sequence[Table]:
        compiler = self._compiler()
        return [self._make(compiler, name) for name in compiler.sources]


class Compiler:
    """The rule set on its way to a pipeline: layout, port numbers, chains and nodes."""

    def __init__(self, ruleset: RuleSet, ports: Sequence[str]) -> None:
        self.ruleset = ruleset
        self.layout = layout_of(ruleset.switches)
        outputs = [name for name, port in ruleset.ports.items() if port.can_send]
        self.ports = (*ports, *(name for name in outputs if name not in ports))
        self.number = {name: number for number, name in enumerate(self.ports)}
        self.present = tuple(self.number[name] for name in outputs)
        self.sources = tuple(name for name, port in ruleset.ports.items() if port.can_receive)
        self._source_number = {name: number for number, name in enumerate(self.sources)}
        chased = {thing for rule in ruleset.rules for thing in rule.chase}
        self.cells = CellMaker(chased)
        self.nodes = Nodes(self.cells)
        self._ends = DestinationChains(ruleset, self.number, self.layout, self.nodes)
        self.branches = [branch for number, rule in enumerate(ruleset.rules) for branch in self._branches(number, rule)]

    def pipeline(self) -> Pipeline:
        """Everything, frozen."""
        routes = self.routes()
        self._make_unreached_nodes()
        shared = shared_channels(routes.tables)
        banks = shared_banks(routes.tables)
        return replace(
            routes,
            tables=tuple(self.cells.finished(table, shared, banks) for table in routes.tables),
            match_tables=_LazyTables(self._again, Compiler.match_table, len(self.sources)),
            loss_tables=_LazyTables(self._again, Compiler.loss_table, len(self.sources)),
            branches=tuple(self._chasing()),
            arrivals=tuple(self._arrivals(name) for name in self.sources),
            actions=tuple(self._actions()),
            held_by={
                name: self._source_number[switch.source]
                for name, switch in self.ruleset.switches.items()
                if isinstance(switch, OnOffSwitch) and switch.mode == "momentary"
            },
            setups=tuple(self._setups()),
            shared=shared,
            banks=banks,
        )

    def routes(self) -> Pipeline:
        """The tables of all sources, with the nodes behind them; all else is empty."""
        clocks = tuple(self.clock_ports(name) for name in self.sources)
        tables = tuple(self._source_table(name, clock) for name, clock in zip(self.sources, clocks, strict=True))
        return Pipeline(
            ports=self.ports,
            present=self.present,
            sources=self.sources,
            tables=tables,
            match_tables=(),
            loss_tables=(),
            layout=self.layout,
            rules=tuple(rule.name or "" for rule in self.ruleset.rules),
            nodes=self.nodes.all,
            branches=(),
            arrivals=(),
            actions=(),
            held_by={},
            clocks=clocks,
            setups=(),
            shared=frozenset(),
            banks=frozenset(),
            din=frozenset(self.number[name] for name in self.ruleset.din_outputs),
        )

    def _again(self) -> Compiler:
        """A compiler of the same rules."""
        return Compiler(self.ruleset, self.ports)

    def forget(self) -> None:
        """Forget what is no part of the pipeline, piece by piece: see `CellMaker.forget`."""
        self.cells.forget()
        for branches in (self.branches, *self._branches_of.values()):
            while branches:
                branches.pop()

    def _make_unreached_nodes(self) -> None:
        """Make the nodes of steps to which no message comes as well: what came by rules before may still be there."""
        chains = [
            *(self.port_steps(source) for source in self.sources),
            *(branch.steps for branch in self.branches),
            *(self._ends.at(name) for name in self.ruleset.devices),
        ]
        for link in chain(*chains):
            if isinstance(link, StepLink) and link.step.remembers:
                link.fold(Form(NOTE_ON))

    # -- chains ---------------------------------------------------------------------------------------------------

    def _branches(self, number: int, rule: Rule) -> Iterable[BranchPlan]:
        fires_on = frozenset(
            STATUS_OF_KIND[kind]
            for condition in rule.match
            for kind in condition.kind or ()
            if kind in SIGNAL_KINDS or kind == "note-off"
        )
        key = ("rule", rule.name or "")
        for branch in rule.branches():
            zone = branch.zone
            label = (*key, "zone", branch.number + 1) if zone is not None else key
            steps = step_links(rule.steps, label, self.layout, self.nodes, memory=key, fires_on=fires_on)
            guard = guard_of(self.layout, rule.when)
            if zone is not None:
                own = (*label, "own")
                steps += step_links(zone.steps, own, self.layout, self.nodes, fires_on=fires_on)
                guard = both_of(self.layout, guard, zone.when)
            outlet = OutletLink(branch.outlets, self._ends, self.nodes)
            yield BranchPlan(number, rule, zone, guard, branch.number, steps, outlet)

    # -- tables ---------------------------------------------------------------------------------------------------

    def _source_table(self, source: str, clock: Sequence[int]) -> Table:
        """A source's port steps, then its rules. Clock and transport go past the steps: no rule routes them."""
        entry: Chain = (self.entry(source, clock),)
        steps: Chain = self.port_steps(source)
        if steps and self.triggers(source):
            steps = (*steps, ThroughLink(("port", source, "through"), self.nodes))
        return self.cells.table(
            follow_chain(form, entry if form.status > SYSEX else (*steps, *entry), self.nodes)
            for form in identity_forms()
        )

    def entry(self, source: str, clock: Sequence[int]) -> SourceEntry:
        """The start of a source's rules, with the ports that its clock and transport go to."""
        rules = [(number, self.ruleset.rules[number]) for number in self._rules_of.get(source, ())]
        branches = self._branches_of.get(source, [])
        resets = frozenset(port for port in clock if self.ruleset.ports[self.ports[port]].pass_reset)
        return SourceEntry(SourceParts(self.triggers(source), rules, branches, clock, resets), self.layout, self.nodes)

    def port_steps(self, source: str, key: NodeKey = ()) -> tuple[StepLink, ...]:
        """The links for a port's own steps; under another `key` they may lead elsewhere, with the same memory."""
        memory = ("port", source)
        return step_links(self.ruleset.ports[source].steps, (*memory, *key), self.layout, self.nodes, memory=memory)

    def _plain_port_steps(self, source: str) -> Chain:
        """A port's steps but for those with a memory: what comes through is the same message, only not its time."""
        steps: tuple[Stage, ...] = self.ruleset.ports[source].steps
        stages = [stage for stage in steps if not stage.step.remembers]
        return step_links(stages, ("port", source), self.layout, self.nodes)

    def match_table(self, source: str) -> Table:
        """Lanes that lead nowhere: their targets are the numbers of the rules that a message fits."""
        chain = (*self._plain_port_steps(source), CountedEntry(self.entry(source, ())))
        return self.nodes.table_after(chain)

    def loss_table(self, source: str) -> Table:
        """Lanes that lead nowhere: their targets say why a message that comes to nothing does so."""
        entry = self.entry(source, self.clock_ports(source))
        return loss_table(self.port_steps(source, ("losses",)), entry, self.layout, self.cells)

    def clock_ports(self, source: str) -> tuple[int, ...]:
        """The numbers of the ports whose clock and transport come from a source (ruling 26)."""
        return tuple(self._clocked_by.get(source, ()))

    @cached_property
    def _clocked_by(self) -> Mapping[str, Sequence[int]]:
        """The ports that each source clocks."""
        return _grouped((choice.source, self.number[name]) for name, choice in self.clock_choices.items())

    @cached_property
    def _rules_of(self) -> Mapping[str, Sequence[int]]:
        """The numbers of the rules that listen to each source."""
        return _grouped(
            (source, number) for number, rule in enumerate(self.ruleset.rules) for source in dict.fromkeys(rule.source)
        )

    @cached_property
    def _branches_of(self) -> Mapping[str, list[BranchPlan]]:
        """The branches that listen to each source."""
        return _grouped((source, branch) for branch in self.branches for source in dict.fromkeys(branch.rule.source))

    @cached_property
    def clock_choices(self) -> Mapping[str, ClockChoice]:
        """Where the clock of each output comes from."""
        return clock_choices(self.ruleset)

    # -- what switches and setups send ----------------------------------------------------------------------------

    def _chasing(self) -> Iterable[ChasedBranch]:
        for number, branch in enumerate(self.branches):
            if not branch.rule.chase:
                continue
            for name in branch.rule.source:
                steps = self.port_steps(name, ("chase", number))
                table = self.nodes.table_after((*steps, BranchEntry(branch), *branch.chain))
                yield ChasedBranch(self._source_number[name], branch.guard, branch.rule.chase, table)

    def _arrivals(self, name: str) -> Table | None:
        """Return what of a source's messages comes to its rules; None where all come as they are, or no rule chases."""
        if not self.ruleset.ports[name].steps or not any(rule.chase for rule in self.ruleset.rules):
            return None
        steps = self.port_steps(name, ("arrivals",))
        return self.nodes.table_after((*steps, ArrivingEntry(self.entry(name, ()))))

    def _actions(self) -> Iterable[SwitchAction]:
        for turned in self.ruleset.on_switch:
            messages = [self._addressed(name, each) for name, written in turned.send.items() for each in written]
            guard = guard_of(self.layout, turned.when)
            effects = tuple(effect for effect in turned.do if not effect.startswith(_TO_CLOCK))
            orders = tuple(effect.removeprefix(_TO_CLOCK) for effect in turned.do if effect.startswith(_TO_CLOCK))
            yield SwitchAction(guard, tuple(messages), effects, turned.initially, turned.bpm, orders)

    def _setups(self) -> Iterable[WrittenMessage]:
        for name, device in self.ruleset.devices.items():
            for each in device.setup:
                yield self._addressed(name, each)

    def _addressed(self, name: str, written: DelayedMessage) -> WrittenMessage:
        """A message for a device or port, on the device's channel."""
        device = self.ruleset.devices.get(name)
        channel = device.channel if device is not None else None
        target = self.number[self.ruleset.port_of(name)]
        return WrittenMessage(target, written.message.moved_to(channel), written.after)

    # -- switches -------------------------------------------------------------------------------------------------

    def triggers(self, source: str) -> Sequence[PulledTrigger]:
        """Return what turns switches from a source, in file order."""
        return self._triggers_of.get(source, [])

    @cached_property
    def _triggers_of(self) -> Mapping[str, Sequence[PulledTrigger]]:
        """What turns switches, by source."""
        return pulled_triggers(self.ruleset, self.nodes)


def _grouped(pairs: Iterable[tuple[str | None, Thing]]) -> dict[str, list[Thing]]:
    """Things by the name of their source, in order; those without a source are left out."""
    found: dict[str, list[Thing]] = {}
    for source, thing in pairs:
        if source is not None:
            found.setdefault(source, []).append(thing)
    return found
