"""One message through a list of steps, one step after the other."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import singledispatch
from typing import Any

from rules.fields.conditions import Condition
from rules.midi.controllers import FIRST_MODE, PORTAMENTO_CONTROL, SWITCH_ON
from rules.rulefile.stages import Stage
from rules.steps.base import Step
from rules.steps.chord import ChordStep
from rules.steps.delay import DelayStep
from rules.steps.echo import EchoStep
from rules.steps.filter import FilterStep
from rules.steps.latch import LatchStep
from rules.steps.length import LengthStep
from rules.steps.map import MapStep
from rules.steps.rechannel import RechannelStep
from rules.steps.send import SendStep
from rules.steps.snap import SnapStep
from rules.steps.thin import ThinStep
from rules.steps.transpose import TransposeStep
from rules.steps.value_map import End
from rules.steps.velocity import VelocityStep
from rules.timing.delays import AT_ONCE, Delay
from tests.model import facts
from tests.model.arithmetic import echo_copies, mapped_value, moved_key, shaped_velocity
from tests.model.asking import fits, holds, names_kind, selects

At = tuple[str | int, ...]
"""Which step this is: known by the name of its rule, device or port and its number, so that a reload finds it again."""


@dataclass(frozen=True, slots=True)
class Wait:
    """A `delay` on the way: nothing overtakes at `at`, which includes the rule.

    The waits of echo copies have an empty `at`: a copy is overtaken by what is played meanwhile, and holds up nothing.
    """

    at: At
    delay: Delay


Follow = Callable[["Flow", "Moment"], list[Any]]
"""What becomes of a flow further on: flows, at the very end emissions."""


@dataclass(frozen=True, slots=True)
class Stop:
    """A step that keeps things: a flow ends here, and goes on when the step lets it. `follow` is the rest of its way.

    `step` and `at` say which, `match` is what the rule asked for, `switches` how they stood.
    """

    step: Step
    at: At
    match: tuple[Condition, ...]
    switches: Mapping[str, bool | int | str]
    follow: tuple[Follow, ...] = ()

    def then(self, follow: Follow) -> Stop:
        """The same with one more thing to come."""
        return replace(self, follow=(*self.follow, follow))


@dataclass(frozen=True, slots=True)
class Flow:
    """A message somewhere in a chain, and what it has met.

    `rule` names the rule it is in, `copy` tells echo copies apart, `release` holds the velocity steps that shape its
    release velocity, `sent` marks what a `send` made, `stop` is the step that keeps it.
    """

    message: bytes
    way: tuple[Wait, ...] = ()
    rule: str = ""
    copy: At = ()
    release: tuple[VelocityStep, ...] = ()
    sent: bool = False
    stop: Stop | None = None

    @property
    def delay(self) -> Delay:
        """All delays so far."""
        return sum((wait.delay for wait in self.way), AT_ONCE)

    @property
    def names(self) -> tuple[At, ...]:
        """The delays where nothing overtakes."""
        return tuple(wait.at for wait in self.way if wait.at)

    def with_message(self, message: bytes) -> Flow:
        """The same flow with other bytes."""
        return replace(self, message=message)


def onward(flows: Iterable[Flow], follow: Follow, moment: Moment) -> list[Any]:
    """Flows one thing further on; those that a step keeps will meet it later."""
    after: list[Any] = []
    for flow in flows:
        after += follow(flow, moment) if flow.stop is None else [replace(flow, stop=flow.stop.then(follow))]
    return after


def resumed(flow: Flow, message: bytes, moment: Moment) -> list[Any]:
    """What becomes of a flow behind the step that kept it, as another message."""
    assert flow.stop is not None
    moment.match = flow.stop.match
    sent = flow.sent and not facts.is_note(message)  # a note is the step's own here
    flows: list[Any] = [replace(flow, message=message, way=(), release=(), sent=sent, stop=None)]
    for follow in flow.stop.follow:
        flows = onward(flows, follow, moment)
    return flows


class Memory:
    """What `send` and 14-bit maps remember of the messages before, player by player."""

    def __init__(self) -> None:
        self._values: dict[tuple[int, At], int] = {}

    def before(self, player: int, key: At) -> int:
        """The last value; 0 before the first."""
        return self._values.get((player, key), 0)

    def note(self, player: int, key: At, value: int) -> None:
        """Remembers a value."""
        self._values[player, key] = value

    def forget(self, player: int) -> None:
        """A player is gone, and comes back with its pedals up."""
        self._values = {key: value for key, value in self._values.items() if key[0] != player}

    def frozen(self) -> Memory:
        """A copy for asking what a message would do, without doing it."""
        copy = Memory()
        copy._values = dict(self._values)
        return copy


class Replayed(Memory):
    """What one rule's steps knew before a message, while they are asked again about it for another zone.

    The steps of a rule see each message once (ruling 6); all other steps remember as ever.
    """

    def __init__(self, memory: Memory, then: Memory, rule: At) -> None:
        super().__init__()
        self._memory = memory
        self._then = then
        self._rule = rule

    def _of(self, key: At) -> Memory:
        return self._then if key[: len(self._rule)] == self._rule else self._memory

    def before(self, player: int, key: At) -> int:
        """The last value; 0 before the first."""
        return self._of(key).before(player, key)

    def note(self, player: int, key: At, value: int) -> None:
        """Remembers a value."""
        self._of(key).note(player, key, value)


@dataclass(slots=True)
class Moment:
    """All that a step may look at besides the message.

    `match` is what the rule asks for. `heard` collects what maps to notes and `send` were told by the hand itself: True
    for a press, False for a release.
    """

    switches: Mapping[str, bool | int | str]
    memory: Memory
    player: int
    in_key: facts.InKey
    match: Iterable[Condition] = ()
    heard: list[bool] = field(default_factory=list)


def through(steps: Iterable[Stage], at: At, flow: Flow, moment: Moment) -> list[Flow]:
    """What comes out of `steps`, in order. A step whose `when` doesn't hold is skipped (ruling 6)."""
    flows = [flow]
    for number, stage in enumerate(steps):
        flows = onward(flows, _stage(stage, (*at, number)), moment)
    return flows


