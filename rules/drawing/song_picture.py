"""The set list as a picture for the wall: one A4 page in black and white, to be read from a step away.

A row for each song has its number, name and tempo, large, and small what else the player wants to know of it. Below is
how to get from song to song.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.drawing.fitted_lines import FittedLines, fitted_lines
from rules.drawing.svg import A4_LONG, A4_SHORT, INK, PALE, Box, Frame, Path, Picture, Shape, Text
from rules.drawing.text_width import ASCENT, DESCENT, text_width
from rules.drawing.writing import wrapped
from rules.rig.song_sheet import SongRow, SongSheet

_MARGIN: Final = 150.0
_WIDTH: Final = A4_SHORT - 2 * _MARGIN
_TITLE: Final = "Set list"
_TITLE_SIZE: Final = 90.0
_LARGEST_ROW: Final = 340.0
_NAME_SHARE: Final = 0.55
"""What names get of the width that numbers leave, if there is anything else to say."""

_NAME_SIZE: Final = 0.5
_SMALL_SIZE: Final = 0.26
_LARGEST_NAME: Final = 84.0
_LARGEST_SMALL: Final = 42.0
_LEAST_NAME: Final = 18.0
"""Down to which size a text shrinks, about 5 points, before it is cut."""

_LINE: Final = ASCENT + DESCENT
_STEP: Final = 0.92
_MOST_PARTS: Final = 8
"""How many lines one of the small texts may be broken into."""

_NOTE_SIZE: Final = 34.0
_NOTE_LINE: Final = 1.3
_MOST_NOTE_LINES: Final = 3
_SHADE: Final = "#eeeeee"


def song_picture(sheet: SongSheet) -> str:
    """Return the list as SVG 1.1; long texts are smaller or in several lines, and lose their middle at last."""
    amount = "1 song." if len(sheet.songs) == 1 else f"{len(sheet.songs)} songs in order."
    picture = Picture(A4_SHORT, A4_LONG, _TITLE, amount)
    top = _MARGIN + _TITLE_SIZE
    picture.add([Text(_MARGIN, top, _TITLE, _TITLE_SIZE, bold=True)])
    top += 0.5 * _TITLE_SIZE
    notes = [line for note in sheet.notes for line in wrapped(note, _NOTE_SIZE, _WIDTH, _MOST_NOTE_LINES)]
    foot = (len(notes) + 1) * _NOTE_LINE * _NOTE_SIZE
    row = min(_LARGEST_ROW, (A4_LONG - _MARGIN - top - foot) / max(len(sheet.songs), 1))
    numbers = text_width(f"{len(sheet.songs)}", _name_size(row), True) + 0.5 * _name_size(row)
    picture.add([_line(top, 8)])
    for number, song in enumerate(sheet.songs, start=1):
        picture.add(_row(number, song, numbers, Frame(_MARGIN, top + (number - 1) * row, _WIDTH, row)))
    top += len(sheet.songs) * row
    picture.add([_line(top, 4)])
    for number, note in enumerate(notes, start=1):
        picture.add([Text(_MARGIN, top + (number + 0.3) * _NOTE_LINE * _NOTE_SIZE, note, _NOTE_SIZE)])
    return picture.svg()


def _name_size(row: float) -> float:
    return min(_LARGEST_NAME, _NAME_SIZE * row)


def _row(number: int, song: SongRow, numbers: float, frame: Frame) -> Iterator[Shape]:
    size, pad = _name_size(frame.height), 0.1 * frame.height
    middle, height = frame.y + frame.height / 2, frame.height - pad
    if number % 2 == 0:
        yield Box(frame, fill=_SHADE, stroke="none")
    begin = frame.x + numbers
    yield Text(begin - 0.3 * size, middle + 0.36 * size, str(number), size, bold=True, anchor="end")
    room = frame.right - pad - begin
    names = room * _NAME_SHARE if song.lines else room
    least = min(_LEAST_NAME, size)
    tempo = Text(begin + names - 2 * pad, middle + 0.2 * size, song.tempo, 0.6 * size, anchor="end")
    taken = text_width(song.tempo, tempo.size) + 2 * pad if song.tempo else 0.0
    name = fitted_lines(song.name, names - 2 * pad - taken, height, size, least, bold=True)
    yield from name.texts(begin, middle)
    if song.tempo:
        yield tempo
    if song.lines:
        yield from _small(song.lines, begin + names, room - names, frame, height)
    yield _line(frame.y, 1, stroke=PALE)


def _small(lines: tuple[str, ...], x: float, room: float, frame: Frame, height: float) -> Iterator[Shape]:
    """Yield the lines of a song in one size, as large as they have room together; each may be broken.

    Where even the smallest is too large, they are one text, which loses its middle.
    """
    middle = frame.y + frame.height / 2
    size = min(_LARGEST_SMALL, _SMALL_SIZE * frame.height)
    least = min(_LEAST_NAME, size)
    while size >= least:
        broken = [part for line in lines for part in wrapped(line, size, room, _MOST_PARTS)]
        if len(broken) * _LINE * size <= height and not any(part.endswith("\u2026") for part in broken):
            yield from FittedLines(tuple(broken), size, bold=False).texts(x, middle)
            return
        size *= _STEP
    yield from fitted_lines("; ".join(lines), room, height, least, least).texts(x, middle)


def _line(y: float, width: float, stroke: str = INK) -> Path:
    return Path(f"M{_MARGIN:g} {y:.1f}H{A4_SHORT - _MARGIN:g}", stroke=stroke, stroke_width=width)
