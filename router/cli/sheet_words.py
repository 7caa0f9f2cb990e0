"""The channel sheet as text: a table, or a paragraph for each device where there are too many sources for one."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap
from typing import TYPE_CHECKING

from router.text.formatting import fitted_columns, plain
from router.text.paragraphs import WIDTH
from rules.rig.channel_sheet import NOT_PLAYED, ChannelSheet, channel_sheet, to_be_set

if TYPE_CHECKING:
    from rules.rig.channel_plan import ChannelPlan


def sheet_lines(planned: ChannelPlan) -> Iterator[str]:
    """Yield the lines of the sheet, with what is to be set on the devices; none is longer than 80 characters."""
    sheet = channel_sheet(planned)
    yield "Send on this channel to play the device:"
    yield ""
    table = [f"  {line}" for line in _table(sheet)]
    yield from table if max(map(len, table)) <= WIDTH else _paragraphs(sheet)
    if to_be_set(planned):
        yield ""
        yield from wrap(plain(to_be_set(planned)), WIDTH, subsequent_indent="  ")


def _table(sheet: ChannelSheet) -> list[str]:
    sources = len(sheet.sources)
    rows = [
        (*sheet.sources, "device", "is on", "port"),
        *((*row.sends, row.device, row.is_on, row.port) for row in sheet.rows),
    ]
    names = [sources, sources + 2, *range(sources)]
    right = frozenset({*range(sources), sources + 1})
    return fitted_columns([[plain(cell) for cell in row] for row in rows], names, WIDTH - 2, right)


def _paragraphs(sheet: ChannelSheet) -> Iterator[str]:
    """Yield for each device where it is, and below it the channel to send on from each source that plays it."""
    for row in sheet.rows:
        own = "all channels" if row.is_on == "all" else f"channel {row.is_on}"
        yield from wrap(
            plain(f"{row.device}, on {own} of {row.port}:"), WIDTH, initial_indent="  ", subsequent_indent="    "
        )
        sends = [
            f"{channel} from {source}"
            for source, channel in zip(sheet.sources, row.sends, strict=True)
            if channel != NOT_PLAYED
        ]
        yield from wrap(plain(", ".join(sends)), WIDTH, initial_indent="    ", subsequent_indent="    ")
