"""Rule files read: from their bytes to one set of rules, or to everything that is wrong with them at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, Final

from pydantic import ValidationError

from rules.errors import Problem, RuleFileError
from rules.fields.table_model import shown
from rules.midi.notation import Naming
from rules.rulefile.checking import check
from rules.rulefile.clock_table import NO_CLOCK
from rules.rulefile.document import parse
from rules.rulefile.draft import Draft
from rules.rulefile.error_texts import problems_in
from rules.rulefile.limits import TOGETHER, too_many_entries
from rules.rulefile.locations import Location, SourceFile
from rules.rulefile.placing_songs import place_songs
from rules.rulefile.positions import Path
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.schema import LISTED_SECTIONS, NAMED_SECTIONS, SINGLE_SECTIONS, form_of

_MOST_WORDED: Final = 1_000


@dataclass(frozen=True, slots=True)
class Reading:
    """A rule set, and where each part of it stands in the files.

    `rules`, `on_switch`, `songs`, `tests` and `promises` have the places in the order of the rule set's, `files` the
    names of the files in order. `clock` is the first `[clock]`, None where no file has one.
    """

    ruleset: RuleSet
    ports: Mapping[str, Location]
    devices: Mapping[str, Location]
    switches: Mapping[str, Location]
    rules: tuple[Location, ...]
    on_switch: tuple[Location, ...]
    songs: tuple[Location, ...]
    tests: tuple[Location, ...]
    promises: tuple[Location, ...]
    files: tuple[str, ...]
    clock: Location | None

    def forget_files(self) -> None:
        """Forget what stands in the files, once no place is asked for its line any more."""
        places = (*self.ports.values(), *self.devices.values(), *self.switches.values())
        places += () if self.clock is None else (self.clock,)
        for source in {place.source for place in (*places, *self.rules, *self.on_switch, *self.tests, *self.promises)}:
            source.forget()


def read_rules(files: Sequence[tuple[str, bytes]]) -> RuleSet:
    """The rules of all files together. Each file is a name, as the user gave it, and its contents.

    Raises RuleFileError with every problem of every file, in the order of files and lines.
    """
    return read_rule_set(files).ruleset


def read_rule_set(files: Sequence[tuple[str, bytes]]) -> Reading:
    """The same, with the place of each part. Raises RuleFileError."""
    reader = _DraftReader()
    for name, data in files:
        reader.read(name, data)
    names = tuple(name for name, _ in files)
    problems = reader.problems
    place_songs(reader.draft)
    problems.add(reader.draft.clashes)
    if not reader.is_cut_short:
        problems.add(check(reader.draft))
    if problems.found:
        for source in reader.sources:
            source.forget()
        raise RuleFileError(in_order(problems.found, names), problems.unworded)
    return _reading(reader.draft, names)


def in_order(problems: Iterable[Problem], files: Sequence[str]) -> tuple[Problem, ...]:
    """Problems once each, by the order of their files and by line."""
    order = {name: number for number, name in enumerate(files)}
    return tuple(sorted(dict.fromkeys(problems), key=lambda problem: (order[problem.file], problem.line)))


def _reading(draft: Draft, files: tuple[str, ...]) -> Reading:
    ruleset = RuleSet(
        ports={name: entry.value for name, entry in draft.ports.items()},
        devices={name: entry.value for name, entry in draft.devices.items()},
        switches={name: entry.value for name, entry in draft.switches.items()},
        rules=tuple(entry.value for entry in draft.rules),
        on_switch=tuple(entry.value for entry in draft.on_switch),
        tests=tuple(entry.value for entry in draft.tests),
        promises=tuple(entry.value for entry in draft.promises),
        clock=draft.clocks[0].value if draft.clocks else NO_CLOCK,
        songs=tuple(entry.value for entry in draft.songs),
    )
    return Reading(
        ruleset,
        ports={name: entry.place for name, entry in draft.ports.items()},
        devices={name: entry.place for name, entry in draft.devices.items()},
        switches={name: entry.place for name, entry in draft.switches.items()},
        rules=tuple(entry.place for entry in draft.rules),
        on_switch=tuple(entry.place for entry in draft.on_switch),
        songs=tuple(entry.place for entry in draft.songs),
        tests=tuple(entry.place for entry in draft.tests),
        promises=tuple(entry.place for entry in draft.promises),
        files=files,
        clock=draft.clocks[0].place if draft.clocks else None,
    )


class _ProblemList:
    """The problems found so far. Beyond `_MOST_WORDED` they are only counted: to find words for each takes time."""

    def __init__(self) -> None:
        self.found: list[Problem] = []
        self.unworded = 0

    def append(self, problem: Problem) -> None:
        """Add one problem."""
        self.add((problem,))

    def add(self, problems: Iterable[Problem]) -> None:
        """Add problems."""
        for problem in problems:
            if len(self.found) < _MOST_WORDED:
                self.found.append(problem)
            else:
                self.unworded += 1

    def add_invalid(self, error: ValidationError, source: SourceFile, number: int) -> None:
        """Add what the validation of a table found; `number` is its place in its section."""
        room = _MOST_WORDED - len(self.found)
        worded = list(islice(problems_in(error, source, number), room)) if room else []
        self.found += worded
        if len(worded) == room:
            self.unworded += max(0, error.error_count() - room)


class _DraftReader:
    """Reads file after file into one draft. Each table is validated by itself, so that one fault hides no other."""

    def __init__(self) -> None:
        self.draft = Draft()
        self.sources: list[SourceFile] = []
        self.problems = _ProblemList()
        self.is_cut_short = False
        """Whether a file wasn't TOML, or a limit was reached: then names may be in what wasn't read."""
        self._rules = 0
        self._amounts = dict.fromkeys(TOGETHER, 0)

    def read(self, name: str, data: bytes) -> None:
        """Read one file."""
        try:
            text, tables = parse(name, data)
        except RuleFileError as error:
            self.is_cut_short = True
            self.problems.add(error.problems)
            return
        source = SourceFile(name, text, tables, _naming(tables), self._rules)
        self.sources.append(source)
        self._head(source)
        if (clock := self._single(source, "clock", "bpm = 120")) is not None:
            self.draft.set_clock(clock, Location(source, ("clock",)))
        if (set_list := self._single(source, "set_list", "next = { ... }")) is not None:
            self.draft.set_set_list(set_list, Location(source, ("set_list",)))
        for section in NAMED_SECTIONS:
            self._named(source, section)
        for section in LISTED_SECTIONS:
            self._listed(source, section)

    def _head(self, source: SourceFile) -> None:
        """Read what is outside of all sections."""
        sections = (*SINGLE_SECTIONS, *NAMED_SECTIONS, *LISTED_SECTIONS)
        alone = {key: raw for key, raw in source.data.items() if key not in sections}
        if not self._is_too_large(source, (), alone):
            self._validated(source, None, alone)

    def _single(self, source: SourceFile, section: str, line: str) -> Any | None:
        """Return what a section of one table says; None where it is missing or faulty."""
        raw = source.data.get(section, {})
        if not isinstance(raw, dict):
            self._no_section(source, section, f"[{section}]", line)
        elif section in source.data and not self._is_too_large(source, (section,), raw):
            file = self._validated(source, section, {section: raw})
            return None if file is None else getattr(file, section)
        return None

    def _named(self, source: SourceFile, section: str) -> None:
        tables = source.data.get(section, {})
        if not isinstance(tables, dict):
            self._no_section(source, section, f"[{section}]", f"{section[:-1]}1 = {{ ... }}")
            return
        if self._are_too_many(source, section, tables):
            return
        for name, raw in tables.items():
            if self._is_too_large(source, (section, name), raw):
                continue
            file = self._validated(source, section, {section: {name: raw}})
            value = None if file is None else getattr(file, section)[name]
            self.draft.put(section, name, Location(source, (section, name)), value)

    def _listed(self, source: SourceFile, section: str) -> None:
        tables = source.data.get(section, [])
        if not isinstance(tables, list):
            self._no_section(source, section, f"[[{section}]]")
            return
        if self._are_too_many(source, section, tables):
            return
        for number, raw in enumerate(tables):
            if self._is_too_large(source, (section, number), raw):
                continue
            file = self._validated(source, section, {section: [raw]}, number)
            value = None if file is None else getattr(file, section)[0]
            self.draft.add(section, Location(source, (section, number)), value)
        if section == "rules":
            self._rules += len(tables)

    def _are_too_many(self, source: SourceFile, section: str, tables: Sequence[Any] | Mapping[str, Any]) -> bool:
        """Return whether all files so far hold more of a kind than they may; the first file beyond that says it."""
        before = self._amounts[section]
        self._amounts[section] += sum(map(_amount, tables)) if section == "rules" else len(tables)
        most = TOGETHER[section]
        if self._amounts[section] <= most:
            return False
        if before <= most:
            text = f"all files together have more than {most:,} entries in `{section}`"
            self.problems.append(source.problem((section,), text, about=()))
        self.is_cut_short = True
        return True

    def _is_too_large(self, source: SourceFile, path: Path, table: Any) -> bool:
        """Whether one table holds more than it may; then it is a problem, and the table isn't looked at."""
        text = too_many_entries(str(path[0]) if path else "", table)
        if text:
            self.problems.append(source.problem(path, text))
            self.is_cut_short = True
        return bool(text)

    def _no_section(self, source: SourceFile, section: str, header: str, line: str = "") -> None:
        found = shown(source.data[section])
        text = f"`{section}` is {found} here: write the header {header}{' and below it ' if line else ''}{line}"
        self.problems.append(source.problem((section,), text, about=()))

    def _validated(
        self, source: SourceFile, section: str | None, tables: Mapping[str, Any], number: int = 0
    ) -> Any | None:
        try:
            return form_of(section).model_validate(tables, context=source.naming)
        except ValidationError as error:
            self.problems.add_invalid(error, source, number)
            return None


def _amount(rule: Any) -> int:
    """As how many rules a rule counts: each zone is one more."""
    zones = rule.get("zones") if isinstance(rule, dict) else None
    return 1 + len(zones) if isinstance(zones, list) else 1


def _naming(tables: Mapping[str, Any]) -> Naming:
    """Return how a file counts, as far as it says so rightly; what it says wrongly is reported with the rest."""
    starts_at_0 = tables.get("first_program") == 0 and tables["first_program"] is not False
    return Naming(3 if tables.get("middle_c") == "C3" else 4, 0 if starts_at_0 else 1)
