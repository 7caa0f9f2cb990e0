"""Writing tracks: what form an event takes when what surrounds it changed."""

from __future__ import annotations

import pytest

from rules.smf import vlq
from rules.smf.midi_file import read
from rules.smf.track_events import TrackEvent
from rules.smf.writing import TrackWriter, write
from tests.support.smf_bytes import END, FORMAT_1, header, keep_all, one_track, said, scanned, track, unhex

RUNNING = "00 90 3C 40 10 3C 00 10 3E 40 10 3E 00" + END
META = "00 90 3C 40 00 FF 01 01 41 10 3C 00 10 3E 00" + END


def opened(body: str) -> tuple[TrackWriter, list[TrackEvent]]:
    """Return a writer for the track with its body in hex, and its events."""
    return TrackWriter(unhex(body)), scanned(body)[0]


def test_dropped_event_hands_its_status_to_the_next() -> None:
    """When the event that wrote the status is dropped, the next one writes it, and takes over the time."""
    writer, events = opened(RUNNING)
    for event in events[1:]:
        writer.keep(event)
    assert writer.body() == unhex("10 90 3C 00 10 3E 40 10 3E 00" + END)


def test_event_dropped_between_others_of_its_status() -> None:
    """Running status goes on over a dropped event; only the delta time behind it grows."""
    writer, events = opened(RUNNING)
    for event in (events[0], *events[2:]):
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 20 3E 40 10 3E 00" + END)


def test_replaced_events_keep_running_status() -> None:
    """When all events of a run move to another channel, the run stays a run: only its status byte changes."""
    writer, events = opened(RUNNING)
    for event in events[:-1]:
        writer.put(event[0], b"\x93" + event[4][1:], event)
    writer.keep(events[-1])
    assert writer.body() == unhex("00 93 3C 40 10 3C 00 10 3E 40 10 3E 00" + END)


def test_written_status_stays_written() -> None:
    """Running status is never introduced where the file wrote the status byte."""
    body = "00 90 3C 40 10 90 3C 00" + END
    writer, events = opened(body)
    for event in events[:-1]:
        writer.put(event[0], b"\x93" + event[4][1:], event)
    writer.keep(events[-1])
    assert writer.body() == unhex("00 93 3C 40 10 93 3C 00" + END)


def test_changed_event_inside_a_run() -> None:
    """An event that moves to another channel alone gets its status, and so does the one behind it."""
    writer, events = opened(RUNNING)
    writer.keep(events[0])
    writer.put(events[1][0], unhex("91 3C 00"), events[1])
    for event in events[2:]:
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 10 91 3C 00 10 90 3E 40 10 3E 00" + END)


def test_new_event_is_written_with_its_status() -> None:
    """A new event has its status byte even if the same status is in force; the run goes on behind it."""
    writer, events = opened(RUNNING)
    writer.keep(events[0])
    writer.put(0, unhex("90 30 40"))
    for event in events[1:]:
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 00 90 30 40 10 3C 00 10 3E 40 10 3E 00" + END)


def test_new_event_of_another_status_breaks_the_run() -> None:
    """A new event of another status makes the next event write its own."""
    writer, events = opened(RUNNING)
    writer.keep(events[0])
    writer.put(8, unhex("B0 40 7F"))
    for event in events[1:]:
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 08 B0 40 7F 08 90 3C 00 10 3E 40 10 3E 00" + END)


@pytest.mark.parametrize("new", ["F0 02 7D F7", "F7 01 FA", "FF 01 00"])
def test_new_sysex_or_meta_event_ends_the_run(new: str) -> None:
    """A new sysex event, escape or meta event ends running status."""
    writer, events = opened(RUNNING)
    writer.keep(events[0])
    writer.put(0, unhex(new))
    for event in events[1:]:
        writer.keep(event)
    assert writer.body() == unhex(f"00 90 3C 40 00 {new} 10 90 3C 00 10 3E 40 10 3E 00" + END)


def test_run_over_a_meta_event_as_the_file_had_it() -> None:
    """Running status over a meta event is kept where the file had it, changed or not."""
    writer, events = opened(META)
    for event in events:
        message = b"\x95" + event[4][1:] if event[4][0] == 0x90 else event[4]
        writer.put(event[0], message, event)
    assert writer.body() == unhex("00 95 3C 40 00 FF 01 01 41 10 3C 00 10 3E 00" + END)


def test_run_comes_to_stand_behind_a_meta_event() -> None:
    """An event that comes to stand behind a meta event because one between them was dropped writes its status."""
    writer, events = opened(META)
    for event in (*events[:2], *events[3:]):
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 00 FF 01 01 41 20 90 3E 00" + END)


