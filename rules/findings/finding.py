"""A finding: something in rules that can be read, and yet is wrong or odd. What it is, where, and what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from rules.errors import Problem
from rules.fields.when import written_states
from rules.midi.notation import Naming, format_message, format_note
from rules.program.byte_tables import open_in
from rules.program.switch_states import State
from rules.rulefile.locations import Location

Severity = Literal["mistake", "doubt", "remark"]
"""A mistake can't be meant; a doubt may be; a remark is worth knowing."""

SEVERITIES: Final[Sequence[Severity]] = ("mistake", "doubt", "remark")
"""The gravest first."""


@dataclass(frozen=True, slots=True)
class Example:
    """A message that shows a finding: it comes from an input while switches have these states."""

    source: str
    message: bytes
    switches: tuple[tuple[str, State], ...] = ()

    def words(self, naming: Naming) -> str:
        """The example as `trace` takes it, more or less: `note-on 1 C4 100 from keys, with song = chorus`."""
        states = f", with {written_states(self.switches)}" if self.switches else ""
        return f"{format_message(self.message, naming)} from {self.source}{states}"


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. `kind` and, where there may be several of a kind at one place, `about` name it for `accept`.

    `text` says what is so, `remedy` what to write instead. `others` are further places that have a part in it.
    """

    kind: str
    severity: Severity
    place: Location
    text: str
    remedy: str
    about: str = ""
    example: Example | None = None
    others: tuple[Location, ...] = ()

    @property
    def label(self) -> str:
        """The name by which `accept` takes it: `split gap: C4`."""
        return f"{self.kind}: {self.about}" if self.about else self.kind

    @property
    def problem(self) -> Problem:
        """The same in one line."""
        return self.place.problem(f"{self.label}: {self.text} {self.remedy}")

    @property
    def naming(self) -> Naming:
        """How the file that it is in names notes and programs."""
        return self.place.source.naming


def key_ranges(keys: int) -> list[tuple[int, int]]:
    """The keys of a gate as ranges, lowest first: the lowest and the highest key of each."""
    ranges: list[tuple[int, int]] = []
    for key in open_in(keys):
        if ranges and ranges[-1][1] == key - 1:
            ranges[-1] = ranges[-1][0], key
        else:
            ranges.append((key, key))
    return ranges


def range_words(low: int, high: int, naming: Naming) -> str:
    """A range of keys in words: `C4`, `E4..G4`."""
    return format_note(low, naming) if low == high else f"{format_note(low, naming)}..{format_note(high, naming)}"


def note_ranges(keys: int, naming: Naming) -> list[str]:
    """The keys of a gate as ranges in words, lowest first."""
    return [range_words(low, high, naming) for low, high in key_ranges(keys)]
