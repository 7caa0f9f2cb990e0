"""Chains of steps, folded: from the forms at the start of a chain to those that end at ports and nodes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import ClassVar, Protocol

from rules.compiler.cells import CellMaker
from rules.compiler.switch_guards import guard_of, words_of
from rules.fields.matching import NOTE_STATUSES
from rules.midi.messages import SYSEX
from rules.program.byte_tables import ALL, gate_of
from rules.program.event import Event
from rules.program.forms import Form
from rules.program.guards import Guard, TooManyCubesError
from rules.program.node import EvaluationContext, Node
from rules.program.switch_states import Layout
from rules.program.tables import AnyNode, NodeKey, Table
from rules.rulefile.port_tables import Device
from rules.rulefile.rule_tables import Outlet
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.stages import Stage
from rules.steps.base import SomeNode


class Link(Protocol):
    """One link of a chain: what becomes of a form there."""

    def fold(self, form: Form) -> list[Form]:
        """The forms that go on, in order; those with a node or a target have arrived."""
        ...


Chain = tuple[Link, ...]


class Nodes:
    """The nodes of a pipeline by where they stand, and the tables after them."""

    def __init__(self, cells: CellMaker) -> None:
        self.all: dict[NodeKey, Node] = {}
        self._cells = cells

    def get(self, key: NodeKey, make: Callable[[], SomeNode], memory: NodeKey = ()) -> SomeNode:
        """The node of a key, made when it is first asked for; its memory is that of the key `memory`, if given."""
        if key not in self.all:
            node = make()
            node.memory_key = memory or key
            node.key = key
            self.all[key] = node
        return self.all[key]  # type: ignore[return-value]

    def lead_on(self, node: AnyNode, rest: Chain) -> None:
        """Give a node the table of what follows it, unless it has it."""
        if node.after is None and node.leads_on:
            node.after = self.table_after(rest)

    def table_after(self, chain: Chain) -> Table:
        """The table of a chain that any message may come to."""
        return self._cells.table(follow_chain(form, chain, self) for form in identity_forms())


def follow_chain(form: Form, chain: Chain, nodes: Nodes) -> list[Form]:
    """Return what a form becomes along a whole chain, in order."""
    if not chain:
        return [form]
    head, rest = chain[0], chain[1:]
    ends: list[Form] = []
    for made in head.fold(form):
        if made.node is not None:
            nodes.lead_on(made.node.main, rest)
            ends.append(made)
        elif made.target >= 0:
            ends.append(made)
        else:
            ends += follow_chain(made, rest, nodes)
    return ends


class StepLink:
    """A step at its place, with its `when`."""

    def __init__(
        self, stage: Stage, key: NodeKey, memory: NodeKey, layout: Layout, nodes: Nodes, fires_on: frozenset[int]
    ) -> None:
        self.step = stage.step
        self.when = stage.when
        self._key = (*key, self.step.key)
        self._memory = (*memory, self.step.key)
        self._layout = layout
        self._nodes = nodes
        self._fires_on = fires_on
        self.open = guard_of(layout, stage.when)
        self._shut = layout.negated(self.open)

    @property
    def fires_on(self) -> frozenset[int]:
        """Statuses that make a `send` fire since the `match` of this rule names their kind."""
        return self._fires_on

    def numbers(self, switch: str) -> list[tuple[int, Guard]]:
        """Every number of a number switch, with its guard."""
        states = self._layout.fields[switch].states
        return [(state, self._layout.equals(switch, state)) for state in states if isinstance(state, int)]

    def node(self, make: Callable[[], SomeNode]) -> SomeNode:
        """The memory of this step."""
        return self._nodes.get(self._key, make, self._memory)

    def fold(self, form: Form) -> list[Form]:
        """Through the step while its `when` holds, past it else; as one where that is the same.

        Raises TooManyCubesError.
        """
        ends: list[Form] = []
        try:
            through = form.guarded(self.open)
            past = form.guarded(self._shut) if self._shut else None
        except TooManyCubesError as error:
            raise error.asked_by(self.when, words_of(self.when)) from None
        if past is not None and past.guard and through.guard and self._leaves_alone(form):
            return [form]
        if through.guard:
            ends += self.step.fold(through, self)
        if past is not None and past.guard:
            ends += self.step.skipped(past, self)
        return ends

    def _leaves_alone(self, form: Form) -> bool:
        """Return whether the step does nothing to a form, as to most kinds of messages.

        Two forms of each would be 2 ** n after n steps.
        """
        return self.step.fold(form, self) == [form] == self.step.skipped(form, self)


def step_links(
    stages: Sequence[Stage],
    key: NodeKey,
    layout: Layout,
    nodes: Nodes,
    *,
    memory: NodeKey = (),
    fires_on: frozenset[int] = frozenset(),
) -> tuple[StepLink, ...]:
    """The links for a list of steps; `key` names it, and `memory` the list whose memory it shares, if any."""
    return tuple(
        StepLink(stage, (*key, number), (*(memory or key), number), layout, nodes, fires_on)
        for number, stage in enumerate(stages, 1)
    )


class ThroughNode(Node):
    """Between a port's steps and its switches: the steps see the switches as they were, the rules as they became."""

    keeps_word: ClassVar[bool] = False

    def take(self, memory: None, event: Event, status: int, d1: int, d2: int, context: EvaluationContext) -> None:
        """Pass everything on."""
        context.emit(event, status, d1, d2)


