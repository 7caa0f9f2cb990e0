"""`snap`: keys outside a set of pitches move to the nearest inside, or are dropped."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import BeforeValidator, Field

from rules.errors import NotationError
from rules.fields.table_model import fault, shown
from rules.midi.notation import Naming, format_pitch, parse_pitch
from rules.program.forms import Form
from rules.program.loss_reasons import SNAP
from rules.steps.base import Step, StepContext
from rules.steps.number_table import NumberTable

_OCTAVE: Final = 12


def _read_pitches(raw: Any) -> Any:
    if isinstance(raw, frozenset):
        return raw
    if raw == []:
        raise fault('this list is empty: write at least one pitch, as in ["C", "D", "E", "G", "A"]')
    if not isinstance(raw, list):
        raise fault(f'{shown(raw)} is not a list of pitches: write one such as ["C", "D", "E", "G", "A"]')
    found = []
    for name in raw:
        if not isinstance(name, str):
            raise fault(f"{shown(name)} is not a pitch: write a note name without an octave, in quotes")
        try:
            found.append(parse_pitch(name))
        except NotationError as error:
            raise fault(str(error)) from None
    if len(set(found)) < len(found):
        raise fault("a pitch is in this list twice (C# and Db are one): write each once")
    return frozenset(found)


def nearest_key(key: int, pitches: frozenset[int]) -> int:
    """The key of one of some pitches (0-11) that is nearest to a key 0-127; of two as near, the lower one."""
    for distance in range(_OCTAVE):
        for near in (key - distance, key + distance):
            if 0 <= near <= 127 and near % _OCTAVE in pitches:
                return near
    raise AssertionError("every octave has each pitch, and there are more than two")


class SnapStep(Step):
    """`snap = ["C", "D", "E", "G", "A"]` or `snap = { pitches = [...], others = "drop" }`: notes and key pressure.

    A key of no such pitch moves to the nearest that is one, of two as near to the lower one; with `others = "drop"` its
    notes are dropped (ruling 19).
    """

    key: ClassVar[str] = "snap"
    loss: ClassVar[str] = SNAP
    pitches: Annotated[frozenset[int], BeforeValidator(_read_pitches)] = Field(
        description="lists the pitches that may sound, as note names without an octave",
        examples=['{ snap = { pitches = ["C", "Eb", "F", "G", "Bb"] } }'],
    )
    others: Literal["move", "drop"] = Field(
        default="move",
        description='says what happens to other keys: `"move"` to the nearest pitch, or `"drop"`',
        examples=['{ snap = { pitches = ["C", "D", "E"], others = "drop" } }'],
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """The pitches."""
        return raw if isinstance(raw, dict) else {"pitches": raw}

    def key_for(self, key: int) -> int | None:
        """Return where a key 0-127 goes; None if it is dropped."""
        if key % _OCTAVE in self.pitches:
            return key
        return nearest_key(key, self.pitches) if self.others == "move" else None

    def words(self, naming: Naming) -> str:
        """The step in words."""
        names = ", ".join(format_pitch(pitch) for pitch in sorted(self.pitches))
        return f"snap to {names}" + (", others dropped" if self.others == "drop" else "")

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Keys looked up in a table; all else passes."""
        keys = {key: new for key in range(128) if (new := self.key_for(key)) is not None}
        return NumberTable("notes", keys, drops_others=True).fold(form, context)
