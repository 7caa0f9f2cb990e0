"""The patch route: where every status has one lane that takes all its messages, they change in their places.

The file is copied whole, and the bytes that differ are overwritten: delta times, lengths and running status stay.
What isn't everyday - damage, sysex that the rules drop - is refused, and another route takes the file.

There are two loops that do the same. Interpreted code is quick when it takes few steps an event, so one unpacks an
answer from a row; compiled code is quick when it touches no object, so the other unpacks it from a machine number. Each
is several times slower where the other is at home.
"""

from __future__ import annotations

from rules.midi.messages import SYSEX
from rules.program.native import BytesWriter, i64, u8
from rules.smf.answers import (
    COUNTER_AT,
    COUNTER_BITS,
    ENDS_NOTES,
    HAS_SECOND,
    IS_NOTE,
    KEPT,
    ON,
    OUTCOME_AT,
    SECOND_DECIDES,
    SECONDS_AT,
    STATUS_AT,
    Answers,
    EventCounts,
    delta_end,
    differs,
    long_event_end,
    open_note_change,
)
from rules.smf.track_events import END_OF_TRACK, META


def patch_by_rows(data: bytes, at: int, end: int, out: BytesWriter, answers: Answers, counts: EventCounts) -> bool:
    """Overwrite the track in `data[at:end]` in its copy `out`; False, or IndexError, where it is for another route."""
    rows, hits, notes = answers.rows, counts.hits, counts.notes
    # No status is in force, at first and behind sysex and meta events: a look-up in the empty row raises IndexError.
    row = nothing = rows[0]
    status = changed = sounding = 0
    while at < end:
        # Delta times stay, so only their end is needed. Nearly all have one or two bytes: those are skipped by hand.
        if data[at] > 0x7F:
            at += 1
            if data[at] > 0x7F:
                at = delta_end(data, at - 1)
        first = data[at + 1]
        if first < 0x80:
            at += 1
        elif first < SYSEX:
            status = first
            row = rows[first]
            at += 2
            first = data[at]
        else:
            row = nothing
            stop = long_event_end(data, at + 1)
            if first != META:
                if counts.count_sysex(data, at + 1, stop) != KEPT:
                    return False
            elif data[at + 2] == END_OF_TRACK:
                counts.end_track(sounding, changed)
                return stop == end
            at = stop
            continue
        # The look-ups check both data bytes: rows have 128 answers, `seconds` 128 bytes, beyond is an IndexError.
        outcome, counter, new_status, new_first, seconds, place = row[first]
        hits[counter] += 1
        # Up to SECOND_DECIDES the copy has status and first data byte already. A status byte that running status leaves
        # out can stay out, since all messages of a status get one new status (`Answers.lengths_stay`).
        if outcome > SECOND_DECIDES:
            if data[at - 1] > 0x7F:
                out[at - 1] = new_status
            if new_first != first:
                out[at] = new_first
            if outcome & ENDS_NOTES:
                sounding -= counts.end_notes(status & 0x0F)
        at += 1
        if seconds:
            second = data[at]
            new_second = seconds[second]
            if new_second != second:
                out[at] = new_second
                if outcome & SECOND_DECIDES:
                    changed += 1
            if place:
                if second and place > 0:
                    notes[place] += 1
                    sounding += 1
                elif notes[place]:
                    sounding -= notes[place]
                    notes[place] = 0
            at += 1
    return False


def patch_by_numbers(data: bytes, at: i64, end: i64, out: BytesWriter, answers: Answers, counts: EventCounts) -> bool:
    """Do the same as `patch_by_rows`, in machine numbers.

    What can be computed is not branched on: where the processor guesses a branch wrong, that costs more than both ways.
    """
    packed, seconds, hits, notes = answers.packed, answers.seconds, counts.hits, counts.notes
    row: i64 = -1
    changed: i64 = 0
    sounding: i64 = 0
    while at < end:
        if data[at] > 0x7F:
            at = delta_end(data, at)
        at += 1
        first: i64 = data[at]
        if first > 0x7F:
            if first >= SYSEX:
                # Running status over sysex or a meta event is damage: below, a row of -1 leaves it to another route.
                row = -1
                stop = long_event_end(data, at)
                if first != META:
                    if counts.count_sysex(data, at, stop) != KEPT:
                        return False
                elif data[at + 1] == END_OF_TRACK:
                    counts.end_track(sounding, changed)
                    return stop == end
                at = stop
                continue
            row = (first & 0x7F) << 7
            # The first answer of the row has the new status of all its answers (`Answers.lengths_stay`).
            out[at] = u8(packed[row] >> STATUS_AT & 0xFF)
            at += 1
            first = data[at]
        index = row + first
        if row < 0 or first > 0x7F:
            return False
        answer = packed[index]
        hits[answer >> COUNTER_AT & COUNTER_BITS] += 1
        # Written even if it is the same: a store costs less than a comparison that may be guessed wrong.
        out[at] = u8(answer & 0xFF)
        at += 1
        if answer & HAS_SECOND << OUTCOME_AT:
            second: i64 = data[at]
            if second > 0x7F:
                return False
            new_second: i64 = seconds[(answer >> SECONDS_AT) + second]
            out[at] = u8(new_second)
            at += 1
            # The lowest bit of the outcome is SECOND_DECIDES, so this adds 1 or 0.
            changed += answer >> OUTCOME_AT & SECOND_DECIDES & differs(new_second, second)
            if answer & IS_NOTE << OUTCOME_AT:
                place = (index & (ON - 1)) + 1
                step = open_note_change(index, second, notes[place])
                notes[place] += step
                sounding += step
            elif answer & ENDS_NOTES << OUTCOME_AT:
                sounding -= counts.end_notes(row >> 7 & 0x0F)
    return False
