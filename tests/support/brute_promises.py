"""Promises held against brute force: message by message, state by state, for whatever may be remembered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rules.rulefile.promise_table import Promise
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import AT_ONCE
from tests.model import facts
from tests.model.asking import fits, selects
from tests.support.brute_force import Arrival, Outcome, Switches, as_off

Case = tuple[str, bytes, Switches]
"""A message from a source, with the switches at states."""


class BrutePromises:
    """The verdict on each promise of a rule set, as far as the cases go that have been looked at."""

    def __init__(self, ruleset: RuleSet) -> None:
        self._ruleset = ruleset
        self._broken: set[str] = set()
        self._doubtful: set[str] = set()

    def look_at(self, case: Case, outcomes: Iterable[Outcome]) -> None:
        """Count what one message may become."""
        source, message, _ = case
        for promise in self._ruleset.promises:
            if source in promise.source and _is_meant(promise, message):
                found = {self.breaks(promise, message, outcome) for outcome in outcomes}
                if found == {True}:
                    self._broken.add(promise.name)
                elif True in found:
                    self._doubtful.add(promise.name)

    def verdicts(self) -> list[str]:
        """The verdict on each promise."""
        return [
            "refuted"
            if promise.name in self._broken
            else "not decidable"
            if promise.name in self._doubtful
            else "proved"
            for promise in self._ruleset.promises
        ]

    def breaks(self, promise: Promise, message: bytes, outcome: Outcome) -> bool:
        """Whether a promise is broken by what a message becomes."""
        names = promise.never or promise.always
        counting = [arrival for arrival in outcome for name in names if self._counts(promise, name, message, arrival)]
        return bool(counting) == bool(promise.never)

    def _counts(self, promise: Promise, name: str, message: bytes, arrival: Arrival) -> bool:
        device = self._ruleset.devices.get(name)
        if arrival.port != self._ruleset.port_of(name):
            return False
        message = as_off(message)  # a note-off keeps its form, which an arrival doesn't say
        has_channel = facts.has_channel(arrival.message)
        if device is not None and device.channel is not None and has_channel:
            if facts.channel_of(arrival.message) + 1 != device.channel:
                return False
            message = facts.on_channel(message, device.channel - 1) if facts.has_channel(message) else message
        asks = selects if promise.never else fits
        if promise.out and not any(asks(condition, arrival.message) for condition in promise.out):
            return False
        if not promise.unchanged:
            return True
        same = arrival.message == message and arrival.delay == AT_ONCE
        return same and arrival.lasts is None and arrival.release is None


def _is_meant(promise: Promise, message: bytes) -> bool:
    if facts.is_signal(message):
        return any(condition.kinds is not None and fits(condition, message) for condition in promise.match)
    if facts.has_channel(message) and facts.is_off(message):
        named = [condition for condition in promise.match if "note-off" in (condition.kind or ())]
        return any(fits(condition, message) for condition in named)
    return not promise.match or any(fits(condition, message) for condition in promise.match)


def told(promises: Sequence[Promise], wanted: Sequence[str], found: Sequence[str]) -> str:
    """Which promises are judged differently."""
    return "\n".join(
        f"{promise.name}: brute force says {one}, the ways say {other}"
        for promise, one, other in zip(promises, wanted, found, strict=True)
        if one != other
    )
