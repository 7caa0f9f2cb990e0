"""Checks of the tests in rule files: that each names what exists, and can be met at all (ruling 35)."""

from __future__ import annotations

from collections.abc import Iterator

from rules.errors import Problem
from rules.fields.written_messages import TimedMessage
from rules.rulefile.checking_switches import state_fault
from rules.rulefile.draft import Draft
from rules.rulefile.locations import Location
from rules.rulefile.references import destination_fault, source_fault


def check_tests(draft: Draft) -> Iterator[Problem]:
    """Names, switches, channels and times of each test."""
    for entry in draft.tests:
        test, place = entry.value, entry.place
        if fault := source_fault(draft, test.source):
            yield place.inside("from").problem(fault)
        yield from _check_played(draft, test.play, place.inside("play"))
        for name, messages in test.expect.items():
            inside = place.inside("expect", name)
            if fault := destination_fault(draft, name):
                yield inside.problem(fault)
            else:
                yield from _check_expected(draft, name, messages, inside)
        for name, state in test.switches.items():
            if fault := state_fault(draft, name, state):
                yield place.inside("switches", name).problem(fault)


def _check_played(draft: Draft, messages: tuple[TimedMessage, ...], place: Location) -> Iterator[Problem]:
    yield from _check_times(messages, place)
    for number, timed in enumerate(messages):
        if timed.source is not None and (fault := source_fault(draft, timed.source)):
            yield place.inside(number).problem(fault)
        if timed.message.has_channel and timed.message.channel is None:
            yield place.inside(number).problem(
                "a message that arrives has a channel: write it, as in `note-on 4 C4 100`"
            )


def _check_expected(draft: Draft, name: str, messages: tuple[TimedMessage, ...], place: Location) -> Iterator[Problem]:
    yield from _check_times(messages, place)
    own = draft.devices[name].value.channel if name in draft.devices else None
    for number, timed in enumerate(messages):
        if timed.source is not None:
            yield place.inside(number).problem("`from` belongs in `play`, not in `expect`: remove it")
        if not timed.message.has_channel or name in draft.broken:
            continue
        if timed.message.channel is None and own is None:
            yield place.inside(number).problem(f'write the channel: "{name}" has none of its own')
        if own is not None and timed.message.channel not in (None, own):
            text = f'channel {timed.message.channel} can\'t arrive: "{name}" gets everything on channel {own}'
            yield place.inside(number).problem(text)


def _check_times(messages: tuple[TimedMessage, ...], place: Location) -> Iterator[Problem]:
    latest = None
    for number, timed in enumerate(messages):
        if timed.ms is not None and latest is not None and timed.ms < latest:
            text = f"{float(timed.ms):g} ms comes before {float(latest):g} ms: write the messages in the order of time"
            yield place.inside(number).problem(text)
        latest = timed.ms if timed.ms is not None else latest
