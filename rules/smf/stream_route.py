"""The stream route: every message is answered by its table, and what comes of it is written at once, in one pass.

What isn't everyday - damage, several messages for one, delta times that grow too long - is refused, and the file is
left to the routes that write event by event. The bytes are those that `TrackWriter` would write: its rules on delta
times and running status hold here.

There are two loops that do the same, for the reason that `patch_route` gives.
"""

from __future__ import annotations

from typing import Final

from rules.midi.messages import SYSEX
from rules.program.native import BytesWriter, i32, i64, u8, write_i32_le
from rules.smf import vlq
from rules.smf.answers import (
    CHANGED,
    COUNTER_AT,
    COUNTER_BITS,
    DROPPED,
    HAS_SECOND,
    IS_NOTE,
    KEPT,
    ON,
    OUTCOME_AT,
    OUTCOME_BITS,
    SECOND_DECIDES,
    SECONDS_AT,
    STATUS_AT,
    UNDECIDED,
    Answers,
    EventCounts,
    delta_end,
    differs,
    long_event_end,
    open_note_change,
)
from rules.smf.track_events import END_OF_TRACK, META

SHORT_SPAN: Final = 16
"""Spans below this are copied byte by byte, which is quicker than making an object of each."""


def stream_by_rows(data: bytes, at: int, end: int, out: BytesWriter, answers: Answers, counts: EventCounts) -> bool:
    """Write what comes of the track in `data[at:end]`; False, or IndexError, where it is for another route.

    What stays as it was is copied in spans: `kept` is where the open one begins. Messages that are dropped leave a gap
    of `lost` ticks, which begins at `gap` (-1: none).
    """
    rows, hits, notes = answers.rows, counts.hits, counts.notes
    write, append = out.write, out.append
    # A row without answers stands for "no status in force": a data byte looked up in it raises IndexError.
    row = nothing = rows[0]
    kept = at
    gap = meta_end = -1
    status = in_force = changed = lost = sounding = 0
    while at < end:
        begin = at
        delta = data[at]
        at += 1
        if delta > 0x7F:
            # Two bytes are the usual long form, and worth reading without a call.
            if data[at] < 0x80:
                delta = (delta & 0x7F) << 7 | data[at]
                at += 1
            else:
                delta, at = vlq.decode(data, begin)
        here = at
        first = data[at]
        if first > 0x7F:
            if first >= SYSEX:
                # Running status over sysex or a meta event is damage, which is for another route.
                row = nothing
                at = long_event_end(data, here)
                if first != META:
                    outcome = counts.count_sysex(data, here, at)
                    if outcome == DROPPED:
                        # The open span ends before what is dropped, and nothing is open until the gap is closed.
                        if gap < 0:
                            write(data[kept:begin])
                            gap = begin
                        lost += delta
                        continue
                    if outcome != KEPT:
                        return False
                    # Sysex ends running status: the next channel message must write its status.
                    in_force = 0
                if gap >= 0:
                    write_delta(out, data, begin, here, delta, lost)
                    kept = here
                    gap = -1
                    lost = 0
                if first == META:
                    # It ends running status in the result as well. Whatever follows it here has its status byte, so
                    # `in_force` matters only where that is dropped: see `meta_end` below.
                    meta_end = at
                    if data[here + 1] == END_OF_TRACK:
                        write(data[kept:at])
                        counts.end_track(sounding, changed)
                        return at == end
                continue
            status = first
            row = rows[first]
            at += 1
            first = data[at]
        # The look-ups check both data bytes: rows have 128 answers, `seconds` 128 bytes, beyond is an IndexError.
        outcome, counter, new_status, new_first, seconds, place = row[first]
        hits[counter] += 1
        at += 1
        if seconds:
            second = data[at]
            new_second = seconds[second]
            at += 1
            if place:
                # The sign of a place tells note-ons; one of velocity 0 ends a note. Both signs reach one counter.
                if second and place > 0:
                    notes[place] += 1
                    sounding += 1
                elif notes[place]:
                    sounding -= notes[place]
                    notes[place] = 0
        # One comparison for the three rare outcomes: dropped, undecided, and the end of all notes of a channel.
        if outcome > CHANGED:
            if outcome == DROPPED:
                if gap < 0:
                    write(data[kept:begin])
                    gap = begin
                lost += delta
                continue
            if outcome & UNDECIDED:
                return False
            sounding -= counts.end_notes(status & 0x0F)
        if gap >= 0:
            write_delta(out, data, begin, here, delta, lost)
            # The gap follows a meta event, which has ended running status.
            if meta_end == gap:
                in_force = 0
            kept = here
            gap = -1
            lost = 0
        # Unchanged: the open span takes it as it is, if its status byte is there or still in force in the result.
        if outcome == KEPT and (in_force == status or data[here] > 0x7F):
            in_force = status
            continue
        # Messages that change one after the other leave a span of one byte, the delta time: no slice is made for it.
        if kept == here - 1:
            append(data[kept])
        else:
            write(data[kept:here])
        # A status byte that the file has is written again; one that it leaves out only where another is in force.
        if in_force != new_status or data[here] > 0x7F:
            append(new_status)
            in_force = new_status
        append(new_first)
        if seconds:
            append(new_second)
            if new_second != second and outcome & SECOND_DECIDES:
                changed += 1
        kept = at
    return False


