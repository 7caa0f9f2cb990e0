"""The channel sheet as a picture for the wall: one A4 page in black and white, to be read from a step away.

A column for each source holds the channel to send on, large. Then comes the device, and small the channel that it is
on and its port. Below is what is to be set on devices, and what is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from rules.drawing.fitted_lines import FittedLines, fitted_lines
from rules.drawing.svg import A4_LONG, A4_SHORT, GREY, INK, PALE, Box, Frame, Path, Picture, Shape, Text
from rules.drawing.text_width import text_width
from rules.drawing.writing import wrapped
from rules.rig.channel_sheet import NOT_PLAYED, ChannelSheet, SheetRow

_MARGIN: Final = 150.0
_WIDTH: Final = A4_SHORT - 2 * _MARGIN
_TITLE_SIZE: Final = 90.0
_LEAST_SMALL: Final = 26.0
_LEAST_NAME: Final = 18.0
"""Down to which size a name shrinks, about 5 points, before it is cut."""

_LARGEST_HEAD: Final = 40.0
_HEAD_HEIGHT: Final = 150.0
_HEAD_PAD: Final = 20.0
_LARGEST_ROW: Final = 150.0
_NOTE_SIZES: Final = (36.0, 32.0, 28.0, 24.0, 20.0, 18.0)
_MOST_NOTES: Final = 500.0
_NOTE_LINE: Final = 1.25
_TITLE: Final = "Channel sheet"
_SHADE: Final = "#eeeeee"
_ADVICE: Final = "Send on this channel to play the device."


class _Notes(NamedTuple):
    """The sentences below the rows, in lines of one size."""

    lines: tuple[str, ...]
    size: float

    @property
    def height(self) -> float:
        """What they take from the page."""
        return (len(self.lines) + 0.5) * _NOTE_LINE * self.size if self.lines else 0.0


class _Columns(NamedTuple):
    """Where the columns begin, and the height of a row."""

    row: float
    source: float
    device: float
    own: float
    port: float

    @property
    def size(self) -> float:
        """The size of channels and names."""
        return 0.5 * self.row

    @property
    def small(self) -> float:
        """The size of the rest."""
        return min(0.5 * self.row, max(_LEAST_SMALL, 0.3 * self.row))

    @property
    def pad(self) -> float:
        """What is free at either side of a text."""
        return 0.12 * self.row


def sheet_picture(sheet: ChannelSheet) -> str:
    """Return the sheet as SVG 1.1; long names are smaller or in several lines, and lose their middle at last."""
    picture = Picture(A4_SHORT, A4_LONG, _TITLE, f"{_ADVICE} {len(sheet.rows)} devices.")
    top = _MARGIN + _TITLE_SIZE
    picture.add([Text(_MARGIN, top, _TITLE, _TITLE_SIZE, bold=True)])
    picture.add([Text(_MARGIN, top + 0.7 * _TITLE_SIZE, _ADVICE, 0.4 * _TITLE_SIZE)])
    top += 0.95 * _TITLE_SIZE
    notes = _notes(sheet.notes)
    heads = _heads(sheet)
    head = max(one.height for one in heads) + _HEAD_PAD
    row = min(_LARGEST_ROW, (A4_LONG - _MARGIN - top - head - notes.height) / max(len(sheet.rows), 1))
    columns = _columns(sheet, row)
    picture.add(_head(heads, columns, top, head))
    top += head
    for number, one in enumerate(sheet.rows):
        picture.add(_row(one, columns, top + number * row, shaded=number % 2 == 1))
    top += len(sheet.rows) * row
    picture.add([_line(top, 4)])
    for number, line in enumerate(notes.lines):
        picture.add([Text(_MARGIN, top + (number + 1.3) * _NOTE_LINE * notes.size, line, notes.size)])
    return picture.svg()


def _notes(sentences: tuple[str, ...]) -> _Notes:
    """Write the notes as large as their share of the page allows."""
    notes = _Notes((), _NOTE_SIZES[0])
    for size in _NOTE_SIZES:
        most = int(_MOST_NOTES / (_NOTE_LINE * size)) // max(len(sentences), 1)
        lines = [line for sentence in sentences for line in wrapped(sentence, size, _WIDTH, most)]
        notes = _Notes(tuple(lines), size)
        if not any(line.endswith("\u2026") for line in lines):
            break
    return notes


def _source_width(sheet: ChannelSheet) -> float:
    """Return how wide the column of a source is: all together get half of the width at most."""
    return min(240.0, 0.5 * _WIDTH / max(1, len(sheet.sources)))


def _columns(sheet: ChannelSheet, row: float) -> _Columns:
    """Share the width that sources leave by how long names are: a quarter to a half of it is for the ports."""
    source = _source_width(sheet)
    device = _MARGIN + source * max(1, len(sheet.sources))
    rest = A4_SHORT - _MARGIN - device - _own_width()
    columns = _Columns(row, source, device, device, device)
    names = max((text_width(one.device, columns.size) for one in sheet.rows), default=1.0)
    ports = max((text_width(one.port, columns.small) for one in sheet.rows), default=1.0)
    own = device + rest * (1 - min(max(ports / (names + ports), 0.25), 0.5))
    return _Columns(row, source, device, own, own + _own_width())


def _own_width() -> float:
    return text_width("is on", _LARGEST_HEAD, True) + 24


def _heads(sheet: ChannelSheet) -> list[FittedLines]:
    """Return the names of the sources, fitted to their columns."""
    room = 0.9 * _source_width(sheet)
    names = sheet.sources or ("",)
    return [fitted_lines(name, room, _HEAD_HEIGHT, _LARGEST_HEAD, _LEAST_NAME, bold=True) for name in names]


def _head(heads: list[FittedLines], columns: _Columns, top: float, height: float) -> Iterator[Shape]:
    """Yield the names of the columns, above a line."""
    middle = top + height / 2
    for number, head in enumerate(heads):
        yield from head.texts(_middle(columns, number), middle, "middle")
    base = middle + 0.36 * _LARGEST_HEAD
    yield Text(columns.device + columns.pad, base, "device", _LARGEST_HEAD, bold=True)
    yield Text((columns.own + columns.port) / 2, base, "is on", _LARGEST_HEAD, bold=True, anchor="middle")
    yield Text(columns.port + columns.pad, base, "port", _LARGEST_HEAD, bold=True)
    yield _line(top + height, 8)


def _row(one: SheetRow, columns: _Columns, top: float, *, shaded: bool) -> Iterator[Shape]:
    size, small, pad, height = columns.size, columns.small, columns.pad, 0.94 * columns.row
    middle = top + 0.5 * columns.row
    if shaded:
        yield Box(Frame(_MARGIN, top, _WIDTH, columns.row), fill=_SHADE, stroke="none")
    for number, channel in enumerate(one.sends):
        is_sent = channel != NOT_PLAYED
        fill = INK if is_sent else GREY
        base = middle + 0.36 * size
        yield Text(_middle(columns, number), base, channel, size, bold=is_sent, anchor="middle", fill=fill)
    least = min(_LEAST_NAME, size)
    room = columns.own - columns.device - 2 * pad
    yield from fitted_lines(one.device, room, height, size, least).texts(columns.device + pad, middle)
    own = (columns.own + columns.port) / 2
    yield Text(own, middle + 0.36 * small, one.is_on, small, anchor="middle")
    room = A4_SHORT - _MARGIN - columns.port - pad
    yield from fitted_lines(one.port, room, height, small, min(least, small)).texts(columns.port + pad, middle)
    yield _line(top, 1, stroke=PALE)


def _middle(columns: _Columns, number: int) -> float:
    """Return the middle of the column of a source."""
    return _MARGIN + (number + 0.5) * columns.source


def _line(y: float, width: float, stroke: str = INK) -> Path:
    return Path(f"M{_MARGIN:g} {y:.1f}H{A4_SHORT - _MARGIN:g}", stroke=stroke, stroke_width=width)
