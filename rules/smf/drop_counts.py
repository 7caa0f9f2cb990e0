"""Counting: which messages of a file came to nothing, by channel and reason."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from rules.midi.messages import KEY_PRESSURE, NOTE_OFF, NOTE_ON, SYSEX, routed_status
from rules.program.byte_tables import NO_BYTE
from rules.program.guards import ALWAYS, holds
from rules.program.loss_reasons import NO_RULE, OTHER, REASONS, SEVERAL, Drops, in_order
from rules.program.native import i64, vec
from rules.program.pipeline import Pipeline
from rules.program.tables import Cell, Table

_Name = tuple[int, int, int, int]
"""What decides about a message: its source, the index of its cell, its second data byte, the word of the switches."""

UNSURE: Final = -1
"""Instead of the number of a reason: more than status and first data byte decides."""

_UNASKED: Final = -2
"""Instead of the number of a reason: nobody has asked for it yet."""

_NO_CHANNEL: Final = 16
_CHANNELS: Final = 17
"""Counters stand by reason, then by channel 0-15; the last one of each reason is for messages without a channel."""

_NO_COUNTS: Final = [0] * (len(REASONS) * _CHANNELS)

_NO_RULE: Final = REASONS.index(NO_RULE)
_ON: Final = NOTE_ON - NOTE_OFF << 7
"""The bit of a cell's index that tells note-ons from note-offs."""
_PRESSURES: Final = range((KEY_PRESSURE & 0x7F) << 7, (KEY_PRESSURE + 0x10 & 0x7F) << 7)


def loss_of(losses: Table, index: int, second: int, word: int) -> int:
    """The number of the reason why a message comes to nothing, by its cell, its second data byte and the switches."""
    for lane in losses.cells[index].lanes:
        if lane.gate[second] != NO_BYTE and (lane.guard == ALWAYS or holds(lane.guard, word)):
            return lane.target
    return _NO_RULE


@lru_cache(maxsize=8192)
def _reason_of(cell: Cell, lowest: int) -> int:
    """The reason that a cell of a loss table gives for every second data byte from `lowest` up; UNSURE for several."""
    if any(lane.guard != ALWAYS for lane in cell.lanes):
        return UNSURE
    found = {
        next((lane.target for lane in cell.lanes if lane.gate[second] != NO_BYTE), _NO_RULE)
        for second in range(lowest, 128)
    }
    return found.pop() if len(found) == 1 else UNSURE


class SureLosses:
    """Why messages come to nothing where the table of their source alone decides that they do: its cell is empty."""

    def __init__(self, losses: Sequence[Table], source: int, cells: Sequence[Cell]) -> None:
        self._losses = losses
        self._source = source
        self._cells = cells

    def of(self, index: int) -> int:
        """The number of the reason for all messages of an empty cell; UNSURE where more than the cell decides.

        What ends or presses a key goes with its note-on, so it is sure only where the reason is the same.
        """
        losses = self._losses[self._source].cells
        why = _reason_of(losses[index], 1)
        key = index & _ON - 1
        family = (key, key | _ON) if index < 2 * _ON else (key | _ON,) if index in _PRESSURES else ()
        if all(self._cells[other].lanes or _reason_of(losses[other], 1) == why for other in family):
            return why
        return UNSURE


class SharedReasons:
    """The reasons that cells of a source share with those of the same key, whatever comes of them.

    There it doesn't matter which message goes with which. They are found once for all files, when they are first asked.
    """

    __slots__ = ("_losses", "_reasons")

    def __init__(self, losses: Table) -> None:
        self._losses = losses
        self._reasons = [_UNASKED] * 0x4000

    def of(self, index: int) -> int:
        """The number of the reason for a cell; UNSURE where its key has several."""
        why = self._reasons[index]
        if why == _UNASKED:
            why = self._reasons[index] = self._found(index)
        return why

    def _found(self, index: int) -> int:
        losses = self._losses.cells
        key = index & _ON - 1
        family = {index, key, key | _ON} if index < 2 * _ON or index in _PRESSURES else {index}
        found = {_reason_of(losses[other], 0) for other in family}
        return found.pop() if len(found) == 1 else UNSURE


@lru_cache(maxsize=64)
def shared_reasons(losses: Table) -> SharedReasons:
    """The reasons that cells of a source share, by its loss table; made once."""
    return SharedReasons(losses)


