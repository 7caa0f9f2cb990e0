"""What each holder has sounding, and what it holds away from rest.

A ledger stands before the outputs of each player, and behind each node that waits. It answers every note-off from what
was sent, not from the rules, so that transposing, switching, splitting by velocity or reloading in mid-note can't
strand it (ruling 9).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence, Set
from dataclasses import dataclass
from typing import Final

from rules.midi.messages import PROGRAM
from rules.midi.neutral import OutputPlace
from rules.program.event import Copy, Event, Family
from rules.program.tables import NOWHERE, SHARED, Cell, Table

LedgerKey = int | tuple[int, int, Copy, int]
"""What holds something down: in a player's own ledger an in-key; behind a node the player, its in-key, the echo copy,
and the in-key that the node's message would have by itself."""


@dataclass(slots=True, eq=False)
class Press:
    """The note-ons that one note-on (or another trigger) set sounding, and the rules and switches of that moment.

    `places` are those where it sounds and the presses of the key before it, None where that isn't known.
    """

    soundings: list[Event]
    table: Table
    word: int
    places: Set[OutputPlace] | None = None


@dataclass(slots=True, eq=False)
class Rest:
    """A value away from rest, and the rules and switches of the moment when it was sent."""

    event: Event
    table: Table
    word: int


Rests = dict[OutputPlace, Rest]
"""The values that a key holds away from rest, by place."""


class StruckAgain(Cell):
    """Stands in a ledger for several note-ons of one key that went through one cell."""

    __slots__ = ("cell", "times")

    def __init__(self, cell: Cell, times: int) -> None:
        super().__init__(cell.lanes, cell.path, merged=cell.merged, ons=cell.ons, word=cell.word)
        self.cell: Final = cell
        self.times: Final = times


def struck_again(held: list[Press] | Cell, cell: Cell) -> StruckAgain | None:
    """Return what stands for one more note-on through `cell`; None if what is held went another way."""
    if held is cell:
        return StruckAgain(cell, 2)
    if isinstance(held, StruckAgain) and held.cell is cell:
        return StruckAgain(cell, held.times + 1)
    return None


def times_struck(held: list[Press] | Cell | None, cell: Cell) -> int:
    """Return for how many note-ons through `cell` stands what is held; 0 if it went another way."""
    if held is cell:
        return 1
    return held.times if isinstance(held, StruckAgain) and held.cell is cell else 0


def by_note_off(soundings: Sequence[Event]) -> list[list[Event]]:
    """Return what one key has sounding in groups: each sounds at one place, as one echo copy, and gets one note-off."""
    if len(soundings) == 1:
        return [list(soundings)]
    groups: dict[tuple[OutputPlace, Copy], list[Event]] = {}
    for sounding in soundings:
        groups.setdefault((sounding.place, sounding.copy), []).append(sounding)
    return list(groups.values())


