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
from rules.smf.straight import (
    COUNTER,
    COUNTERS,
    END_OF_TRACK,
    ENDS,
    HAS_SECOND,
    IS_NOTE,
    KEPT,
    META,
    ON,
    PERHAPS,
    SECONDS,
    STATUS,
    WAY,
    Counts,
    Straight,
    delta_end,
    differs,
    long_event_end,
    note_step,
)


def patch_by_rows(data: bytes, at: int, end: int, out: BytesWriter, straight: Straight, counts: Counts) -> bool:
    """Overwrite the track in `data[at:end]` in its copy `out`; False, or IndexError, where it is for another route."""
    rows, hits, notes = straight.rows, counts.hits, counts.notes
    row = nothing = rows[0]
    status = changed = sounding = 0
    while at < end:
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
            row = nothing  # no running status behind it
            stop = long_event_end(data, at + 1)
            if first != META:
                if counts.long_way(data, at + 1, stop) != KEPT:
                    return False
            elif data[at + 2] == END_OF_TRACK:
                counts.end_track(sounding, changed)
                return stop == end
            at = stop
            continue
        way, counter, new_status, new_first, seconds, place = row[first]
        hits[counter] += 1
        if way > PERHAPS:
            if data[at - 1] > 0x7F:
                out[at - 1] = new_status
            if new_first != first:
                out[at] = new_first
            if way & ENDS:
                sounding -= counts.silence(status & 0x0F)
        at += 1
        if seconds:
            second = data[at]
            new_second = seconds[second]
            if new_second != second:
                out[at] = new_second
                if way & PERHAPS:
                    changed += 1
            if place:
                if second and place > 0:
                    notes[place] += 1
                    sounding += 1
                elif notes[place]:
                    notes[place] -= 1
                    sounding -= 1
            at += 1
    return False


def patch_by_numbers(data: bytes, at: i64, end: i64, out: BytesWriter, straight: Straight, counts: Counts) -> bool:
    """Do the same as `patch_by_rows`. What can be calculated is not asked: a wrong guess costs more than both ways."""
    answers, seconds, hits, notes = straight.answers, straight.seconds, counts.hits, counts.notes
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
                row = -1  # no running status behind it
                stop = long_event_end(data, at)
                if first != META:
                    if counts.long_way(data, at, stop) != KEPT:
                        return False
                elif data[at + 1] == END_OF_TRACK:
                    counts.end_track(sounding, changed)
                    return stop == end
                at = stop
                continue
            row = (first & 0x7F) << 7
            out[at] = u8(answers[row] >> STATUS & 0xFF)
            at += 1
            first = data[at]
        index = row + first
        if row < 0 or first > 0x7F:
            return False
        answer = answers[index]
        hits[answer >> COUNTER & COUNTERS] += 1
        out[at] = u8(answer & 0xFF)
        at += 1
        if answer & HAS_SECOND << WAY:
            second: i64 = data[at]
            if second > 0x7F:
                return False
            new_second: i64 = seconds[(answer >> SECONDS) + second]
            out[at] = u8(new_second)
            at += 1
            changed += answer >> WAY & PERHAPS & differs(new_second, second)
            if answer & IS_NOTE << WAY:
                place = (index & (ON - 1)) + 1
                step = note_step(index, second, notes[place])
                notes[place] += step
                sounding += step
            elif answer & ENDS << WAY:
                sounding -= counts.silence(row >> 7 & 0x0F)
    return False