def stream_by_numbers(data: bytes, at: i64, end: i64, out: BytesWriter, answers: Answers, counts: EventCounts) -> bool:
    """Do the same as `stream_by_rows`, in machine numbers; the comments there hold here as well."""
    packed, seconds, hits, notes = answers.packed, answers.seconds, counts.hits, counts.notes
    kept = at
    gap: i64 = -1
    meta_end: i64 = -1
    row: i64 = -1
    in_force: u8 = 0
    changed: i64 = 0
    sounding: i64 = 0
    lost: i64 = 0
    while at < end:
        begin = at
        delta: i64 = data[at]
        if delta > 0x7F:
            # Where the number ends is checked once, so that the bytes before can be added up without a look at each.
            delta &= 0x7F
            at = delta_end(data, at)
            here = begin + 1
            while here <= at:
                delta = delta << 7 | data[here] & 0x7F
                here += 1
        at += 1
        here = at
        first: i64 = data[at]
        if first > 0x7F:
            if first >= SYSEX:
                # Below, a row of -1 leaves running status over sysex or a meta event to another route.
                row = -1
                at = long_event_end(data, here)
                if first != META:
                    count_sysex = counts.count_sysex(data, here, at)
                    if count_sysex == DROPPED:
                        if gap < 0:
                            out.write(data[kept:begin])
                            gap = begin
                        lost += delta
                        continue
                    if count_sysex != KEPT:
                        return False
                    in_force = 0
                if gap >= 0:
                    write_delta(out, data, begin, here, delta, lost)
                    kept = here
                    gap = -1
                    lost = 0
                if first == META:
                    meta_end = at
                    if data[here + 1] == END_OF_TRACK:
                        out.write(data[kept:at])
                        counts.end_track(sounding, changed)
                        return at == end
                continue
            row = (first & 0x7F) << 7
            at += 1
            first = data[at]
        index = row + first
        if row < 0 or first > 0x7F:
            return False
        answer = packed[index]
        outcome = answer >> OUTCOME_AT & OUTCOME_BITS
        hits[answer >> COUNTER_AT & COUNTER_BITS] += 1
        at += 1
        new_second: i64 = 0
        if answer & HAS_SECOND << OUTCOME_AT:
            second: i64 = data[at]
            if second > 0x7F:
                return False
            new_second = seconds[(answer >> SECONDS_AT) + second]
            at += 1
            if answer & IS_NOTE << OUTCOME_AT:
                place = (index & (ON - 1)) + 1
                step = open_note_change(index, second, notes[place])
                notes[place] += step
                sounding += step
            # The lowest bit of the outcome is SECOND_DECIDES, so this adds 1 or 0 without a branch.
            changed += outcome & SECOND_DECIDES & differs(new_second, second)
        if outcome > CHANGED:
            if outcome == DROPPED:
                if gap < 0:
                    out.write(data[kept:begin])
                    gap = begin
                lost += delta
                continue
            if outcome & UNDECIDED:
                return False
            sounding -= counts.end_notes(row >> 7 & 0x0F)
        if gap >= 0:
            write_delta(out, data, begin, here, delta, lost)
            if meta_end == gap:
                in_force = 0
            kept = here
            gap = -1
            lost = 0
        new_status = u8(answer >> STATUS_AT & 0xFF)
        # What is kept keeps its status, so that the new one stands for it here.
        if outcome == KEPT and (in_force == new_status or data[here] > 0x7F):
            in_force = new_status
            continue
        # All of the span but its last byte, which the next step may write along with the message.
        if here - kept < SHORT_SPAN:
            while kept < here - 1:
                out.append(data[kept])
                kept += 1
        else:
            out.write(data[kept : here - 1])
            kept = here - 1
        if kept < here and answer & HAS_SECOND << OUTCOME_AT and data[here] > 0x7F:
            # The usual case in one step of four bytes: the last one of the delta time, status and both data bytes. It
            # can't overflow, since the second data byte, which comes highest, is below 80.
            last: i64 = data[kept]
            write_i32_le(out, i32(last | i64(new_status) << 8 | (answer & 0xFF) << 16 | new_second << 24))
            in_force = new_status
            kept = at
            continue
        if kept < here:
            out.append(data[kept])
        if in_force != new_status or data[here] > 0x7F:
            out.append(new_status)
            in_force = new_status
        out.append(u8(answer & 0xFF))
        if answer & HAS_SECOND << OUTCOME_AT:
            out.append(u8(new_second))
        kept = at
    return False


def write_delta(out: BytesWriter, data: bytes, begin: i64, end: i64, delta: i64, lost: i64) -> None:
    """Write the delta time in `data[begin:end]` with the ticks of what was dropped before it."""
    if not lost:
        out.write(data[begin:end])
    elif delta + lost > vlq.LARGEST:
        raise IndexError
    else:
        out.write(vlq.encode(delta + lost))
