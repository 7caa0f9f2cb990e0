"""The answers of tables that decide alone, laid out for the loops of the patch and the stream route.

For each status and first data byte: what becomes of the message, and what it turns into. The loops come in two forms,
and each has the layout that it is quick with: interpreted code wants few steps, so it gets rows of tuples; compiled
code wants no objects and few look-ups, so it gets one machine number for each answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Final

from rules.midi.controllers import EVERY_NOTE_ENDS
from rules.midi.messages import CONTROLLER, END_OF_SYSEX, LENGTH, SYSEX, routed_status
from rules.program.byte_tables import IDENTITY, NO_BYTE
from rules.program.native import i64, vec
from rules.program.tables import Cell
from rules.smf.drop_counts import UNSURE, SureLosses
from rules.smf.track_events import META

KEPT: Final = 0
SECOND_DECIDES: Final = 1
CHANGED: Final = 2
DROPPED: Final = 4
UNDECIDED: Final = 8
ENDS_NOTES: Final = 16
"""The outcome of a message: it stays as it is, changes if its second data byte does, changes for certain, is dropped,
or is for another route to answer. ENDS_NOTES comes on top: a mode message that ends all notes of its channel.

The loops compare outcomes by size: above CHANGED are those that aren't written at once, and the mode messages."""
OUTCOME_BITS: Final = 31
"""The bits of all these."""

HAS_SECOND: Final = 32
IS_NOTE: Final = 64
"""For compiled code these come on top as well: the message has a second data byte; it begins or ends a note."""

STATUS_AT: Final = 8
OUTCOME_AT: Final = 16
COUNTER_AT: Final = 24
SECONDS_AT: Final = 40
"""Where in the number of an answer its parts begin: from bit 0 the first data byte, from these the status, the outcome,
the counter, and the place in `Answers.seconds` where the 128 second data bytes begin."""
COUNTER_BITS: Final = 0xFFFF
"""The bits of a counter: there are at most two for each of the 14,336 answers, and one for each reason to drop."""

NOTES: Final = 0x1000
"""The cells of note-offs and note-ons come before this one."""
ON_BIT: Final = 11
ON: Final = 1 << ON_BIT
"""The bit of a cell's index that tells note-ons from note-offs."""
PLACES: Final = 0x801
"""Counters of open notes: one for each channel and key, from 1. Counted from the end, the same ones are those of the
note-offs, so that a sign tells them apart: place p and place p - PLACES are one."""

DATA: Final = IDENTITY[:128]

Answer = tuple[int, int, int, int, bytes, int]
"""The outcome of a cell's messages; the counter of that; their status and first data byte when they come out, and the
second by that which came (empty: they have none); their place among the open notes (0: no note)."""

UNANSWERED: Final[Answer] = (UNDECIDED, 0, 0, 0, DATA, 0)
NO_ROW: Final[list[Answer]] = []


