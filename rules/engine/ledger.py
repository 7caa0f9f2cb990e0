"""What each holder has sounding, and what it holds away from rest.

The ledger answers every note-off from what was sent, not from the rules, so that transposing, switching, splitting
by velocity or reloading in mid-note can't strand it (ruling 9).
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.engine.evaluation import Emission
from rules.midi.messages import NOTE_OFF, NOTE_ON, OFF_VELOCITY
from rules.midi.neutral import Place
from rules.program.holders import Copy, note_place
from rules.program.lag import NO_LAG, Lag
from rules.program.sending import Mark
from rules.program.tables import Cell, Table
from rules.program.thinning import Way


@dataclass(slots=True, eq=False)
class Sounding(Mark):
    """One note-on that was sent: its port, channel 0-15 and key, how late it went, and when it was due."""

    target: int
    channel: int
    key: int
    lag: Lag = NO_LAG
    due: int = 0
    release: bytes | None = None
    copy: Copy = ()
    literal: bool = False

    @property
    def place(self) -> Place:
        """Where it sounds."""
        return self.target, NOTE_ON | self.channel, self.key

    @property
    def note_place(self) -> int:
        """The same by number, as the merge names it."""
        return note_place(self.target, self.channel, self.key)

    def off(self, message: bytes | None = None) -> bytes:
        """Its note-off, in the form and with the release velocity of the one that came; one of our own without it."""
        if message is None:
            return bytes((NOTE_OFF | self.channel, self.key, OFF_VELOCITY))
        if message[0] >= NOTE_ON:
            return bytes((NOTE_ON | self.channel, self.key, 0))
        velocity = message[2]
        if self.release is not None and velocity:
            velocity = self.release[velocity]
        return bytes((NOTE_OFF | self.channel, self.key, velocity))


@dataclass(slots=True, eq=False)
class Press:
    """What one note-on (or another trigger) set sounding, and the rules and switches of that moment."""

    soundings: list[Sounding]
    table: Table
    word: int


@dataclass(slots=True, eq=False)
class Rest(Mark):
    """A value away from rest: the way it took, how late it went, and what it met before its output."""

    table: Table
    word: int
    lag: Lag = NO_LAG
    way: Way = ()


def cell_soundings(cell: Cell, in_key: int) -> list[Sounding]:
    """What a note pressed the short way has sounding."""
    return [Sounding(lane.target, lane.status & 0x0F, lane.one[in_key & 0x7F], is_out=True) for lane in cell.lanes]


def cell_places(cell: Cell, in_key: int) -> list[Place]:
    """Where a value that went the short way is held."""
    return [(lane.target, lane.status, lane.one[in_key & 0x7F] if lane.status < 0xC0 else 0) for lane in cell.lanes]


def sounding_of(emission: Emission, due: int) -> Sounding:
    """The entry for a note-on that goes out."""
    status, key, _ = emission.message
    return Sounding(
        emission.target, status & 0x0F, key, emission.lag, due, emission.release, emission.copy, emission.literal
    )
