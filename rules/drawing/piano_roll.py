"""The picture of a take: its notes before and after the rules, a lane for each channel or device, over one time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

from rules.drawing.note_bars import draw_notes, sample
from rules.drawing.style import MARGIN
from rules.drawing.svg import (
    A4_LONG,
    A4_SHORT,
    GREY,
    PALE,
    Box,
    Frame,
    Path,
    Picture,
    Shape,
    Text,
    fitted,
    number,
)
from rules.drawing.take_notes import Bar, Fate, Lane, TakeNotes
from rules.drawing.text_width import text_width
from rules.drawing.time_axis import TimeAxis, TimeMark
from rules.drawing.writing import wrapped

MOST_BYTES: Final = 190_000
_CAPTION_WIDTH: Final = 620.0
_LEAST_LANE: Final = 62.0
_LARGEST_LANE: Final = 300.0
_COARSEST: Final = 1024

_SHORT_WORDS: Final[Mapping[Fate, str]] = MappingProxyType(
    {
        Fate.KEPT: "as played",
        Fate.MOVED: "moved",
        Fate.ADDED: "added",
        Fate.LATER: "later",
        Fate.DROPPED: "dropped",
    }
)


class _Size(NamedTuple):
    """How lanes are drawn: their height, the size of their text, and to how many units times are rounded."""

    lane: float
    text: float
    grain: int


def draw_take(notes: TakeNotes, title: str, axis: TimeAxis) -> Picture:
    """Return the picture of a take; without lanes after the rules it shows the recording alone.

    Times are rounded as far as needed for a picture of at most 190,000 bytes.
    """
    grain = 1
    picture = _drawn(notes, title, axis, grain)
    while (size := len(picture.svg().encode())) > MOST_BYTES and grain < _COARSEST:
        grain *= 2 if size < 3 * MOST_BYTES else 8
        picture = _drawn(notes, title, axis, grain)
    return picture


def _drawn(notes: TakeNotes, title: str, axis: TimeAxis, grain: int) -> Picture:
    parts = [("Before", notes.before), ("After", notes.after)] if notes.after else [("", notes.before)]
    lanes = max(sum(len(lanes) for _, lanes in parts), 1)
    room = A4_SHORT - 2 * MARGIN - 130 - len(parts) * 150 - 60
    height = min(max(room / lanes, _LEAST_LANE), _LARGEST_LANE)
    size = _Size(height, min(38.0, height / 2.9), grain)
    shapes: list[Shape] = [fitted(MARGIN, MARGIN + 40, title, 48, A4_LONG - 2 * MARGIN, bold=True)]
    y = MARGIN + 80
    if not (notes.before or notes.after):
        shapes.append(Text(MARGIN, y + 40, "no notes", 40))
        return Picture(A4_LONG, y + 40 + MARGIN, title, _summary(notes), shapes)
    for name, part in parts:
        y += 55 if name else 0
        shapes += [Text(MARGIN, y, name, 40, bold=True)] if name else []
        more, y = _part(part, notes.end, axis, size, y + 12, name)
        shapes += more
    shapes += _legend(notes, y + 40)
    return Picture(A4_LONG, y + 70, title, _summary(notes), shapes)


def _part(
    lanes: Sequence[Lane], end: int, axis: TimeAxis, size: _Size, y: float, name: str
) -> tuple[list[Shape], float]:
    """Return some lanes from `y` down with their time axis, and where they end."""
    left, right = MARGIN + _CAPTION_WIDTH, A4_LONG - MARGIN
    scale = (right - left) / max(end, 1)
    marks = axis.marks(end, lambda text: text_width(text, 26) / scale)
    bottom = y + size.lane * len(lanes)
    lines = "".join(f"M{number(left + mark.tick * scale)} {number(y)}V{number(bottom)}" for mark in marks)
    shapes: list[Shape] = [Path(lines, stroke=PALE, stroke_width=2)]
    for at, lane in enumerate(lanes):
        frame = Frame(left, y + at * size.lane, right - left, size.lane)
        shapes.append(Box(frame, stroke=GREY, stroke_width=1))
        shapes += _caption(lane, frame, size.text)
        shapes += draw_notes(lane, frame, scale, size.grain, f"{name or 'take'}{at}")
    return [*shapes, *_time(marks, axis, left, scale, bottom)], bottom + 75


def _time(marks: Sequence[TimeMark], axis: TimeAxis, left: float, scale: float, y: float) -> Iterator[Shape]:
    """Yield the numbers of bars, and below them the minutes and seconds."""
    for baseline, word, texts in (
        (y + 30, axis.unit, [(mark.tick, mark.name) for mark in marks]),
        (y + 62, "min:s", [(mark.tick, mark.time) for mark in marks]),
    ):
        if word:
            yield Text(left - 20, baseline, word, 26, anchor="end", fill=GREY)
            for tick, text in texts:
                yield Text(left + tick * scale, baseline, text, 26, fill=GREY)


def _caption(lane: Lane, frame: Frame, size: float) -> Iterator[Shape]:
    """Yield what a lane is, and what became of its notes."""
    room = _CAPTION_WIDTH - 20
    y = frame.y + 1.05 * size
    yield fitted(MARGIN, y, lane.title, size, room, bold=True)
    whole = _story(lane)
    lines = wrapped(whole, 0.85 * size, room, max(int((frame.height - 1.3 * size) // (1.1 * size)), 1))
    for line in lines:
        y += 1.1 * size
        yield Text(MARGIN, y, line, 0.85 * size, fill=GREY, whole=whole if line.endswith("\u2026") else "")


def _story(lane: Lane) -> str:
    parts = [_counted(lane.bars)]
    parts += [
        f"{lane.count(fate):,} {words}"
        for fate, words in _SHORT_WORDS.items()
        if fate is not Fate.KEPT and lane.count(fate)
    ]
    if lane.leads_to:
        goals = [title for title, _ in lane.leads_to.most_common()]
        parts.append(f"to {' and '.join(goals)}")
    if lane.other_dropped:
        parts.append(f"{lane.other_dropped:,} of {lane.other:,} other messages dropped")
    return "; ".join(parts)


def _legend(notes: TakeNotes, y: float) -> Iterator[Shape]:
    """Yield a note of each fate that there is, with its words."""
    x = MARGIN
    found = {bar.fate for lane in (*notes.before, *notes.after) for bar in lane.bars}
    for fate in Fate if notes.after else ():
        if fate not in found:
            continue
        yield from sample(fate, x, y)
        yield Text(x + 76, y + 10, fate.value, 28)
        x += 76 + text_width(fate.value, 28) + 70


def _summary(notes: TakeNotes) -> str:
    before = [bar for lane in notes.before for bar in lane.bars]
    if not notes.after:
        channels = len(notes.before)
        return f"{_counted(before)} on {channels} channel{'s' if channels != 1 else ''}."
    counts = [
        f"{sum(bar.fate is fate for bar in before):,} {word}"
        for fate, word in _SHORT_WORDS.items()
        if fate is not Fate.ADDED  # never one that was played
    ]
    added = sum(lane.count(Fate.ADDED) for lane in notes.after)
    more = f"; {added:,} added" if added else ""
    return f"{_counted(before)}: {', '.join(counts)}{more}."


def _counted(bars: Sequence[Bar]) -> str:
    return f"{len(bars):,} note{'s' if len(bars) != 1 else ''}"