class Answers:
    """The answers of one source.

    `rows` has a row of 128 answers for each channel status; `packed` has the same answers as numbers, by cell.
    `system_outcomes` are the outcomes of the system statuses from F0. `sysex_counters` are the counters of F0 and of F7
    events by the status that they are routed by; a status that has none is for another route. `counters` say what each
    counter counts: the group of its rules, the outcome, and the number of the reason if messages are dropped.
    `lengths_stay`: no message is dropped, and a status byte that running status leaves out can stay out.
    """

    def __init__(self, cells: Sequence[Cell], groups: Sequence[int], losses: SureLosses) -> None:
        self.counters: list[tuple[int, int, int]] = []
        self._losses = losses
        self._numbers: dict[tuple[int, int, int], int] = {}
        rows = [self._row(status, cells, groups) for status in range(0x80, SYSEX)]
        self.rows: Final = [NO_ROW] * 128 + rows + [NO_ROW] * 16
        system_cells = (cells[(status & 0x7F) << 7] for status in range(SYSEX, 0x100))
        self.system_outcomes: Final = [_system_outcome(cell) for cell in system_cells]
        self.sysex_counters: Final = [
            self._sysex_counters(groups[(begin & 0x7F) << 7]) for begin in (SYSEX, END_OF_SYSEX)
        ]
        self.lengths_stay: Final = all(map(_stays_in_place, rows))
        answers = [answer for row in rows for answer in row]
        tails: dict[bytes, int] = {}
        starts = [tails.setdefault(answer[4] or DATA, len(tails)) for answer in answers]
        self.seconds: Final = b"".join(tails)
        self.packed: Final = vec[i64]([_packed(*pair) for pair in zip(answers, starts, strict=True)])

    def _number(self, group: int, outcome: int, why: int = UNSURE) -> int:
        """The counter for a group, an outcome, and the reason for it if messages are dropped."""
        name = (group, outcome, why)
        number = self._numbers.setdefault(name, len(self.counters))
        if number == len(self.counters):
            self.counters.append(name)
        return number

    def _sysex_counters(self, group: int) -> dict[int, int]:
        """The counters of sysex events of a group, by the status that they are routed by."""
        found = {}
        for status, outcome in enumerate(self.system_outcomes, SYSEX):
            why = self._losses.of((status & 0x7F) << 7) if outcome == DROPPED else UNSURE
            if group and (outcome == KEPT or why != UNSURE):
                found[status] = self._number(group, outcome, why)
        return found

    def _row(self, status: int, cells: Sequence[Cell], groups: Sequence[int]) -> list[Answer]:
        """The answers of a status. Neighbours often have one cell."""
        start = (status & 0x7F) << 7
        row: list[Answer] = []
        for (cell, group), same in groupby(range(start, start + 128), lambda index: (cells[index], groups[index])):
            row += self._answers(status, cell, group, list(same))
        return row

    def _answers(self, status: int, cell: Cell, group: int, indexes: Sequence[int]) -> list[Answer]:
        """The answers of a cell; left to others are several lanes, and what rules have to count one by one."""
        short = LENGTH[status] == 2
        if not group or len(cell.lanes) > 1:
            return [UNANSWERED] * len(indexes)
        if not cell.lanes:
            return [self._dropped(group, index, short) for index in indexes]
        lane = cell.lanes[0]
        if not lane.plain or NO_BYTE in lane.gate[:128] or lane.short != short:
            return [UNANSWERED] * len(indexes)
        seconds = b"" if short else lane.two[:128]
        if_same = CHANGED if lane.status != status else KEPT if seconds in (b"", DATA) else SECOND_DECIDES
        numbers = {outcome: self._number(group, outcome) for outcome in {if_same, CHANGED}}
        answers: list[Answer] = []
        for index in indexes:
            first = lane.one[index & 0x7F]
            outcome = if_same if first == index & 0x7F else CHANGED
            number = numbers[outcome]
            if status & 0xF0 == CONTROLLER and index & 0x7F in EVERY_NOTE_ENDS:
                outcome |= ENDS_NOTES
            place = 0 if index >= NOTES else index - ON + 1 if index & ON else index + 1 - PLACES
            answers.append((outcome, number, lane.status, first, seconds, place))
        return answers

    def _dropped(self, group: int, index: int, short: bool) -> Answer:
        """The answer to messages that are dropped; left to others is what has several reasons."""
        why = self._losses.of(index)
        if why == UNSURE:
            return UNANSWERED
        return DROPPED, self._number(group, DROPPED, why), 0, 0, b"" if short else DATA, 0


