"""Which sources can choose sounds at an output, with any setting of the switches (ruling 16).

Instead of single messages, whole rectangles of them - channels by numbers by values - go through the steps.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import singledispatch
from itertools import product
from typing import Any

from rules.fields.conditions import SIGNAL_KINDS, Condition
from rules.fields.when import When
from rules.midi.controllers import BANK_LSB, BANK_MSB, FIRST_MODE, PORTAMENTO_CONTROL, SWITCH_ON
from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.stages import Stage
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, Trigger, ValueSwitch
from rules.steps.base import Step
from rules.steps.echo import EchoStep
from rules.steps.filter import FilterStep
from rules.steps.map import MapStep
from rules.steps.rechannel import RechannelStep
from rules.steps.send import SendStep
from rules.steps.transpose import TransposeStep
from rules.steps.value_map import End
from rules.steps.velocity import VelocityStep
from tests.model import facts
from tests.model.arithmetic import echo_copies, mapped_value, moved_key, shaped_velocity
from tests.model.asking import holds, names_kind
from tests.model.pressing import placed_triggers
from tests.model.routing import branches_of

Setting = Mapping[str, bool | int | str]
Numbers = frozenset[int]
Output = tuple[str, int]
SEVEN_BITS: Numbers = frozenset(range(128))
NONE: Numbers = frozenset({0})
CHANNELS: Numbers = frozenset(range(1, 17))
_NOTES = ("note-on", "note-off")
_KEYED = frozenset({"note-on", "note-off", "key-pressure"})


@dataclass(frozen=True, slots=True)
class Rectangle:
    """All messages of a kind with these channels (1-16), these keys or controllers, and these values."""

    kind: str
    channels: Numbers = CHANNELS
    numbers: Numbers = NONE
    values: Numbers = SEVEN_BITS

    @property
    def exists(self) -> bool:
        """Whether there is any message in it."""
        return bool(self.channels and self.numbers and self.values)

    def less(self, other: Rectangle) -> Iterator[Rectangle]:
        """What is left of it without `other`, which lies inside."""
        yield replace(self, channels=self.channels - other.channels)
        yield replace(self, channels=other.channels, numbers=self.numbers - other.numbers)
        yield replace(self, channels=other.channels, numbers=other.numbers, values=self.values - other.values)


def existing(rectangles: Iterable[Rectangle]) -> list[Rectangle]:
    """Those that hold any message."""
    return [rectangle for rectangle in rectangles if rectangle.exists]


@dataclass(frozen=True, slots=True)
class Scene:
    """A setting of the switches, and what the rule's `match` names."""

    switches: Setting
    match: tuple[Condition, ...] = ()


class Reach:
    """Answers for one rule set, remembering what it has found."""

    def __init__(self, ruleset: RuleSet) -> None:
        self._ruleset = ruleset
        self._settings: list[Setting] = list(_settings(ruleset))
        self._by_source: dict[str, frozenset[Output]] = {}
        self._shared: dict[Output, bool] = {}

    def shares_banks(self, output: Output) -> bool:
        """Whether two sources can send bank selects or program changes to this port and channel (0-15)."""
        if output not in self._shared:
            leading = self._leading_to(output[0])
            able = len(leading) > 1 and sum(output in self._outputs(source) for source in leading) > 1
            self._shared[output] = able
        return self._shared[output]

    def _leading_to(self, port: str) -> set[str]:
        return {
            source
            for rule in self._ruleset.rules
            for branch in branches_of(rule)
            for outlet in branch.outlets
            for name in outlet.to
            if self._ruleset.port_of(name) == port
            for source in rule.source
        }

    def _outputs(self, source: str) -> frozenset[Output]:
        """Where bank selects or program changes from `source` can come out."""
        if source not in self._by_source:
            self._by_source[source] = frozenset(
                output
                for before, after in self._turns(source)
                for output in _reached(self._ruleset, source, before, after)
            )
        return self._by_source[source]

    def _turns(self, source: str) -> Iterable[tuple[Setting, Setting]]:
        """Settings that the steps of a port and its rules may see; the second differs where a message turns a switch.

        Which message turns which switch isn't asked: bank selects that wait without need are no harm.
        """
        if self._ruleset.ports[source].steps and _turns_switches(self._ruleset, source):
            return product(self._settings, self._settings)
        return ((setting, setting) for setting in self._settings)


def _turns_switches(ruleset: RuleSet, source: str) -> bool:
    return any(trigger.source == source for _, trigger in placed_triggers(ruleset))


def _settings(ruleset: RuleSet) -> Iterator[dict[str, bool | int | str]]:
    """Every setting of the switches that anything asks for."""
    asked = _asked_for(ruleset)
    states = {name: _states(switch) for name, switch in ruleset.switches.items() if name in asked}
    for setting in product(*states.values()):
        yield dict(zip(states, setting, strict=True))