def test_run_over_a_meta_event_whose_note_was_dropped() -> None:
    """Where nothing is left to carry over the meta event, the event behind it writes its status."""
    writer, events = opened(META)
    for event in events[1:]:
        writer.keep(event)
    assert writer.body() == unhex("00 FF 01 01 41 10 90 3C 00 10 3E 00" + END)


def test_delayed_event_behind_its_meta_event() -> None:
    """An event that is only delayed still follows its meta event directly, and runs on over it as before."""
    writer, events = opened(META)
    writer.keep(events[0])
    writer.keep(events[1])
    writer.put(0x20, events[2][4], events[2])
    assert writer.body() == unhex("00 90 3C 40 00 FF 01 01 41 20 3C 00")


def test_meta_event_further_back_ends_no_run() -> None:
    """Once an event has carried the status over a meta event, dropping the next one doesn't break the run."""
    writer, events = opened("00 90 3C 40 00 FF 01 00 10 3C 00 10 3E 40 10 3E 00" + END)
    for event in (*events[:3], *events[4:]):
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 00 FF 01 00 10 3C 00 20 3E 00" + END)


def test_meta_event_before_a_changed_event_ends_no_run() -> None:
    """The changed event writes its status behind the meta event; dropping the next one doesn't break the run."""
    writer, events = opened("00 FF 01 00 00 90 3C 40 10 3E 40 10 3C 00" + END)
    writer.keep(events[0])
    for event in (events[1], events[3]):
        writer.put(event[0], b"\x93" + event[4][1:], event)
    assert writer.body() == unhex("00 FF 01 00 00 93 3C 40 20 3C 00")


def test_run_over_a_meta_event_that_is_moved_with_its_event() -> None:
    """Both keep their forms at their new place, and the run goes on over the meta event as before."""
    writer, events = opened(META)
    writer.keep(events[0])
    for event in events[1:3]:
        writer.put(event[0] + 5, event[4], event)
    assert writer.body() == unhex("00 90 3C 40 05 FF 01 01 41 10 3C 00")


def test_padded_delta_time_stays_while_its_value_does() -> None:
    """A padded delta time is written anew, in its shortest form, only when its value changes."""
    body = "80 00 90 3C 40 80 10 3C 00 80 80 10 3E 40" + END
    writer, events = opened(body)
    writer.keep(events[0])
    writer.put(8, unhex("90 30 40"))
    writer.keep(events[1])
    writer.keep(events[2])
    assert writer.body() == unhex("80 00 90 3C 40 08 90 30 40 08 3C 00 80 80 10 3E 40")


def test_padded_delta_time_behind_a_dropped_event_of_the_same_tick() -> None:
    """A dropped event without time of its own leaves the next delta time as it was."""
    body = "00 90 3C 40 00 90 40 40 80 10 90 3C 00" + END
    writer, events = opened(body)
    for event in (events[0], *events[2:]):
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 80 10 90 3C 00" + END)


def test_delayed_event_keeps_its_form_at_a_new_tick() -> None:
    """An event that only moves in time keeps its running status; its delta time is that of the new place."""
    writer, events = opened("00 90 3C 40 10 3C 00" + END)
    for event in events[:-1]:
        writer.put(event[0] + 200, event[4], event)
    writer.end(events[-1])
    assert writer.body() == unhex("81 48 90 3C 40 10 3C 00" + END)


def test_end_of_track_stays_where_it_was() -> None:
    """The end of track stays at its tick, which sets the length of a loop, as long as nothing passes it."""
    writer, events = opened("00 90 3C 40 10 3C 00 83 60 FF 2F 00")
    writer.keep(events[0])
    writer.put(100, events[1][4], events[1])
    writer.end(events[2])
    assert said(writer.body().hex())[-1] == (0x10 + 480, "FF 2F 00")


def test_end_of_track_moves_when_passed() -> None:
    """The end of track moves to the last event when that has passed it (ruling 34)."""
    writer, events = opened("00 90 3C 40 10 3C 00 05 FF 2F 00")
    writer.keep(events[0])
    writer.put(1000, events[1][4], events[1])
    writer.end(events[2])
    assert said(writer.body().hex())[1:] == [(1000, "90 3C 00"), (1000, "FF 2F 00")]


def test_rest_is_copied() -> None:
    """Bytes that belong to no event follow as they are."""
    writer, events = opened("00 90 3C 40" + END + "12 34")
    for event in events:
        writer.keep(event)
    writer.rest(8)
    assert writer.body() == unhex("00 90 3C 40" + END + "12 34")


