"""Differences between two rule sets in words, a line for all messages that change alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rules.behaviour.message_words import CHANNEL_KINDS, KIND_WORDS, kind_of, messages_in, states_in
from rules.behaviour.regions import Region, merged
from rules.comparison.comparison import Comparison, Difference, Result
from rules.comparison.result_words import changes, destination
from rules.midi.messages import KEY_PRESSURE, LENGTH, NOTE_OFF, NOTE_ON, PITCH_BEND, SYSEX
from rules.midi.notation import Naming
from rules.program.byte_tables import closed, open_in
from rules.rulefile.ruleset import RuleSet
from rules.steps.wording import channels as in_channels

_ALL_CHANNELS: Final = frozenset(range(1, 17))


@dataclass(frozen=True, slots=True)
class ChangedMessages:
    """Messages from a source that become something else.

    `messages` names them, `channels` (1-16) are theirs; empty: they have none. `when` says for which switches, empty:
    for all. `remembered` says whether it is up to messages before. `before` is what they became and no longer do, `now`
    what they become and didn't: where they arrive, and how they were changed on the way. `alike` says that one of
    them has no text though both change them alike. `besides` is that of a difference.
    """

    source: str
    messages: str
    channels: frozenset[int]
    when: str
    remembered: bool
    before: tuple[tuple[str, str], ...]
    now: tuple[tuple[str, str], ...]
    alike: bool
    besides: bool

    @property
    def text(self) -> str:
        """All of it in one line."""
        on = f" on {in_channels(self.channels)}" if self.channels and self.channels != _ALL_CHANNELS else ""
        when = f", while {self.when}" if self.when else ""
        doubt = ", depending on messages before" if self.remembered else ""
        return f"{self.messages}{on} from {self.source}{when}{doubt}: {self._became}"

    @property
    def _became(self) -> str:
        before, now = _listed(self.before), _listed(self.now)
        if not self.now:
            return f"no longer reach {before}" if self.besides else f"reached {before}, now silent"
        if not self.before:
            return f"now reach {now}" if self.besides else f"were silent, now reach {now}"
        if len(self.before) == len(self.now) == 1 and self.before[0][0] == self.now[0][0]:
            (place, was), (_, is_now) = self.before[0], self.now[0]
            if self.alike and not was:
                return f"reached {place}, now as before, and {is_now}"
            if self.alike and not is_now:
                return f"reached {place}, now no longer {was}, otherwise as before"
            return f"reached {_place_and_manner((place, was or 'as they came'))}, now {is_now or 'as they come'}"
        return f"reached {before}, now {now}"


def _listed(results: Sequence[tuple[str, str]]) -> str:
    return " and ".join(map(_place_and_manner, results))


def _place_and_manner(result: tuple[str, str]) -> str:
    place, how = result
    return f"{place}{',' if how[:1].isdigit() else ''} {how}".rstrip()


def changed_messages(comparison: Comparison, old: RuleSet, new: RuleSet, naming: Naming) -> list[ChangedMessages]:
    """Return all differences between messages, in the order of sources and kinds."""
    return list(_of_like_kinds(_without_followers(list(_lines(comparison, old, new, naming)))))


@dataclass(frozen=True, slots=True)
class _Line:
    """One line, and of which kind and region of messages it tells."""

    kind: int
    region: Region
    told: ChangedMessages


Outs = tuple[tuple[int | None, ...], tuple[int | None, ...]]
"""The outgoing channels (1-16) of results before and now."""


def _lines(comparison: Comparison, old: RuleSet, new: RuleSet, naming: Naming) -> Iterator[_Line]:
    """A line for each set of channels on which messages change alike."""
    alike: dict[tuple[object, ...], list[tuple[int, Outs, Difference]]] = {}
    for difference in _joined(comparison.differences):
        kind, channel = kind_of(difference.status), (difference.status & 0x0F) + 1
        region = difference.region.for_any_memory
        shapes = tuple(
            tuple(_shape(result, region) for result in results) for results in (difference.before, difference.now)
        )
        outs = _channels_of(difference.before), _channels_of(difference.now)
        key = difference.source, kind, region, difference.region.remembers, shapes, difference.besides
        alike.setdefault(key, []).append((channel, outs, difference))
    found_lines: list[_Line] = []
    for found in alike.values():
        for channels, outs, difference in _by_channels(found):
            kind, region = kind_of(difference.status), difference.region.for_any_memory
            before = _told(old, difference.before, outs[0], kind, region, naming)
            now = _told(new, difference.now, outs[1], kind, region, naming)
            told = ChangedMessages(
                difference.source,
                messages_in(kind, region, naming),
                channels if difference.status < SYSEX else frozenset(),
                "",
                difference.region.remembers,
                *_in_words(before, now),
                difference.besides,
            )
            found_lines.append(_Line(kind, region, told))
    yield from _for_like_states(found_lines, comparison)


def _for_like_states(lines: Iterable[_Line], comparison: Comparison) -> Iterator[_Line]:
    """Put together what is told alike for several states of the switches, and say for which."""
    alike: dict[tuple[int, ChangedMessages], list[Region]] = {}
    for line in lines:
        alike.setdefault((line.kind, line.told), []).append(line.region)
    for (kind, told), regions in alike.items():
        for region in merged(regions):
            yield _Line(kind, region, replace(told, when=states_in(region, comparison.states)))


def _joined(differences: Iterable[Difference]) -> Iterator[Difference]:
    """The same differences with as few regions as can be."""
    alike: dict[Difference, list[Region]] = {}
    for difference in differences:
        alike.setdefault(replace(difference, region=Region()), []).append(difference.region)
    for difference, regions in alike.items():
        if kind_of(difference.status) == PITCH_BEND:
            regions = list(_rows(regions))
        for region in merged(regions):
            yield replace(difference, region=region)


def _rows(regions: Iterable[Region]) -> Iterator[Region]:
    """Regions of bends by their upper data bytes, so that those from one bend to another are merged again."""
    rows: dict[Region, int] = {}
    for region in regions:
        for second in open_in(region.seconds):
            row = region._replace(firsts=0, seconds=1 << second)
            rows[row] = rows.get(row, 0) | region.firsts
    return (row._replace(firsts=firsts) for row, firsts in rows.items())


def _shape(result: Result, region: Region) -> tuple[object, ...]:
    """A result without its channel, and as far as a region goes: what has to be alike to be told in one line."""
    form = result.form
    one = closed(form.one, region.firsts if form.feed_one == 1 else region.seconds)
    two = closed(form.two, region.firsts if form.feed_two == 1 else region.seconds)
    if form.status < SYSEX and LENGTH[form.status] == 2:
        two = b""
    port, _, release, *rest = result.manner
    return port, kind_of(form.status), release, one, two, form.feed_one, form.feed_two, *rest


def _channels_of(results: Iterable[Result]) -> tuple[int | None, ...]:
    return tuple((result.form.status & 0x0F) + 1 if result.form.status < SYSEX else None for result in results)


def _by_channels(
    found: Sequence[tuple[int, Outs, Difference]],
) -> Iterator[tuple[frozenset[int], Outs, Difference]]:
    """Group incoming channels by the outgoing ones, or together where each goes out on its own.

    In the outgoing channels None then says that one is as it came.
    """
    groups: dict[Outs, list[tuple[int, Difference]]] = {}
    for channel, outs, difference in found:
        groups.setdefault(outs, []).append((channel, difference))
    if len(groups) > 1:
        kept: dict[Outs, list[tuple[int, Difference]]] = {}
        for channel, outs, difference in found:
            relative = tuple(tuple(None if out == channel else out for out in side) for side in outs)
            kept.setdefault(relative, []).append((channel, difference))  # type: ignore[arg-type]
        groups = kept if len(kept) < len(groups) else groups
    for outs, members in groups.items():
        yield frozenset(channel for channel, _ in members), outs, members[0][1]


_Told = tuple[str, tuple[str, ...]]
"""Where a result arrives, and how it is changed, in parts."""


def _told(
    ruleset: RuleSet,
    results: Sequence[Result],
    channels: Sequence[int | None],
    kind: int,
    region: Region,
    naming: Naming,
) -> list[_Told]:
    told = [
        (destination(ruleset, result, channel), changes(kind, region, result, naming))
        for result, channel in zip(results, channels, strict=True)
    ]
    return list(dict.fromkeys(told))


def _in_words(
    before: Sequence[_Told], now: Sequence[_Told]
) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...], bool]:
    """Both sides with their changes in one text each, without what is the same where one thing becomes another.

    The third says whether something is the same, and nothing else is left of one of them.
    """
    shared: set[str] = set()
    if len(before) == len(now) == 1 and before[0][0] == now[0][0]:
        shared = set(before[0][1]) & set(now[0][1])
    first, second = (
        tuple((place, ", ".join(part for part in parts if part not in shared)) for place, parts in side)
        for side in (before, now)
    )
    return first, second, bool(shared) and not (first[0][1] and second[0][1])


def _without_followers(lines: Sequence[_Line]) -> Iterator[_Line]:
    """Leave out note-offs of notes that change, and key pressure that changes as its notes do: both follow notes."""
    changed: dict[tuple[str, int], int] = {}
    for line in lines:
        if line.kind == NOTE_ON:
            for channel in line.told.channels:
                place = line.told.source, channel
                changed[place] = changed.get(place, 0) | line.region.firsts
    like_notes = {(replace(line.told, messages=""), line.region.firsts) for line in lines if line.kind == NOTE_ON}
    for line in lines:
        told = line.told
        if line.kind == NOTE_OFF and all(
            not line.region.firsts & ~changed.get((told.source, channel), 0) for channel in told.channels
        ):
            continue
        if line.kind == KEY_PRESSURE and (replace(told, messages=""), line.region.firsts) in like_notes:
            continue
        yield line


def _of_like_kinds(lines: Iterable[_Line]) -> Iterator[ChangedMessages]:
    """Put kinds of which all messages change alike into one line."""
    alike: dict[object, list[_Line]] = {}
    for number, line in enumerate(lines):
        whole = line.told.messages in KIND_WORDS.values()
        key: object = replace(line.told, messages="") if whole else number
        alike.setdefault(key, []).append(line)
    for found in alike.values():
        kinds = [line.kind for line in found]
        words = [line.told.messages for line in sorted(found, key=lambda line: _ORDER.get(line.kind, 99))]
        if set(kinds) >= _CHIEF_KINDS:
            words = ["all channel messages"]
        text = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
        yield replace(found[0].told, messages=text)


_ORDER: Final[Mapping[int, int]] = {kind: number for number, kind in enumerate(CHANNEL_KINDS)}
_CHIEF_KINDS: Final = frozenset(CHANNEL_KINDS) - {NOTE_OFF, KEY_PRESSURE}