def _asked_for(ruleset: RuleSet) -> set[str]:
    zones = [zone for rule in ruleset.rules for zone in rule.zones]
    parts: list[Any] = [*ruleset.ports.values(), *ruleset.devices.values(), *ruleset.rules, *zones]
    stages: list[Stage] = [stage for part in parts for stage in part.steps]
    whened: list[Any] = [*ruleset.rules, *zones, *stages]
    whens: list[When] = [part.when for part in whened if part.when is not None]
    names = {term.switch for when in whens for term in when.terms}
    bys = {stage.step.by for stage in stages if isinstance(stage.step, TransposeStep)}
    return names | {by for by in bys if isinstance(by, str)}


def _states(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> list[bool | int | str]:
    if isinstance(switch, OnOffSwitch):
        return [False, True]
    if isinstance(switch, ValueSwitch):
        return list(switch.values)
    return list(range(switch.numbers[0], switch.numbers[1] + 1))


def _everything() -> list[Rectangle]:
    """All messages that can come in; of the bends, enough to hit every part of the range."""
    bends = frozenset([*range(-8192, 8192, 16), 8191, *range(-130, 131)])
    return [
        Rectangle("note-on", numbers=SEVEN_BITS, values=SEVEN_BITS - {0}),
        Rectangle("note-off", numbers=SEVEN_BITS),
        Rectangle("key-pressure", numbers=SEVEN_BITS),
        Rectangle("controller", numbers=SEVEN_BITS),
        Rectangle("program"),
        Rectangle("channel-pressure"),
        Rectangle("pitch-bend", values=bends),
        *(Rectangle(kind, channels=NONE, values=NONE) for kind in sorted(SIGNAL_KINDS)),
    ]


def _reached(ruleset: RuleSet, source: str, before: Setting, switches: Setting) -> Iterator[Output]:
    """Where bank selects or program changes from `source` can come out, if the steps of its port see `before`."""
    arrived = _not_consumed(ruleset, source, through(ruleset.ports[source].steps, _everything(), Scene(before)))
    rules = [rule for rule in ruleset.rules if source in rule.source and holds(rule.when, switches)]
    left = arrived
    for rule in rules:
        if not rule.otherwise:
            left = _not_taken(rule, left)
    for rule in rules:
        scene = Scene(switches, rule.match)
        taken = [piece for each in (left if rule.otherwise else arrived) for piece in _matched(rule, each)]
        for branch in branches_of(rule):
            if not branch.is_open(switches):
                continue
            zone = branch.zone
            inside = taken if zone is None else existing(fitting(zone, each) for each in taken)
            outs = through(rule.steps, inside, scene)
            outs = outs if zone is None else through(zone.steps, outs, scene)
            for outlet in branch.outlets:
                channels = CHANNELS if outlet.channels is None else outlet.channels
                here = [replace(each, channels=each.channels & channels) for each in outs]
                for name in outlet.to:
                    yield from _choosing(ruleset, name, existing(here), scene)


def _not_consumed(ruleset: RuleSet, source: str, rectangles: list[Rectangle]) -> list[Rectangle]:
    """What no switch consumes (ruling 25)."""
    for _, trigger in placed_triggers(ruleset):
        if trigger.source == source and not trigger.pass_on:
            rectangles = [left for each in rectangles for left in _without(each, _triggering(trigger, each))]
    return rectangles


def _triggering(trigger: Trigger, whole: Rectangle) -> Rectangle:
    part = whole if trigger.channel is None else replace(whole, channels=whole.channels & trigger.channel)
    nothing = replace(part, numbers=frozenset())
    if trigger.kind is not None:
        return part if whole.kind == trigger.kind else nothing
    if trigger.program is not None:
        return replace(part, values=part.values & {trigger.program}) if whole.kind == "program" else nothing
    kinds, number = (("controller",), trigger.controller) if trigger.note is None else (_NOTES, trigger.note)
    return replace(part, numbers=part.numbers & {number}) if whole.kind in kinds else nothing


def _without(whole: Rectangle, part: Rectangle) -> list[Rectangle]:
    return existing(whole.less(part)) if part.exists else [whole]


def _choosing(ruleset: RuleSet, name: str, outs: list[Rectangle], scene: Scene) -> Iterator[Output]:
    device = ruleset.devices.get(name)
    if device is not None:
        outs = through(device.steps, outs, scene)
    for out in outs:
        if out.kind == "program" or (out.kind == "controller" and out.numbers & {BANK_MSB, BANK_LSB}):
            channels = out.channels if device is None or device.channel is None else {device.channel}
            for channel in channels:
                yield ruleset.port_of(name), channel - 1


def _matched(rule: Rule, whole: Rectangle) -> list[Rectangle]:
    if whole.kind in SIGNAL_KINDS:
        conditions = [condition for condition in rule.match if condition.kinds is not None]
        return existing(fitting(condition, whole) for condition in conditions)
    return [whole] if not rule.match else existing(fitting(condition, whole) for condition in rule.match)


def _not_taken(rule: Rule, rectangles: list[Rectangle]) -> list[Rectangle]:
    """What a rule leaves over for `otherwise` (ruling 5)."""
    if not rule.match:
        return []
    for condition in rule.match:
        left = []
        for each in rectangles:
            counts = each.kind in _KEYED or condition.kinds is not None or not condition.about_notes
            piece = fitting(condition, each)
            left += _without(each, piece) if counts else [each]
        rectangles = left
    return rectangles


def fitting(condition: Condition, whole: Rectangle) -> Rectangle:
    """The part that fits a condition of `match`, `keep` or a zone (ruling 1)."""
    part = _named(condition, whole)
    if condition.notes is not None and whole.kind in _KEYED:
        part = replace(part, numbers=part.numbers & condition.notes)
    if condition.velocity is not None and whole.kind == "note-on":
        part = replace(part, values=part.values & condition.velocity)
    return part


def selected(condition: Condition, whole: Rectangle) -> Rectangle:
    """The part that a condition of `drop` selects (ruling 1)."""
    part = fitting(condition, whole)
    if condition.notes is not None and whole.kind not in _KEYED:
        part = replace(part, numbers=frozenset())
    if condition.velocity is not None and whole.kind != "note-on":
        part = replace(part, numbers=frozenset())
    return part


def _named(condition: Condition, whole: Rectangle) -> Rectangle:
    part, kinds = whole, condition.kinds
    if kinds is not None:
        if whole.kind == "controller":
            modes = frozenset(number for number in whole.numbers if number >= FIRST_MODE)
            numbers = (whole.numbers - modes if "controller" in kinds else frozenset()) | (
                modes if "channel-mode" in kinds else frozenset()
            )
            part = replace(part, numbers=numbers)
        else:
            also = {"note-on": {"note"}, "note-off": {"note", "note-on"}}.get(whole.kind, set())
            if not kinds & (also | {whole.kind}):
                return replace(part, numbers=frozenset())
    if condition.channel is not None:
        part = replace(part, channels=part.channels & condition.channel)
    if condition.controller is not None:
        part = replace(part, numbers=part.numbers & condition.controller)
    if condition.program is not None:
        part = replace(part, values=part.values & condition.program)
    if condition.value is not None:
        low, high = condition.value
        part = replace(part, values=frozenset(value for value in part.values if low <= value <= high))
    return part


def through(steps: Iterable[Stage], rectangles: list[Rectangle], scene: Scene) -> list[Rectangle]:
    """What can come out of `steps`."""
    for stage in steps:
        if holds(stage.when, scene.switches):
            rectangles = existing(after for before in rectangles for after in after_step(stage.step, before, scene))
    return rectangles


@singledispatch
def after_step(step: Step, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    """What a step makes of a rectangle; delays and thins change nothing here."""
    return [whole]


@after_step.register
def _rechannel(step: RechannelStep, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    if whole.kind in SIGNAL_KINDS:
        return [whole]
    return [replace(whole, channels=frozenset(step.channel_for(channel) for channel in whole.channels))]


@after_step.register
def _filter(step: FilterStep, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    kept = [whole] if not step.keep else existing(fitting(condition, whole) for condition in step.keep)
    for condition in step.drop:
        left = []
        for each in kept:
            piece = selected(condition, each)
            left += _without(each, piece)
        kept = left
    return kept


@after_step.register
def _transpose(step: TransposeStep, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    by = scene.switches[step.by] if isinstance(step.by, str) else step.by
    assert isinstance(by, int)
    moving = replace(whole, channels=whole.channels - step.except_channels)
    staying = replace(whole, channels=whole.channels & step.except_channels)
    if whole.kind in _KEYED:
        return [staying, replace(moving, numbers=_moved(step, moving.numbers, by))]
    if whole.kind == "controller":
        others = replace(moving, numbers=moving.numbers - {PORTAMENTO_CONTROL})
        key = replace(moving, numbers=moving.numbers & {PORTAMENTO_CONTROL})
        return [staying, others, replace(key, values=_moved(step, key.values, by))]
    return [whole]


def _moved(step: TransposeStep, keys: Numbers, by: int) -> Numbers:
    moved = [moved_key(key, by, step.outside) for key in keys]
    return frozenset(key for key in moved if key is not None)


@after_step.register
def _velocity(step: VelocityStep, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    if whole.kind != "note-on":
        return [whole]
    meant = CHANNELS if step.channel is None else step.channel
    shaped = frozenset(shaped_velocity(step, velocity) for velocity in whole.values)
    return [
        replace(whole, channels=whole.channels - meant),
        replace(whole, channels=whole.channels & meant, values=shaped),
    ]


@after_step.register
def _echo(step: EchoStep, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    yield whole
    if whole.kind == "note-on":
        copies = [copy for key in whole.numbers for copy in echo_copies(step, key, max(whole.values))]
        for number in {copy[0] for copy in copies}:
            values = [copy for value in whole.values for copy in echo_copies(step, min(whole.numbers), value)]
            yield replace(
                whole,
                numbers=frozenset(key for n, key, _ in copies if n == number),
                values=frozenset(velocity for n, _, velocity in values if n == number) or frozenset({1}),
            )


@after_step.register
def _send(step: SendStep, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    if step.pass_on:
        yield whole
    fires = whole.kind in ("note-on", "program") or (whole.kind == "controller" and max(whole.values) >= SWITCH_ON)
    if whole.kind == "note-off" or whole.kind in SIGNAL_KINDS:
        fires = names_kind(scene.match, whole.kind)
    channels = frozenset({1}) if whole.kind in SIGNAL_KINDS else whole.channels
    for text in (each.message for each in step.messages) if fires else ():
        if text.has_channel:
            message = text.on(1)
            kind = "controller" if facts.is_controller(message) else facts.kind_of(message)
            goes = channels if text.channel is None else frozenset({text.channel})
            number, value = facts.number_of(message), facts.value_of(message)
            yield Rectangle(kind, goes, frozenset({number}), frozenset({value}))


@after_step.register
def _map(step: MapStep, whole: Rectangle, scene: Scene) -> Iterable[Rectangle]:
    if step.notes or step.controllers or step.programs:
        return _by_table(step, whole)
    assert step.source is not None
    meant = _meant(step, step.source, whole)
    if meant is None or not meant.exists:
        return [whole]
    return [*existing(whole.less(meant)), *_made(step, meant)]


def _by_table(step: MapStep, whole: Rectangle) -> list[Rectangle]:
    if step.notes and whole.kind in _KEYED:
        return [replace(whole, numbers=_looked_up(step.notes, whole.numbers, step.others))]
    if step.controllers and whole.kind == "controller":
        modes = frozenset(number for number in whole.numbers if number >= FIRST_MODE)
        moved = _looked_up(step.controllers, whole.numbers - modes, step.others)
        return [replace(whole, numbers=moved | modes)]
    if step.programs and whole.kind == "program":
        return [replace(whole, values=_looked_up(step.programs, whole.values, step.others))]
    return [whole]


def _looked_up(table: Mapping[int, int], numbers: Numbers, others: str) -> Numbers:
    return frozenset(table.get(number, number) for number in numbers if number in table or others == "pass")


def _meant(step: MapStep, source: End, whole: Rectangle) -> Rectangle | None:
    if source.kind == "note":
        if whole.kind not in ("note-on", "note-off"):
            return None
    elif whole.kind != source.kind:
        return None
    if source.number is None:
        return whole
    numbers = {source.number, source.number + 32} if source.is_wide(step.bits) else {source.number}
    return replace(whole, numbers=whole.numbers & numbers)


def _made(step: MapStep, meant: Rectangle) -> Iterator[Rectangle]:
    source, to = step.source, step.to
    assert source is not None
    assert to is not None
    values = NONE if meant.kind == "note-off" else meant.values
    if source.is_wide(step.bits):
        values = frozenset(value << 7 | fine for value in meant.values for fine in (0, 64, 127))
    mapped = frozenset(mapped_value(step, value) for value in values)
    numbers = meant.numbers if to.number is None else frozenset({to.number})
    if to.kind == "note":
        if meant.kind == "note-off":
            yield replace(meant, numbers=numbers)
        elif meant.kind == "note-on":
            yield replace(meant, numbers=numbers, values=frozenset(max(1, value) for value in mapped))
        else:
            yield Rectangle("note-on", meant.channels, numbers, frozenset(v for v in mapped if v >= SWITCH_ON))
    elif to.kind == "program" and meant.kind == "note-off":
        return
    elif to.is_wide(step.bits):
        yield Rectangle("controller", meant.channels, numbers, frozenset(value >> 7 for value in mapped))
        yield Rectangle("controller", meant.channels, frozenset(n + 32 for n in numbers), SEVEN_BITS)
    elif to.kind in ("controller", "key-pressure"):
        yield Rectangle(to.kind, meant.channels, numbers, mapped)
    else:
        yield Rectangle(to.kind, meant.channels, NONE, mapped)
