"""`chord`: one key plays several notes at once."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from itertools import chain
from typing import Annotated, Any, ClassVar, Final

from pydantic import BeforeValidator, Field

from rules.fields.matching import NOTE_STATUSES
from rules.fields.numbers import MOST_SEMITONES, Note
from rules.fields.table_model import EachOnce, fault, shown
from rules.midi.notation import Naming, format_note
from rules.program.byte_tables import NO_BYTE, gate_of, table_of
from rules.program.forms import Form
from rules.steps.base import Step, StepContext

MOST_NOTES: Final = 16
"""The most notes that one key may play."""


def _read_intervals(raw: Any) -> Any:
    if isinstance(raw, tuple):
        return raw
    if not isinstance(raw, list):
        raise fault(f"{shown(raw)} is not a chord: write a list of semitones, such as [0, 4, 7]")
    if not 1 <= len(raw) <= MOST_NOTES:
        raise fault(f"this chord has {len(raw)} notes: write 1 to {MOST_NOTES}, as semitones from the key")
    for semitones in raw:
        if isinstance(semitones, bool) or not isinstance(semitones, int) or abs(semitones) > MOST_SEMITONES:
            raise fault(
                f"{shown(semitones)} is not a number of semitones: write a whole number from -{MOST_SEMITONES} to "
                f"{MOST_SEMITONES}"
            )
    if len(set(raw)) < len(raw):
        raise fault("a number is in this chord twice: write each once")
    return tuple(raw)


Intervals = Annotated[tuple[int, ...], BeforeValidator(_read_intervals)]


class ChordStep(Step):
    """`chord = [0, 4, 7]` or `chord = { notes = [0, 7], keys = { C3 = [0, 3, 7] } }`: notes and key pressure.

    Semitones count from the key that is played; without a 0 it doesn't sound itself. All notes have its velocity and
    end with it; they go out from the lowest up. Those beyond keys 0-127 are left out (ruling 19).
    """

    key: ClassVar[str] = "chord"
    notes: Intervals = Field(
        default=(0,),
        description=f"lists the notes of every key, 1 to {MOST_NOTES}, as semitones from the key",
        examples=["{ chord = { notes = [0, 7, 12] } }"],
        json_schema_extra={"default": "`[0]`"},
    )
    keys: Annotated[dict[Note, Intervals], EachOnce] = Field(
        default_factory=dict,
        description="gives single keys a chord of their own",
        examples=["{ chord = { keys = { C3 = [0, 4, 7], D3 = [0, 3, 7] } } }"],
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """The semitones for every key."""
        return raw if isinstance(raw, dict) else {"notes": raw}

    def keys_for(self, key: int) -> list[int]:
        """Return the keys 0-127 that a key 0-127 plays, from the lowest up."""
        return [key + by for by in sorted(self.keys.get(key, self.notes)) if 0 <= key + by <= 127]

    @property
    def most_notes(self) -> int:
        """Those of the longest chord."""
        return max(map(len, (self.notes, *self.keys.values())))

    def words(self, naming: Naming) -> str:
        """The step in words."""
        told = f"chord of {_semitones(self.notes)}"
        own = [f"{format_note(key, naming)} {_semitones(notes)}" for key, notes in self.keys.items()]
        return f"{told}; {', '.join(own)}" if own else told

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """One form for each number of semitones; all else passes."""
        if form.kind not in NOTE_STATUSES:
            return [form]
        found = []
        for by, gate in self._gates.items():
            moved = form.having_one(gate)
            if moved.exists:
                found.append(moved._replace(one=moved.one.translate(_moved_by(by))))
        return found

    @cached_property
    def _gates(self) -> Mapping[int, int]:
        """The keys that play a note so many semitones away, as gates; chords go out from the lowest note up."""
        found: dict[int, list[int]] = {by: [] for by in sorted({*self.notes, *chain(*self.keys.values())})}
        for key in range(128):
            for played in self.keys_for(key):
                found[played - key].append(key)
        return {by: gate_of(keys) for by, keys in found.items()}


def _moved_by(by: int) -> bytes:
    """The table that moves keys by semitones."""
    return table_of(lambda key: key + by if 0 <= key + by <= 127 else NO_BYTE)


def _semitones(notes: tuple[int, ...]) -> str:
    return " ".join(f"{by:+d}" if by else "0" for by in notes)
