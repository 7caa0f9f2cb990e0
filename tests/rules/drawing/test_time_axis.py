"""The time below a take."""

from __future__ import annotations

from rules.drawing.time_axis import TimeAxis
from rules.smf.midi_file import read
from tests.support.smf_bytes import END, header, one_track, track


def test_bars_with_their_times() -> None:
    """At 120 BPM a bar of four quarters takes two seconds."""
    axis = TimeAxis(read(one_track("00 90 3C 64 60 80 3C 40" + END)), 120)
    marks = axis.marks(3 * 384, lambda text: len(text))
    assert axis.unit == "bar"
    assert [tuple(mark) for mark in marks] == [(0, "1", "0:00"), (384, "2", "0:02"), (768, "3", "0:04")]


def test_marks_that_have_no_room_are_left_out() -> None:
    """Every second bar, every fourth and so on, and none whose text would leave the page."""
    axis = TimeAxis(read(one_track(END)), 120)
    marks = axis.marks(100 * 384, lambda text: 300 * len(text))
    assert [mark.name for mark in marks][:3] == ["1", "9", "17"]
    assert marks[-1].tick + 300 * 6 <= 100 * 384


def test_a_file_of_frames_has_seconds() -> None:
    """25 frames of 40 ticks: a thousand ticks a second."""
    axis = TimeAxis(read(header(1, division=0xE728) + track(END)), 120)
    marks = axis.marks(10_000, lambda text: 10.0)
    assert axis.unit == ""
    assert [tuple(mark) for mark in marks][:2] == [(0, "", "0:00"), (1000, "", "0:01")]