class ThroughLink:
    """The end of a port's steps, where the source has switches: they turn between two tables."""

    def __init__(self, key: NodeKey, nodes: Nodes) -> None:
        self._key = key
        self._nodes = nodes

    def fold(self, form: Form) -> list[Form]:
        """Everything goes through."""
        return [form._replace(node=self._nodes.get(self._key, ThroughNode))]


class RangeLink:
    """The notes that a device has, where it drops what is outside or moves it by octaves."""

    def __init__(self, low: int, high: int, by_octaves: bool) -> None:
        self._inside = gate_of(range(low, high + 1))
        self._moved = _table_into(low, high) if by_octaves else None  # of a range of an octave at least

    def fold(self, form: Form) -> list[Form]:
        """Keys outside are dropped, or moved to the nearest octave inside."""
        if form.kind not in NOTE_STATUSES:
            return [form]
        if self._moved is not None:
            return [form._replace(one=form.one.translate(self._moved))]
        inside = form.having_one(self._inside)
        return [inside] if inside.exists else []


def _table_into(low: int, high: int) -> bytes:
    return bytes(_octave_into(key, low, high) for key in range(128)) + b"\xff" * 128


def _octave_into(key: int, low: int, high: int) -> int:
    if key < low:
        return low + (key - low) % 12
    if key > high:
        return high - (high - key) % 12
    return key


class DeliverLink:
    """The end of the chain: the device's channel is set last, and the form arrives at its port."""

    def __init__(self, target: int, channel: int | None) -> None:
        self.target = target
        self.channel = channel

    def fold(self, form: Form) -> list[Form]:
        """The form at its port."""
        status = form.status
        if self.channel is not None and status < SYSEX:
            status = status & 0xF0 | (self.channel - 1)
        return [form._replace(status=status, target=self.target)]


def device_links(device: Device, name: str, target: int, layout: Layout, nodes: Nodes) -> Chain:
    """Return what happens to everything that goes to a device."""
    links: list[Link] = [*step_links(device.steps, ("device", name), layout, nodes)]
    if device.notes is not None and device.outside != "pass":
        links.append(RangeLink(*device.notes, device.outside == "octave"))
    return (*links, DeliverLink(target, device.channel))


class DestinationChains:
    """What happens at the end of the rules: the chain of each device, and of each port itself."""

    def __init__(self, ruleset: RuleSet, numbers: Mapping[str, int], layout: Layout, nodes: Nodes) -> None:
        self._ruleset = ruleset
        self._numbers = numbers
        self._layout = layout
        self._nodes = nodes
        self._chains: dict[str, Chain] = {}

    def at(self, name: str) -> Chain:
        """The chain for a device or a port, made once."""
        if name not in self._chains:
            device = self._ruleset.devices.get(name)
            if device is None:
                self._chains[name] = (DeliverLink(self._numbers[name], None),)
            else:
                self._chains[name] = device_links(device, name, self._numbers[device.port], self._layout, self._nodes)
        return self._chains[name]


class OutletLink:
    """Where a chain divides: every name that a form's channel leads to, in order."""

    def __init__(self, outlets: Sequence[Outlet], ends: DestinationChains, nodes: Nodes) -> None:
        self.outlets = outlets
        self._ends = ends
        self._nodes = nodes

    def end_of(self, name: str) -> Chain:
        """Return what happens at a device, or at a port itself."""
        return self._ends.at(name)

    def fold(self, form: Form) -> list[Form]:
        """The form at each end; a message without a channel goes to every name, once."""
        names = self.names_for(form.channel)
        return [end for name in names for end in follow_chain(form, self.end_of(name), self._nodes)]

    def names_for(self, channel: int | None) -> list[str]:
        """The names that a channel (1-16) leads to, each once."""
        names: dict[str, None] = {}
        for outlet in self.outlets:
            if outlet.channels is None or channel is None or channel in outlet.channels:
                names.update(dict.fromkeys(outlet.to))
        return list(names)


def identity_forms() -> Iterable[Form]:
    """Every message as it is: one form a status."""
    return (Form(status, gate_one=ALL, gate_two=ALL) for status in range(0x80, 0x100))
