"""The stream route: every message is answered by its table, and what comes of it is written at once, in one pass.

What isn't everyday - damage, several messages for one, delta times that grow too long - is refused, and the file is
left to the routes that write event by event. The bytes are those that `TrackWriter` would write: its rules on delta
times and running status hold here.

There are two loops that do the same, for the reason that `patch` gives.
"""

from __future__ import annotations

from typing import Final

from rules.midi.messages import SYSEX
from rules.program.native import BytesWriter, i32, i64, u8, write_i32_le
from rules.smf import vlq
from rules.smf.straight import (
    ASK,
    CHANGED,
    COUNTER,
    COUNTERS,
    END_OF_TRACK,
    GONE,
    HAS_SECOND,
    IS_NOTE,
    KEPT,
    META,
    ON,
    OUTCOMES,
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

SHORT_SPAN: Final = 16
"""Spans below this are copied byte by byte, which is quicker than making an object of each."""


def stream_by_rows(data: bytes, at: int, end: int, out: BytesWriter, straight: Straight, counts: Counts) -> bool:
    """Write what comes of the track in `data[at:end]`; False, or IndexError, where it is for another route.

    What stays as it was is copied in spans: `kept` is where the open one begins. Messages that are dropped leave a gap
    of `lost` ticks, which begins at `gap` (-1: none).
    """
    rows, hits, notes = straight.rows, counts.hits, counts.notes
    write, append = out.write, out.append
    row = nothing = rows[0]
    kept = at
    gap = meta_end = -1
    status = in_force = changed = lost = sounding = 0
    while at < end:
        begin = at
        delta = data[at]
        at += 1
        if delta > 0x7F:
            if data[at] < 0x80:
                delta = (delta & 0x7F) << 7 | data[at]
                at += 1
            else:
                delta, at = vlq.decode(data, begin)
        here = at
        first = data[at]
        if first > 0x7F:
            if first >= SYSEX:
                row = nothing  # no running status behind it
                at = long_event_end(data, here)
                if first != META:
                    way = counts.long_way(data, here, at)
                    if way == GONE:
                        if gap < 0:
                            write(data[kept:begin])
                            gap = begin
                        lost += delta
                        continue
                    if way != KEPT:
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
                        write(data[kept:at])
                        counts.end_track(sounding, changed)
                        return at == end
                continue
            status = first
            row = rows[first]
            at += 1
            first = data[at]
        way, counter, new_status, new_first, seconds, place = row[first]
        hits[counter] += 1
        at += 1
        if seconds:
            second = data[at]
            new_second = seconds[second]
            at += 1
            if place:
                if second and place > 0:
                    notes[place] += 1
                    sounding += 1
                elif notes[place]:
                    notes[place] -= 1
                    sounding -= 1
        if way > CHANGED:
            if way == GONE:
                if gap < 0:
                    write(data[kept:begin])
                    gap = begin
                lost += delta
                continue
            if way & ASK:
                return False
            sounding -= counts.silence(status & 0x0F)
        if gap >= 0:
            write_delta(out, data, begin, here, delta, lost)
            if meta_end == gap:
                in_force = 0
            kept = here
            gap = -1
            lost = 0
        if way == KEPT and (in_force == status or data[here] > 0x7F):
            in_force = status
            continue
        if kept == here - 1:
            append(data[kept])
        else:
            write(data[kept:here])
        if in_force != new_status or data[here] > 0x7F:
            append(new_status)
            in_force = new_status
        append(new_first)
        if seconds:
            append(new_second)
            if new_second != second and way & PERHAPS:
                changed += 1
        kept = at
    return False


def stream_by_numbers(data: bytes, at: i64, end: i64, out: BytesWriter, straight: Straight, counts: Counts) -> bool:
    """Do the same as `stream_by_rows`."""
    answers, seconds, hits, notes = straight.answers, straight.seconds, counts.hits, counts.notes
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
                row = -1  # no running status behind it
                at = long_event_end(data, here)
                if first != META:
                    long_way = counts.long_way(data, here, at)
                    if long_way == GONE:
                        if gap < 0:
                            out.write(data[kept:begin])
                            gap = begin
                        lost += delta
                        continue
                    if long_way != KEPT:
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
        answer = answers[index]
        way = answer >> WAY & OUTCOMES
        hits[answer >> COUNTER & COUNTERS] += 1
        at += 1
        new_second: i64 = 0
        if answer & HAS_SECOND << WAY:
            second: i64 = data[at]
            if second > 0x7F:
                return False
            new_second = seconds[(answer >> SECONDS) + second]
            at += 1
            if answer & IS_NOTE << WAY:
                place = (index & (ON - 1)) + 1
                step = note_step(index, second, notes[place])
                notes[place] += step
                sounding += step
            changed += way & PERHAPS & differs(new_second, second)
        if way > CHANGED:
            if way == GONE:
                if gap < 0:
                    out.write(data[kept:begin])
                    gap = begin
                lost += delta
                continue
            if way & ASK:
                return False
            sounding -= counts.silence(row >> 7 & 0x0F)
        if gap >= 0:
            write_delta(out, data, begin, here, delta, lost)
            if meta_end == gap:
                in_force = 0
            kept = here
            gap = -1
            lost = 0
        new_status = u8(answer >> STATUS & 0xFF)
        if way == KEPT and (in_force == new_status or data[here] > 0x7F):
            in_force = new_status
            continue
        if here - kept < SHORT_SPAN:
            while kept < here - 1:
                out.append(data[kept])
                kept += 1
        else:
            out.write(data[kept : here - 1])
            kept = here - 1
        if kept < here and answer & HAS_SECOND << WAY and data[here] > 0x7F:
            # the usual case in one step: the last byte of the delta time, status and data bytes
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
        if answer & HAS_SECOND << WAY:
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
