"""Rule files read: from their bytes to one set of rules, or to everything that is wrong with them at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from pydantic import ValidationError

from rules.errors import Problem, RuleFileError
from rules.fields.table_model import shown
from rules.midi.notation import Naming
from rules.rulefile.checking import check
from rules.rulefile.document import parse
from rules.rulefile.draft import Draft
from rules.rulefile.error_texts import problems_in
from rules.rulefile.locations import Location, SourceFile
from rules.rulefile.ruleset import DEFAULT_BPM, RuleSet
from rules.rulefile.schema import RuleFile

_NAMED: Final = ("ports", "devices", "switches")
_LISTED: Final = ("rules", "on_switch", "tests")


@dataclass(frozen=True, slots=True)
class Reading:
    """A rule set, and where each part of it stands in the files.

    `rules`, `on_switch` and `tests` have the places in the order of the rule set's, `files` the
    names of the files in order.
    """

    ruleset: RuleSet
    ports: Mapping[str, Location]
    devices: Mapping[str, Location]
    switches: Mapping[str, Location]
    rules: tuple[Location, ...]
    on_switch: tuple[Location, ...]
    tests: tuple[Location, ...]
    files: tuple[str, ...]

    def forget_files(self) -> None:
        """Forget what stands in the files, once no place is asked for its line any more."""
        places = (*self.ports.values(), *self.devices.values(), *self.switches.values())
        for source in {place.source for place in (*places, *self.rules, *self.on_switch, *self.tests)}:
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
    problems = [*reader.problems, *reader.draft.clashes]
    if not reader.unreadable:
        problems += check(reader.draft)
    if problems:
        raise RuleFileError(in_order(problems, names))
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
        bpm=draft.tempos[0].value if draft.tempos else DEFAULT_BPM,
    )
    return Reading(
        ruleset,
        ports={name: entry.place for name, entry in draft.ports.items()},
        devices={name: entry.place for name, entry in draft.devices.items()},
        switches={name: entry.place for name, entry in draft.switches.items()},
        rules=tuple(entry.place for entry in draft.rules),
        on_switch=tuple(entry.place for entry in draft.on_switch),
        tests=tuple(entry.place for entry in draft.tests),
        files=files,
    )


class _DraftReader:
    """Reads file after file into one draft. Each table is validated by itself, so that one fault hides no other."""

    def __init__(self) -> None:
        self.draft = Draft()
        self.problems: list[Problem] = []
        self.unreadable = False
        """Whether a file was no TOML: then nothing can be said about names, which may stand in it."""
        self._rules = 0

    def read(self, name: str, data: bytes) -> None:
        """Read one file."""
        try:
            text, tables = parse(name, data)
        except RuleFileError as error:
            self.unreadable = True
            self.problems += error.problems
            return
        source = SourceFile(name, text, tables, _naming(tables), self._rules)
        self._head(source)
        for section in _NAMED:
            self._named(source, section)
        for section in _LISTED:
            self._listed(source, section)

    def _head(self, source: SourceFile) -> None:
        """Read what is outside of all sections."""
        alone = {key: raw for key, raw in source.data.items() if key not in (*_NAMED, *_LISTED)}
        file = self._validated(source, alone)
        if file is not None and file.bpm is not None:
            self.draft.set_tempo(file.bpm, Location(source, ("bpm",)))

    def _named(self, source: SourceFile, section: str) -> None:
        tables = source.data.get(section, {})
        if not isinstance(tables, dict):
            self._no_section(source, section, f"[{section}]", f"{section[:-1]}1 = {{ ... }}")
            return
        for name, raw in tables.items():
            file = self._validated(source, {section: {name: raw}})
            value = None if file is None else getattr(file, section)[name]
            self.draft.put(section, name, Location(source, (section, name)), value)

    def _listed(self, source: SourceFile, section: str) -> None:
        tables = source.data.get(section, [])
        if not isinstance(tables, list):
            self._no_section(source, section, f"[[{section}]]")
            return
        for number, raw in enumerate(tables):
            file = self._validated(source, {section: [raw]}, number)
            value = None if file is None else getattr(file, section)[0]
            self.draft.add(section, Location(source, (section, number)), value)
        if section == "rules":
            self._rules += len(tables)

    def _no_section(self, source: SourceFile, section: str, header: str, line: str = "") -> None:
        found = shown(source.data[section])
        text = f"`{section}` is {found} here: write the header {header}{' and below it ' if line else ''}{line}"
        self.problems.append(source.problem((section,), text, about=()))

    def _validated(self, source: SourceFile, tables: Mapping[str, Any], number: int = 0) -> RuleFile | None:
        try:
            return RuleFile.model_validate(tables, context=source.naming)
        except ValidationError as error:
            self.problems += problems_in(error, source, number)
            return None


def _naming(tables: Mapping[str, Any]) -> Naming:
    """Return how a file counts, as far as it says so rightly; what it says wrongly is reported with the rest."""
    starts_at_0 = tables.get("first_program") == 0 and tables["first_program"] is not False
    return Naming(3 if tables.get("middle_c") == "C3" else 4, 0 if starts_at_0 else 1)
