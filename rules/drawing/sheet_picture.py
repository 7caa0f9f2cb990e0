"""The channel sheet as a picture for the wall: one A4 page in black and white, to be read from a step away.

A column for each source holds the channel to send on, large. Then comes the device, and small the channel that it is
on and its port.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from rules.drawing.svg import A4_LONG, A4_SHORT, GREY, INK, PALE, Box, Frame, Path, Picture, Shape, Text, fitted
from rules.rig.channel_sheet import NOT_PLAYED, ChannelSheet, SheetRow

_MARGIN: Final = 150.0
_WIDTH: Final = A4_SHORT - 2 * _MARGIN
_TITLE_SIZE: Final = 90.0
_LEAST_SMALL: Final = 26.0
_HEAD_ROWS: Final = 0.8
_LARGEST_ROW: Final = 150.0
_TITLE: Final = "Channel sheet"
_SHADE: Final = "#eeeeee"
_ADVICE: Final = "Send on this channel to play the device."


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
    """Return the sheet as SVG 1.1; names that are too long are shortened, and whole in the tooltip."""
    picture = Picture(A4_SHORT, A4_LONG, _TITLE, f"{_ADVICE} {len(sheet.rows)} devices.")
    top = _MARGIN + _TITLE_SIZE
    picture.add([Text(_MARGIN, top, _TITLE, _TITLE_SIZE, bold=True)])
    picture.add([Text(_MARGIN, top + 0.7 * _TITLE_SIZE, _ADVICE, 0.4 * _TITLE_SIZE)])
    top += 0.95 * _TITLE_SIZE
    room = A4_LONG - _MARGIN - top
    row = min(_LARGEST_ROW, room / (len(sheet.rows) + _HEAD_ROWS))
    columns = _columns(sheet, row)
    picture.add(_head(sheet, columns, top))
    top += _HEAD_ROWS * row
    for number, one in enumerate(sheet.rows):
        picture.add(_row(one, columns, top + number * row, shaded=number % 2 == 1))
    picture.add([_line(top + len(sheet.rows) * row, 4)])
    return picture.svg()


def _columns(sheet: ChannelSheet, row: float) -> _Columns:
    """Share the width: half of it at most for the sources, most of the rest for the names of the devices."""
    amount = max(1, len(sheet.sources))
    source = min(240.0, 0.5 * _WIDTH / amount)
    device = _MARGIN + source * amount
    rest = A4_SHORT - _MARGIN - device
    return _Columns(row, source, device, device + 0.6 * rest, device + 0.7 * rest)


def _head(sheet: ChannelSheet, columns: _Columns, top: float) -> Iterator[Shape]:
    """Yield the names of the columns, above a line."""
    size = min(40.0, 0.4 * columns.row)
    base = top + 0.6 * _HEAD_ROWS * columns.row
    for number, source in enumerate(sheet.sources):
        yield _centred(source, _middle(columns, number), 0.92 * columns.source, base, size, bold=True)
    own = columns.port - columns.own
    yield Text(columns.device + columns.pad, base, "device", size, bold=True)
    yield _centred("is on", columns.own + own / 2, 1.2 * own, base, size, bold=True)
    yield Text(columns.port + columns.pad, base, "port", size, bold=True)
    yield _line(top + _HEAD_ROWS * columns.row, 8)


def _row(one: SheetRow, columns: _Columns, top: float, *, shaded: bool) -> Iterator[Shape]:
    size, small, pad = columns.size, columns.small, columns.pad
    base = top + 0.5 * columns.row + 0.36 * size
    if shaded:
        yield Box(Frame(_MARGIN, top, _WIDTH, columns.row), fill=_SHADE, stroke="none")
    for number, channel in enumerate(one.sends):
        is_sent = channel != NOT_PLAYED
        fill = INK if is_sent else GREY
        middle = _middle(columns, number)
        yield _centred(channel, middle, 0.92 * columns.source, base, size, bold=is_sent, fill=fill)
    yield fitted(columns.device + pad, base, one.device, size, columns.own - columns.device - 2 * pad)
    own = columns.port - columns.own
    yield _centred(one.is_on, columns.own + own / 2, own, base, small)
    yield fitted(columns.port + pad, base, one.port, small, A4_SHORT - _MARGIN - columns.port - pad)
    yield _line(top, 1, stroke=PALE)


def _middle(columns: _Columns, number: int) -> float:
    """Return the middle of the column of a source."""
    return _MARGIN + (number + 0.5) * columns.source


def _centred(
    text: str, middle: float, room: float, base: float, size: float, *, bold: bool = False, fill: str = INK
) -> Text:
    return fitted(middle, base, text, size, room, bold=bold, anchor="middle", fill=fill)


def _line(y: float, width: float, stroke: str = INK) -> Path:
    return Path(f"M{_MARGIN:g} {y:.1f}H{A4_SHORT - _MARGIN:g}", stroke=stroke, stroke_width=width)