def _stage(stage: Stage, here: At) -> Follow:
    def follow(flow: Flow, moment: Moment) -> list[Flow]:
        if holds(stage.when, moment.switches):
            return after_step(stage.step, here, flow, replace(moment, heard=[]) if flow.sent else moment)
        return [_waiting(here, flow, AT_ONCE)] if isinstance(stage.step, DelayStep) else [flow]

    return follow


@singledispatch
def after_step(step: Step, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    """What one step makes of one message."""
    raise AssertionError(f"the model doesn't know {step!r}")


@after_step.register
def _rechannel(step: RechannelStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    if not facts.has_channel(flow.message):
        return [flow]
    channel = step.channel_for(facts.channel_of(flow.message) + 1) - 1
    return [flow.with_message(facts.on_channel(flow.message, channel))]


@after_step.register
def _filter(step: FilterStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    if step.keep and not any(fits(condition, flow.message) for condition in step.keep):
        return []
    if any(selects(condition, flow.message) for condition in step.drop):
        return []
    return [flow]


@after_step.register
def _transpose(step: TransposeStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    message = flow.message
    if not facts.has_channel(message) or facts.channel_of(message) + 1 in step.except_channels:
        return [flow]
    by = moment.switches[step.by] if isinstance(step.by, str) else step.by
    assert isinstance(by, int)
    if facts.has_key(message):
        key = moved_key(message[1], by, step.outside)
        return [] if key is None else [flow.with_message(bytes((message[0], key, message[2])))]
    if facts.is_controller(message) and message[1] == PORTAMENTO_CONTROL:
        key = moved_key(message[2], by, step.outside)
        return [] if key is None else [flow.with_message(bytes((message[0], message[1], key)))]
    return [flow]


@after_step.register
def _velocity(step: VelocityStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    message = flow.message
    if not facts.is_note(message):
        return [flow]
    if step.channel is not None and facts.channel_of(message) + 1 not in step.channel:
        return [flow]
    if facts.is_on(message):
        release = (*flow.release, step) if step.release else flow.release
        shaped = bytes((message[0], message[1], shaped_velocity(step, message[2])))
        return [replace(flow, message=shaped, release=release)]
    return [flow.with_message(shaped_release(message, (step,) if step.release else ()))]


def shaped_release(off: bytes, steps: Iterable[VelocityStep]) -> bytes:
    """A note-off with its release velocity shaped: 8n only, and 0 stays 0."""
    for step in steps:
        if off[0] & 0xF0 == 0x80 and off[2] > 0:
            off = bytes((off[0], off[1], shaped_velocity(step, off[2])))
    return off


@after_step.register
def _delay(step: DelayStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    return [_waiting(at, flow, step.span)]


def _waiting(at: At, flow: Flow, delay: Delay) -> Flow:
    return replace(flow, way=(*flow.way, Wait(() if flow.copy else (*at, flow.rule), delay)))


@after_step.register
def _echo(step: EchoStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    message = flow.message
    if not facts.is_on(message):
        return [flow]
    flows = [flow]
    for number, key, velocity in echo_copies(step, message[1], message[2]):
        wait = Wait((), step.span.times(number))
        copy = bytes((message[0], key, velocity))
        flows.append(replace(flow, message=copy, way=(*flow.way, wait), copy=(*flow.copy, *at, number)))
    return flows


_NEVER_THINNED = frozenset({0, 32, 6, 38, *range(96, 102), *range(64, 70), *range(120, 128)})


@after_step.register
def _thin(step: ThinStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    message = flow.message
    if not facts.has_channel(message):
        return [flow]
    kind, number = message[0] & 0xF0, facts.number_of(message)
    if kind not in (0xA0, 0xB0, 0xD0, 0xE0) or (kind == 0xB0 and number in _NEVER_THINNED) or flow.sent:
        return [flow]
    return [replace(flow, stop=Stop(step, at, tuple(moment.match), dict(moment.switches)))]


@after_step.register
def _snap(step: SnapStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    message = flow.message
    if not facts.has_channel(message) or not facts.has_key(message):
        return [flow]
    inside = [key for key in range(128) if key % 12 in step.pitches]
    if step.others == "drop":
        return [flow] if message[1] in inside else []
    nearest = min(inside, key=lambda key: (abs(key - message[1]), key))
    return [flow.with_message(bytes((message[0], nearest, message[2])))]


@after_step.register
def _chord(step: ChordStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    message = flow.message
    if not facts.has_channel(message) or not facts.has_key(message):
        return [flow]
    keys = sorted(message[1] + by for by in step.keys.get(message[1], step.notes))
    return [flow.with_message(bytes((message[0], key, message[2]))) for key in keys if 0 <= key <= 127]


@after_step.register
def _latch(step: LatchStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    if not facts.is_note(flow.message):
        return [flow]
    return [replace(flow, stop=Stop(step, at, tuple(moment.match), dict(moment.switches)))]


@after_step.register
def _length(step: LengthStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    if not facts.is_note(flow.message):
        return [flow]
    return [replace(flow, stop=Stop(step, at, tuple(moment.match), dict(moment.switches)))]


@after_step.register
def _send(step: SendStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    came = flow.message
    flows = [flow] if step.pass_on else []
    if _fires(at, came, moment):
        channel = facts.channel_of(came) + 1 if facts.has_channel(came) else 1
        for each in step.messages:
            way = (*flow.way, Wait((), each.after)) if each.after.ms else flow.way
            flows.append(replace(flow, message=each.message.on(channel), release=(), sent=True, way=way))
    return flows


def _fires(at: At, message: bytes, moment: Moment) -> bool:
    kind = facts.kind_of(message)
    if kind == "controller":
        key = (*at, message[0], message[1])
        crosses = moment.memory.before(moment.player, key) < SWITCH_ON <= message[2]
        moment.memory.note(moment.player, key, message[2])
        moment.heard.append(message[2] >= SWITCH_ON)
        return crosses
    if kind == "note-off" or facts.is_signal(message):
        return names_kind(moment.match, kind)
    return kind in ("note-on", "program")


@after_step.register
def _map(step: MapStep, at: At, flow: Flow, moment: Moment) -> list[Flow]:
    message = flow.message
    if not facts.has_channel(message):
        return [flow]
    if step.notes or step.controllers or step.programs:
        return _by_table(step, flow)
    assert step.source is not None
    value = _value_at(step, step.source, at, message, moment)
    if value is None:
        return [flow]
    if step.to is not None and step.to.kind == "note" and step.source.is_wide(step.bits) and message[1] >= 32:
        return []  # notes are made of the coarse half alone
    return [flow.with_message(made) for made in _made(step, value, at, message, moment)]


def _by_table(step: MapStep, flow: Flow) -> list[Flow]:
    message = flow.message
    if step.notes:
        table, number, concerned = step.notes, message[1], facts.has_key(message)
    elif step.controllers:
        table, number = step.controllers, message[1]
        concerned = facts.is_controller(message) and number < FIRST_MODE
    else:
        table, number, concerned = step.programs, message[1], message[0] & 0xF0 == 0xC0
    if not concerned:
        return [flow]
    if number not in table:
        return [] if step.others == "drop" else [flow]
    return [flow.with_message(bytes((message[0], table[number], *message[2:])))]


_STATUS_OF_END = {
    "controller": 0xB0,
    "pitch-bend": 0xE0,
    "channel-pressure": 0xD0,
    "key-pressure": 0xA0,
    "program": 0xC0,
}


def _value_at(step: MapStep, source: End, at: At, message: bytes, moment: Moment) -> int | None:
    """The value at this end of the map, or None when the message isn't meant."""
    if source.kind == "note":
        meant = facts.is_note(message) and source.number in (None, message[1])
        return facts.value_of(message) if meant else None
    if message[0] & 0xF0 != _STATUS_OF_END[source.kind]:
        return None
    if source.is_wide(step.bits):
        return _wide_value(source, at, message, moment)
    if source.number is not None and source.number != message[1]:
        return None
    return facts.value_of(message)


def _wide_value(source: End, at: At, message: bytes, moment: Moment) -> int | None:
    """A pair's value: the coarse half acts at once with a fine half of 0, the fine half refines it (ruling 21)."""
    assert source.number is not None
    key = (*at, facts.channel_of(message))
    if message[1] == source.number:
        moment.memory.note(moment.player, key, message[2])
        return message[2] << 7
    if message[1] == source.number + 32:
        return moment.memory.before(moment.player, key) << 7 | message[2]
    return None


def _made(step: MapStep, value: int, at: At, message: bytes, moment: Moment) -> list[bytes]:
    """What the map makes of a value that came in with `message`."""
    to = step.to
    assert to is not None
    channel, mapped = facts.channel_of(message), mapped_value(step, value)
    number = message[1] if to.number is None else to.number
    if to.kind == "note":
        return _made_note(number, mapped, at, message, moment)
    if to.kind == "pitch-bend":
        return [bytes((0xE0 | channel, mapped + 8192 & 0x7F, mapped + 8192 >> 7))]
    if to.kind in ("channel-pressure", "program"):
        # A released pad doesn't choose a program again.
        if to.kind == "program" and facts.is_off(message):
            return []
        return [bytes((_STATUS_OF_END[to.kind] | channel, mapped))]
    status = _STATUS_OF_END[to.kind] | channel
    if to.is_wide(step.bits):
        return [bytes((status, number, mapped >> 7)), bytes((status, number + 32, mapped & 0x7F))]
    return [bytes((status, number, mapped))]


def _made_note(key: int, value: int, at: At, message: bytes, moment: Moment) -> list[bytes]:
    """A note from a note, or from a value: on where it crosses to 64 and above; its end is the ledger's."""
    channel = facts.channel_of(message)
    if facts.is_on(message):
        return [bytes((message[0], key, max(1, value)))]
    if facts.is_off(message):
        return [bytes((message[0], key, message[2]))]
    moment.heard.append(value >= SWITCH_ON)
    name = (*at, *moment.in_key, channel, key)
    before = moment.memory.before(moment.player, name)
    moment.memory.note(moment.player, name, value)
    if before < SWITCH_ON <= value:
        return [bytes((0x90 | channel, key, value))]
    return []
