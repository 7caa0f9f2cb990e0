"""What each holder has sounding, and what it holds away from rest.

The ledger answers every note-off from what was sent, not from the rules, so that transposing, switching, splitting
by velocity or reloading in mid-note can't strand it (ruling 9).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rules.engine.evaluation import Emission
from rules.midi.messages import NOTE_OFF, NOTE_ON, OFF_VELOCITY, PROGRAM
from rules.midi.neutral import Place
from rules.program.holders import Copy, note_place
from rules.program.lag import NO_LAG, Lag
from rules.program.sending import Mark
from rules.program.tables import NOWHERE, SHARED, Cell, Table
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


Held = dict[Place, Rest]
"""The values that an in-key holds away from rest, by place."""


class Ledger:
    """What is pressed, and what is held away from rest, by in-key.

    Either is in one of two forms. The fast one is the cell that the message went through: it says where the message
    went, so that nothing needs to be made at a message that goes the short way. The full one is a list of presses, or a
    dictionary of places. `promote` makes the second of the first; nobody else knows both. `bends` keeps, for what is
    held in the fast form, how far: new rules may bring others to the channel. `table` is where cells are looked up.
    """

    __slots__ = ("bends", "presses", "rests", "table")

    def __init__(self) -> None:
        self.presses: dict[int, list[Press] | Cell] = {}
        self.rests: dict[int, Held | Cell] = {}
        self.bends: dict[int, bytes] = {}
        self.table = NOWHERE

    def pressed(self, in_key: int) -> list[Press]:
        """What an in-key has pressed, as full entries; they may be changed."""
        held = self.presses.get(in_key)
        if held is None:
            return []
        return promote(self, in_key)[0] if isinstance(held, Cell) else held

    def resting(self, in_key: int) -> Held:
        """What an in-key holds away from rest, as full entries; they may be changed."""
        held = self.rests.get(in_key)
        if held is None:
            return {}
        return promote(self, in_key)[1] if isinstance(held, Cell) else held

    def promote_all(self) -> None:
        """Makes every entry a full one, before the tables change."""
        for in_key in {*self.presses, *self.rests}:
            promote(self, in_key)

    def untold(self) -> tuple[list[tuple[int, int]], list[tuple[int, tuple[int, int], bytes]]]:
        """What went the short way past the merge: notes as in-key and place, bends as in-key, channel and message."""
        notes = [
            (in_key, lane.places[in_key & 0x7F])
            for in_key, held in self.presses.items()
            if isinstance(held, Cell) and held.way != SHARED
            for lane in held.lanes
        ]
        bends = [
            (in_key, (lane.target, lane.status & 0x0F), lane.heads[message[1]] + lane.tails[message[2]])
            for in_key, message in self.bends.items()
            if isinstance(held := self.rests.get(in_key), Cell) and not held.merged
            for lane in held.lanes
        ]
        return notes, bends

    def strike(self, in_key: int, goes: Callable[[Sounding], bool]) -> list[Sounding]:
        """Takes soundings out, and presses that this empties; what was taken, in the order pressed."""
        struck: list[Sounding] = []
        left: list[Press] = []
        for press in self.pressed(in_key):
            going = [sounding for sounding in press.soundings if goes(sounding)]
            struck += going
            press.soundings = [sounding for sounding in press.soundings if sounding not in going]
            if press.soundings or not going:
                left.append(press)
        if left:
            self.presses[in_key] = left
        else:
            self.presses.pop(in_key, None)
        return struck


def promote(ledger: Ledger, in_key: int) -> tuple[list[Press], Held]:
    """The full entries of an in-key, made of the cells that stand for them where they went the short way.

    Nothing is lost by it: a cell has the short way only where every lane is plain, without delay, and leads to a place
    of its own, and its messages went out when they came.
    """
    presses = ledger.presses.get(in_key, [])
    if isinstance(presses, Cell):
        key = in_key & 0x7F
        soundings = [Sounding(lane.target, lane.status & 0x0F, lane.one[key], is_out=True) for lane in presses.lanes]
        presses = ledger.presses[in_key] = [Press(soundings, ledger.table, 0)]
    rests = ledger.rests.get(in_key, {})
    if isinstance(rests, Cell):
        rests = ledger.rests[in_key] = {
            (lane.target, lane.status, lane.one[in_key & 0x7F] if lane.status < PROGRAM else 0): Rest(
                ledger.table, 0, is_out=True
            )
            for lane in rests.lanes
        }
    return presses, rests


def sounding_of(emission: Emission, due: int) -> Sounding:
    """The entry for a note-on that goes out."""
    status, key, _ = emission.message
    return Sounding(
        emission.target, status & 0x0F, key, emission.lag, due, emission.release, emission.copy, emission.literal
    )