class DropCounts:
    """The messages that came to nothing in one file."""

    __slots__ = ("_alike", "_apart", "_losses", "_notes", "_put_off", "_reasons")

    def __init__(self, pipeline: Pipeline) -> None:
        self._losses = pipeline.loss_tables
        self._reasons = [shared_reasons(losses) for losses in pipeline.loss_tables]
        self._alike = vec[i64](_NO_COUNTS)
        self._apart: dict[_Name, int] = {}
        self._notes: dict[tuple[int, int], tuple[_Name, int]] = {}
        self._put_off: list[tuple[int | None, str, int]] = []

    def add(self, channel: int | None, why: int, count: int) -> None:
        """Count messages of a channel 0-15 together, by the number of the reason."""
        self._alike[why * _CHANNELS + (_NO_CHANNEL if channel is None else channel)] += count

    def count(self, track: int, source: int, message: bytes, word: int) -> None:
        """Count one message of a track. A note-off, and pressure, goes with the note-on of its key, if that was dropped
        as well: where a filter stops loud notes, it stops their ends too.
        """
        if message[0] < SYSEX:
            why = self._reasons[source].of((message[0] << 7 | message[1]) & 0x3FFF)
            if why != UNSURE:
                self._alike[why * _CHANNELS + (message[0] & 0x0F)] += 1
                return
        name, is_end = self._name(source, message, word)
        if name[1] < 2 * _ON or name[1] in _PRESSURES:
            name = self._with_its_note(track, name, is_end)
        self._apart[name] = self._apart.get(name, 0) + 1

    @staticmethod
    def _name(source: int, message: bytes, word: int) -> tuple[_Name, bool]:
        """All that decides about a message, and whether it ends a note."""
        status = message[0] if message[0] < SYSEX else routed_status(message)
        first = message[1] if status < SYSEX else 0
        second = message[2] if status < SYSEX and len(message) > 2 else 0
        index = (status << 7 | first) & 0x3FFF
        is_end = index < _ON or (index < 2 * _ON and not second)
        return (source, index & _ON - 1 if is_end else index, second, word), is_end

    def count_put_off(self, source: int, messages: Sequence[tuple[bytes, int]], missing: int) -> None:
        """Count those of some messages, given with the switches, that were put off and came to nothing. Which ones is
        known no more: where they came on several channels, or have several reasons, neither is told.
        """
        names = [self._name(source, message, word)[0] for message, word in messages]
        channels = {_channel(index) for _, index, _, _ in names}
        reasons = {loss_of(self._losses[source], index, second, word) for _, index, second, word in names}
        channel = channels.pop() if len(channels) == 1 else SEVERAL
        why = reasons.pop() if len(reasons) == 1 else REASONS.index(OTHER)
        self._put_off.append((channel, REASONS[why], missing))

    def _with_its_note(self, track: int, name: _Name, is_end: bool) -> _Name:
        """The last note-on of the key that was dropped, while one has no end yet; else what came."""
        index = name[1]
        key = (track, index & _ON - 1)
        note, strikes = self._notes.get(key, (name, 0))
        if _ON <= index < 2 * _ON:
            self._notes[key] = name, strikes + 1
            return name
        if not strikes:
            return name
        if is_end:
            self._notes[key] = note, strikes - 1
        return note

    def drops(self) -> Drops:
        """All of them, in the order of the channels (those without one last), then of `REASONS`."""
        found: Drops = {}
        for place, count in enumerate(self._alike):
            if count:
                channel = place % _CHANNELS
                _add(found, None if channel == _NO_CHANNEL else channel + 1, REASONS[place // _CHANNELS], count)
        for (source, index, second, word), count in self._apart.items():
            _add(found, _channel(index), REASONS[loss_of(self._losses[source], index, second, word)], count)
        for channel_or_none, reason, count in self._put_off:
            _add(found, channel_or_none, reason, count)
        return in_order(found)


def _add(drops: Drops, channel: int | None, reason: str, count: int) -> None:
    drops[channel, reason] = drops.get((channel, reason), 0) + count


def _channel(index: int) -> int | None:
    """The channel 1-16 of a cell; None for system messages."""
    row = index >> 7
    return (row & 0x0F) + 1 if row < SYSEX & 0x7F else None
