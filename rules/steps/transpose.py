"""`transpose`: moves keys by semitones or by a number switch; a note-off follows its note-on."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator

from rules.language.values import MOST_SEMITONES, ChannelsOrNone, fault, shown
from rules.steps.base import Step


def fold_key(key: int) -> int:
    """The nearest octave of a key that lies inside 0-127 (ruling 19)."""
    if key < 0:
        return key % 12
    if key > 127:
        return key - 12 * -((127 - key) // 12)
    return key


def _read_by(raw: Any) -> Any:
    is_number = isinstance(raw, int) and not isinstance(raw, bool)
    if (is_number and abs(raw) <= MOST_SEMITONES) or (isinstance(raw, str) and raw.strip("+-0123456789 ")):
        return raw
    raise fault(
        f"{shown(raw)} is not a number of semitones: write a whole number from -{MOST_SEMITONES} to {MOST_SEMITONES}, "
        "or the name of a number switch in quotes"
    )


class TransposeStep(Step):
    """`transpose = 12`, `transpose = "key"` (a number switch), `{ by = ..., outside = "fold", except_channels = 10 }`.

    Moves the key of notes and poly pressure and the value of controller 84, which is a key (ruling 19).
    `outside`: what happens to keys that leave 0-127: `drop`, or `fold` to the nearest octave inside.
    """

    key: ClassVar[str] = "transpose"
    by: Annotated[int | str, BeforeValidator(_read_by)]
    outside: Literal["drop", "fold"] = "drop"
    except_channels: ChannelsOrNone = frozenset()

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """A number of semitones, or the name of a switch."""
        return raw if isinstance(raw, dict) else {"by": raw}

    def moved(self, key: int, by: int) -> int | None:
        """Where `key` goes, or None when it leaves 0-127 and is dropped."""
        moved = key + by
        if 0 <= moved <= 127:
            return moved
        return fold_key(moved) if self.outside == "fold" else None