class Ledger:
    """What is pressed, and what is held away from rest, by key.

    Either is in one of two forms. The fast one is the cell that the message went through: it says where the message
    went, so that the fast path makes no object for it; for a key that is struck again it is a `StruckAgain`. The full
    one is a list of presses, or a dictionary of places. `promote` makes the second of the first; nobody else knows
    both. `bends` keeps, for what is held in the fast form, how far: new rules may bring others to the channel.
    `player`, `hand` and `table` say whose cells they are, and where they are looked up; behind nodes there are none.
    """

    __slots__ = ("bends", "hand", "player", "presses", "rests", "table")

    def __init__(self, player: int = -1, hand: int = -1) -> None:
        self.player = player
        self.hand = hand
        self.presses: dict[LedgerKey, list[Press] | Cell] = {}
        self.rests: dict[LedgerKey, Rests | Cell] = {}
        self.bends: dict[int, bytes] = {}
        self.table = NOWHERE

    @property
    def is_empty(self) -> bool:
        """Whether nothing is held."""
        return not self.presses and not self.rests

    def pressed(self, key: LedgerKey) -> list[Press]:
        """Return what a key has pressed, as full entries; they may be changed."""
        held = self.presses.get(key)
        if held is None:
            return []
        if isinstance(held, Cell):
            promote(self, key)
            return self.pressed(key)
        return held

    def resting(self, key: LedgerKey) -> Rests:
        """Return what a key holds away from rest, as full entries; they may be changed."""
        held = self.rests.get(key)
        if held is None:
            return {}
        if isinstance(held, Cell):
            promote(self, key)
            return self.resting(key)
        return held

    def promote_all(self) -> None:
        """Make every entry a full one, before the tables change."""
        for key in {*self.presses, *self.rests}:
            promote(self, key)

    def unmerged(self) -> tuple[list[tuple[int, int]], list[tuple[int, tuple[int, int], bytes]]]:
        """Return what the merge has not seen: (in-key, place) of notes, (in-key, channel, bytes) of bends."""
        notes = [
            (key, lane.places[key & 0x7F])
            for key, held in self.presses.items()
            if isinstance(key, int) and isinstance(held, Cell) and held.path != SHARED
            for lane in held.lanes
            for _ in range(held.times if isinstance(held, StruckAgain) else 1)
        ]
        bends = [
            (in_key, (lane.target, lane.status & 0x0F), lane.heads[message[1]] + lane.tails[message[2]])
            for in_key, message in self.bends.items()
            if isinstance(held := self.rests.get(in_key), Cell) and not held.merged
            for lane in held.lanes
        ]
        return notes, bends

    def add_press(self, key: LedgerKey, press: Press) -> None:
        """Add a new press behind those of its key."""
        pressed = self.pressed(key)
        if pressed:
            pressed.append(press)
        else:
            self.presses[key] = [press]

    def has_press(self, key: LedgerKey, press: Press) -> bool:
        """Return whether a press is among those of its key; it is the last one as a rule."""
        pressed = self.pressed(key)
        return bool(pressed) and (pressed[-1] is press or press in pressed)

    def sounds_only_at(self, key: LedgerKey, places: Set[OutputPlace]) -> bool:
        """Return whether a key is known to sound nowhere else, without a look at each of its soundings."""
        pressed = self.pressed(key)
        if not pressed:
            return True
        known = pressed[-1].places
        return known is not None and known <= places

    def remove_soundings(self, key: LedgerKey, goes: Callable[[Event], bool]) -> list[Event]:
        """Remove soundings, and presses that this empties; return what was removed, in the order pressed."""
        removed: list[Event] = []
        left: list[Press] = []
        for press in self.pressed(key):
            going = [sounding for sounding in press.soundings if goes(sounding)]
            removed += going
            press.soundings = [sounding for sounding in press.soundings if sounding not in going]
            if press.soundings or not going:
                left.append(press)
        if left:
            self.presses[key] = left
        else:
            self.presses.pop(key, None)
        return removed

    def forget_sounding(self, key: LedgerKey, sounding: Event) -> bool:
        """Take a sounding that never began out of its press, which stays; return whether the key has it."""
        for press in self.pressed(key):
            if sounding in press.soundings:  # among the first as a rule, since the oldest is dropped
                press.soundings.remove(sounding)
                return True
        return False

    def come_to_rest(self, key: LedgerKey, comes: Callable[[OutputPlace, Rest], bool]) -> list[Rest]:
        """Remove the values that are at rest now; return them in the order in which they left it."""
        held = self.resting(key)
        going = [place for place, rest in held.items() if comes(place, rest)]
        gone = [held.pop(place) for place in going]
        if not held:
            self.rests.pop(key, None)
        return gone


def promote(ledger: Ledger, key: LedgerKey) -> None:
    """Make full entries of the cells that stand for what a key pressed and holds by the fast path.

    Nothing is lost by it: the fast path is only for cells of which every lane is plain, without delay, and leads to a
    place of its own, and its messages went out when they came.
    """
    if not isinstance(key, int):
        return
    first = key & 0x7F
    pressed = ledger.presses.get(key)
    if isinstance(pressed, Cell):
        sent = [(lane.target, bytes((lane.status, lane.one[first], 1))) for lane in pressed.lanes]
        ledger.presses[key] = [
            Press([_sent(ledger, key, target, message) for target, message in sent], ledger.table, pressed.word)
            for _ in range(pressed.times if isinstance(pressed, StruckAgain) else 1)
        ]
    held = ledger.rests.get(key)
    if isinstance(held, Cell):
        rests: Rests = {}
        for lane in held.lanes:
            number = lane.one[first] if lane.status < PROGRAM else 0
            event = _sent(ledger, key, lane.target, bytes((lane.status, number, 0)))
            rests[lane.target, lane.status, number] = Rest(event, ledger.table, held.word)
        ledger.rests[key] = rests


def _sent(ledger: Ledger, in_key: int, target: int, message: bytes) -> Event:
    """Return an event for what took the fast path, as far as it is needed: the values aren't known any more."""
    event = Event(ledger.player, ledger.hand, in_key, message, 0, Family(0), target)
    event.is_out = True
    return event