def test_ticks_never_fall() -> None:
    """An event before the one written last is a mistake of the caller's."""
    writer, events = opened(RUNNING)
    writer.put(100, unhex("90 3C 40"))
    with pytest.raises(ValueError, match="84 ticks before"):
        writer.keep(events[1])
    with pytest.raises(ValueError, match="1 ticks before"):
        writer.put(99, unhex("90 3C 40"))


@pytest.mark.parametrize(
    "message", ["F8", "FA", "FE", "FF", "F1 20", "F2 00 08", "F3 01", "F4", "F6", "F0", "F7", "FF 80 00", "FF 01"]
)
def test_system_messages_never_enter_a_track(message: str) -> None:
    """A system message must come as an escape or a sysex event, as a bare one would spoil the file."""
    writer, _ = opened(RUNNING)
    with pytest.raises(ValueError, match="wrap it as a sysex event or an escape"):
        writer.put(0, unhex(message))


@pytest.mark.parametrize("times", [2, 3, 5])
def test_time_too_long_for_one_number(times: int) -> None:
    """When dropping events leaves more time than a delta time can hold, empty text events carry it, exactly."""
    body = "00 90 3C 40" + "FF FF FF 7F 3E 10" * (times - 1) + "FF FF FF 7F 3C 00" + END
    writer, events = opened(body)
    for event in (events[0], *events[-2:]):
        writer.keep(event)
    written, reader = scanned(writer.body().hex(), strict=True)
    assert reader.tail == len(reader.body)
    last = times * vlq.LARGEST
    assert [(event[0], event[4].hex()) for event in written if event[4] != b"\xff\x01\x00"] == [
        (0, "903c40"),
        (last, "903c00"),
        (last, "ff2f00"),
    ]


def test_longest_time_needs_no_help() -> None:
    """A delta time of exactly 0x0FFFFFFF is written as one number and leaves a run alone."""
    writer, events = opened("00 90 3C 40 10 3C 00 FF FF FF 6F 3E 40" + END)
    for event in (events[0], *events[2:]):
        writer.keep(event)
    assert writer.body() == unhex("00 90 3C 40 FF FF FF 7F 3E 40" + END)


def test_long_time_ends_a_run_over_a_meta_event() -> None:
    """An event that follows its meta event no more directly, for the time between them was split, writes its status."""
    writer, events = opened(META)
    writer.keep(events[0])
    writer.keep(events[1])
    writer.put(2 * vlq.LARGEST, events[2][4], events[2])
    assert writer.body()[-4:] == unhex("7F 90 3C 00")


def test_file_is_put_together_from_new_tracks() -> None:
    """Chunk lengths follow the new bodies; header, other tracks and the order stay."""
    file = read(FORMAT_1)
    bodies = [file.body(each) for each in file.tracks]
    bodies[1] = unhex(END)
    bodies[3] += b"\0" * 300
    written = read(write(file, bodies))
    assert written.data[:14] == FORMAT_1[:14]
    assert [written.body(each) for each in written.tracks] == bodies
    assert written.problems == ()


def test_one_body_for_each_track() -> None:
    """A file gets exactly one body for each of its tracks."""
    with pytest.raises(ValueError, match="zip"):
        write(read(FORMAT_1), [b""])


def test_wrong_length_is_mended_when_the_size_changes() -> None:
    """A wrong length stays while the track keeps its size, and is right once the size has changed."""
    file = read(header(1) + track("00 90 3C 40" + END, length=1000))
    same = write(file, [unhex("00 91 3C 40" + END)])
    assert same[18:22] == (1000).to_bytes(4)
    shorter = write(file, [unhex(END)])
    assert shorter == header(1) + track(END)
    assert read(shorter, strict=True).problems == ()


def test_what_surrounds_the_tracks_stays_when_they_change() -> None:
    """Chunks between tracks and bytes behind them keep their content and order around tracks of other sizes."""
    around = (header(2, extra=b"xy"), b"abcd\0\0\0\1z", b"tail")
    data = around[0] + track("00 90 3C 40" + END) + around[1] + track(END) + around[2]
    new = around[0] + track(END) + around[1] + track("00 90 3C 40 00 3C 00" + END) + around[2]
    assert write(read(data), [unhex(END), unhex("00 90 3C 40 00 3C 00" + END)]) == new


def test_written_file_is_read_again() -> None:
    """What is written is what would be read: keeping everything twice changes nothing."""
    data = one_track(RUNNING)
    assert keep_all(read(keep_all(read(data)))) == data
