"""The channel sheet for the wall: a line for each instrument, and on which channel each source plays it."""

from __future__ import annotations

from typing import NamedTuple

from rules.rig.channel_plan import ChannelPlan, PlannedChannel

NOT_PLAYED = "-"


class SheetRow(NamedTuple):
    """An instrument on the sheet: the channel to send on by source, and where it is, in words."""

    sends: tuple[str, ...]
    device: str
    is_on: str
    port: str


class ChannelSheet(NamedTuple):
    """The sources, and the instruments in the order of their channels."""

    sources: tuple[str, ...]
    rows: tuple[SheetRow, ...]


def channel_sheet(plan: ChannelPlan) -> ChannelSheet:
    """Return what a plan says to the player, without what can't be played alone."""
    sources = tuple(plan.rig.sources)
    rows = tuple(
        SheetRow(
            tuple(str(one.by_source.get(source, NOT_PLAYED)) for source in sources),
            one.device.name,
            "all" if one.channel is None else str(one.channel),
            one.device.port,
        )
        for one in plan.channels
    )
    return ChannelSheet(sources, rows)


def to_be_set(plan: ChannelPlan) -> tuple[PlannedChannel, ...]:
    """Return the instruments whose channel the plan chose: the player sets them to it."""
    return tuple(one for one in plan.channels if one.is_chosen)
