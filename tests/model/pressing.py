"""Presses in the slow model: which triggers a message pulls, and which of them act later (ruling 25)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import AdvanceTrigger, OnOffSwitch, SetTrigger, Trigger
from tests.model import facts

TriggerPlace = tuple[str | None, str, int]
"""A trigger by its switch (None: our clock), the list that it is in ("" for an on-off switch), and its place there."""


@dataclass(slots=True, eq=False)
class Held:
    """A press that began at `since`. `within` are the ms that a short one lasts at most; 0: it needn't be short."""

    at: TriggerPlace
    trigger: Trigger
    player: int
    message: bytes
    since: int
    within: int

    @property
    def waits(self) -> bool:
        """Whether it acts when it is let go, though it isn't a long one: else it acts at once, as a tap does."""
        acts_at_once = is_momentary(self.trigger) or self.at[:2] == (None, "tap")
        return self.within > 0 and self.trigger.long is None and not acts_at_once

    def is_same_key(self, other: Held) -> bool:
        """Whether the same key or pedal is pressed for the same trigger."""
        return (self.at, self.player) == (other.at, other.player) and _key(self.message) == _key(other.message)

    def lives_on(self, ruleset: RuleSet, source: str) -> bool:
        """Whether other rules have the same trigger, and it waits as long."""
        now = dict(placed_triggers(ruleset)).get(self.at)
        if now is None or now.source != source or _settings(now) != _settings(self.trigger):
            return False
        return not self.waits or shortest_long(ruleset, source, self.message) == self.within


def placed_triggers(ruleset: RuleSet) -> Iterator[tuple[TriggerPlace, Trigger]]:
    """Every trigger of every switch, then those of our clock."""
    for name, switch in ruleset.switches.items():
        if isinstance(switch, OnOffSwitch):
            yield (name, "", 0), switch
        else:
            yield from (((name, "set", number), one) for number, one in enumerate(switch.set))
            yield from (((name, "advance", number), one) for number, one in enumerate(switch.advance))
    for order, triggers in ruleset.clock.triggers().items():
        yield from (((None, order, number), one) for number, one in enumerate(triggers))


def shortest_long(ruleset: RuleSet, source: str, message: bytes) -> int:
    """After how many ms the first trigger acts that a message pulls when it is held; 0 where there is none."""
    pulled = [one for _, one in placed_triggers(ruleset) if one.source == source and is_meant(one, message)]
    return min((one.long for one in pulled if one.long is not None), default=0)


def is_momentary(trigger: Trigger) -> bool:
    """Whether its switch is on only while it is pressed."""
    return isinstance(trigger, OnOffSwitch) and trigger.mode == "momentary"


def is_meant(trigger: Trigger, message: bytes) -> bool:
    """Whether a message pulls a trigger, if it comes from its source."""
    if trigger.kind is not None:
        return facts.kind_of(message) == trigger.kind
    if not facts.has_channel(message) or (
        trigger.channel is not None and facts.channel_of(message) + 1 not in trigger.channel
    ):
        return False
    if trigger.note is not None:
        return facts.is_note(message) and message[1] == trigger.note
    if trigger.controller is not None:
        return facts.is_controller(message) and message[1] == trigger.controller
    return message[0] & 0xF0 == 0xC0 and message[1] == trigger.program


def _key(message: bytes) -> tuple[int, int]:
    return facts.channel_of(message), message[1]


def _settings(trigger: Trigger) -> tuple[object, ...]:
    """All of a trigger that a press goes by."""
    does: object = None
    if isinstance(trigger, OnOffSwitch):
        does = trigger.mode
    elif isinstance(trigger, SetTrigger | AdvanceTrigger):
        does = trigger.value if isinstance(trigger, SetTrigger) else trigger.by
    return trigger.source, trigger.channel, trigger.note, trigger.controller, trigger.pass_on, trigger.long, does
