"""What all rule files say, before it is known to fit together; faulty tables leave only their names."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from rules.errors import Problem
from rules.rulefile.clock_table import ClockTable
from rules.rulefile.locations import Location
from rules.rulefile.outline import outline
from rules.rulefile.port_tables import Device, Port
from rules.rulefile.promise_table import Promise
from rules.rulefile.rule_tables import Branch, OnSwitch, Rule, RuleTest
from rules.rulefile.song_tables import SetList, Song
from rules.rulefile.stages import Stage
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, Trigger, ValueSwitch

T = TypeVar("T")
AnySwitch = OnOffSwitch | ValueSwitch | NumberSwitch


@dataclass(frozen=True, slots=True)
class Placed(Generic[T]):
    """One part of a rule file with its place."""

    value: T
    place: Location


@dataclass(frozen=True, slots=True)
class PlacedBranch:
    """One way through a rule, and where its parts are written: the rule or zone, its steps, and its `to`."""

    rule: Rule
    branch: Branch
    place: Location
    stages: tuple[Placed[Stage], ...]
    outlets_place: Location


@dataclass(slots=True)
class Draft:
    """All files together.

    `taken` holds the first place of each name, by what it names, `broken` the section of each faulty table's name.
    Of faulty rules there is an outline. `song_switch` is what the songs make, and `song_triggers` what turns it, where
    it is written. `unknown` keeps the ends of errors about names that nothing has, by what was
    looked for and the name.
    """

    ports: dict[str, Placed[Port]] = field(default_factory=dict)
    devices: dict[str, Placed[Device]] = field(default_factory=dict)
    switches: dict[str, Placed[AnySwitch]] = field(default_factory=dict)
    rules: list[Placed[Rule]] = field(default_factory=list)
    outlines: list[Placed[Rule]] = field(default_factory=list)
    on_switch: list[Placed[OnSwitch]] = field(default_factory=list)
    set_lists: list[Placed[SetList]] = field(default_factory=list)
    songs: list[Placed[Song]] = field(default_factory=list)
    has_faulty_song: bool = False
    song_switch: Placed[AnySwitch] | None = None
    song_triggers: list[Placed[Trigger]] = field(default_factory=list)
    tests: list[Placed[RuleTest]] = field(default_factory=list)
    promises: list[Placed[Promise]] = field(default_factory=list)
    clocks: list[Placed[ClockTable]] = field(default_factory=list)
    taken: dict[tuple[str, str], Location] = field(default_factory=dict)
    broken: dict[str, str] = field(default_factory=dict)
    clashes: list[Problem] = field(default_factory=list)
    unknown: dict[tuple[str, str], str] = field(default_factory=dict)

    def put(self, section: str, name: str, place: Location, value: Any) -> None:
        """Add a port, device or switch; `value` is None where its table is faulty."""
        self._take("switch" if section == "switches" else "port or device", name, place)
        if value is None:
            self.broken[name] = section
        else:
            getattr(self, section).setdefault(name, Placed(value, place))

    def add(self, section: str, place: Location, value: Any) -> None:
        """Add a rule, a song, a test, a promise or an `[[on_switch]]`; `value` is None where its table is faulty."""
        if section == "rules":
            written = place.source.value((*place.path, "name"))
            number = place.source.rules_before + int(place.path[1]) + 1
            name = written if isinstance(written, str) else f"rule {number}"
            self._take("rule", name, place)
            if value is None:
                self.outlines.append(Placed(outline(place.source.value(place.path), place.source.naming), place))
            elif value.name is None:
                value = value.model_copy(update={"name": name})
        if section == "songs":
            self.has_faulty_song |= value is None
            if isinstance(name := place.source.value((*place.path, "name")), str):
                self._take("song", name, place)
        if value is not None:
            getattr(self, section).append(Placed(value, place))

    def set_clock(self, clock: ClockTable, place: Location) -> None:
        """Set the clock of one file; all files that have one must agree."""
        if self.clocks and self.clocks[0].value != clock:
            first = self.clocks[0].place
            self.clashes.append(place.problem(f"this differs from [clock] in {first}: write one clock for all files"))
        self.clocks.append(Placed(clock, place))

    def set_set_list(self, set_list: SetList, place: Location) -> None:
        """Set how the player gets from song to song: that is written once, in one of the files."""
        if self.set_lists:
            self.clashes.append(place.problem(f"[set_list] is in {self.set_lists[0].place} already: write it once"))
        self.set_lists.append(Placed(set_list, place))

    def _take(self, what: str, name: str, place: Location) -> None:
        first = self.taken.setdefault((what, name), place)
        if first is not place:
            self.clashes.append(
                place.problem(
                    f'the {first.words.split(" ")[0]} in {first} has the name "{name}" already: choose another'
                )
            )

    def triggers(self) -> Iterator[Placed[Trigger]]:
        """Yield what turns switches."""
        yield from self.song_triggers
        for entry in self.switches.values():
            switch = entry.value
            if entry is self.song_switch:
                continue
            lists: dict[str, Sequence[Trigger]] = {}
            if isinstance(switch, OnOffSwitch):
                yield Placed(switch, entry.place)
            else:
                lists = {"set": switch.set, "advance": switch.advance}
            for key, triggers in lists.items():
                for number, trigger in enumerate(triggers):
                    yield Placed(trigger, entry.place.inside(key, number))

    def broken_names(self, *sections: str) -> list[str]:
        """The names in some sections whose tables are faulty."""
        return [name for name, section in self.broken.items() if section in sections]


def placed_branches(entry: Placed[Rule]) -> Iterator[PlacedBranch]:
    """The ways through a rule with their places, in the order of the file."""
    rule, place = entry.value, entry.place
    for branch in rule.branches():
        inside = place if branch.zone is None else place.inside("zones", branch.number)
        to = place if branch.zone is None or branch.zone.to is None else inside
        places = [
            place.inside("steps", number)
            if number < len(rule.steps)
            else inside.inside("steps", number - len(rule.steps))
            for number in range(len(branch.stages))
        ]
        stages = tuple(map(Placed, branch.stages, places))
        yield PlacedBranch(rule, branch, inside, stages, to.inside("to"))


def all_branches(draft: Draft) -> Iterator[PlacedBranch]:
    """Yield the ways through all rules."""
    for entry in draft.rules:
        yield from placed_branches(entry)


def staged(steps: tuple[Stage, ...], place: Location) -> Iterator[Placed[Stage]]:
    """The entries of `steps` with their places."""
    for number, stage in enumerate(steps):
        yield Placed(stage, place.inside("steps", number))
