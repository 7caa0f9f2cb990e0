"""What is damaged in a file that can be read all the same."""

from __future__ import annotations

from dataclasses import dataclass

from rules.errors import MidiFileError


@dataclass(frozen=True, slots=True)
class Damage:
    """One thing that is wrong in a readable file: `offset` is the byte in the file, counted from 0."""

    offset: int
    text: str

    def __str__(self) -> str:
        return f"byte {self.offset}: {self.text}"


def counted(number: int, noun: str) -> str:
    """Return "1 byte", "2 bytes" and so on."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


class DamageLog:
    """Collects damage; a strict log refuses the file at the first one by raising MidiFileError."""

    __slots__ = ("found", "strict")

    def __init__(self, strict: bool) -> None:
        self.strict = strict
        self.found: list[Damage] = []

    def note(self, offset: int, text: str) -> None:
        """Record damage at byte `offset` of the file; raises MidiFileError if the log is strict."""
        if self.strict:
            raise MidiFileError(offset, text)
        self.found.append(Damage(offset, text))