class EventCounts:
    """What the loops count in one file, for one source: hits by counter, and by place the notes that are open.

    `changed` counts the messages that changed because their second data byte did, `unended` the notes that never end;
    `saw_all_notes_off` says that a mode message came that ends all notes. `notes` come and go with all counters at 0,
    so that they can serve the next track.
    """

    def __init__(self, answers: Answers, notes: vec[i64]) -> None:
        self.hits: Final = vec[i64]([0] * len(answers.counters))
        self.notes: Final = notes
        self.changed: i64 = 0
        self.unended: i64 = 0
        self.saw_all_notes_off = False
        self._answers: Final = answers

    def count_sysex(self, data: bytes, at: i64, end: i64) -> int:
        """Count the sysex event in `data[at:end]`, and say what becomes of it: KEPT, DROPPED or UNDECIDED."""
        status = long_event_status(data, at, end)
        counter = self._answers.sysex_counters[data[at] != SYSEX].get(status)
        if counter is None:
            return UNDECIDED
        self.hits[counter] += 1
        return self._answers.system_outcomes[status - SYSEX]

    def end_notes(self, channel: i64) -> i64:
        """Count the open notes of a channel 0-15, which a mode message ends, and close them."""
        self.saw_all_notes_off = True
        return self._end_channel(channel)

    def _end_channel(self, channel: i64) -> i64:
        ended: i64 = 0
        place = (channel << 7) + 1
        last = place + 128
        while place < last:
            ended += self.notes[place]
            self.notes[place] = 0
            place += 1
        return ended

    def end_track(self, sounding: i64, changed: i64) -> None:
        """Add what a loop counted in a track. Notes that are open there never end: the next has its own."""
        self.changed += changed
        self.unended += sounding
        if sounding:
            for channel in range(16):
                self._end_channel(channel)


def no_open_notes() -> vec[i64]:
    """Counters of open notes, all at 0."""
    return vec[i64]([0] * PLACES)


def differs(one: i64, other: i64) -> i64:
    """1 if two data bytes differ, else 0."""
    return ((one ^ other) + 0x7F) >> 7


def open_note_change(index: i64, velocity: i64, held: i64) -> i64:
    """Return what a note message adds to the `held` open notes of its channel and key: a note-off ends all of them."""
    on = (index >> ON_BIT) & ((velocity + 0x7F) >> 7)
    return on - ((on - 1) & held)


def delta_end(data: bytes, at: i64) -> i64:
    """Return where the last byte of the delta time at `at` is. Raises IndexError if it has more than four."""
    last = at + 3
    while data[at] > 0x7F:
        if at == last:
            raise IndexError
        at += 1
    return at


def long_event_end(data: bytes, at: i64) -> i64:
    """Return where the sysex or meta event at `at` ends. Raises IndexError for anything else and for damage."""
    first = data[at]
    at += 1
    if first == META:
        if data[at] > 0x7F:
            raise IndexError
        at += 1
    elif first != SYSEX and first != END_OF_SYSEX:
        raise IndexError
    length: i64 = 0
    last = at + 3
    while data[at] > 0x7F:
        if at == last:
            raise IndexError
        length = length << 7 | data[at] & 0x7F
        at += 1
    return at + 1 + (length << 7 | data[at])


def long_event_status(data: bytes, at: i64, end: i64) -> int:
    """By what the sysex event at `at` is routed."""
    if data[at] == SYSEX:
        return SYSEX
    at += 1
    while data[at] > 0x7F:
        at += 1
    return routed_status(b"\xf7" + data[at + 1 : min(end, at + 2)])


def _packed(answer: Answer, start: int) -> int:
    """An answer as one number of 63 bits at most. `start` counts rows of 128 second data bytes."""
    outcome, counter, status, first, seconds, place = answer
    outcome |= (HAS_SECOND if seconds else 0) | (IS_NOTE if place else 0)
    return first | status << STATUS_AT | outcome << OUTCOME_AT | counter << COUNTER_AT | start << SECONDS_AT + 7


def _system_outcome(cell: Cell) -> int:
    """Return what becomes of a system message. To how many lanes of one port it goes makes no difference (ruling 7)."""
    targets = {lane.target for lane in cell.lanes}
    return UNDECIDED if len(targets) > 1 else KEPT if targets else DROPPED


def _stays_in_place(row: Sequence[Answer]) -> bool:
    statuses = {status for _, _, status, _, _, _ in row}
    return len(statuses) == 1 and all(outcome & ~ENDS_NOTES <= CHANGED for outcome, _, _, _, _, _ in row)
