"""The channel sheet for the wall: a line for each instrument, and on which channel each source plays it."""

from __future__ import annotations

from typing import NamedTuple

from rules.rig.channel_plan import ChannelPlan

NOT_PLAYED = "-"


class SheetRow(NamedTuple):
    """An instrument on the sheet: the channel to send on by source, and where it is, in words."""

    sends: tuple[str, ...]
    device: str
    is_on: str
    port: str


class ChannelSheet(NamedTuple):
    """The sources, and the instruments in the order of their channels.

    `notes` are sentences about what is to be set, and about what is not on the sheet.
    """

    sources: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    notes: tuple[str, ...] = ()


def channel_sheet(plan: ChannelPlan) -> ChannelSheet:
    """Return what a plan says to the player; what can't be played alone is only named."""
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
    notes = (to_be_set(plan), left_out(plan))
    return ChannelSheet(sources, rows, tuple(note for note in notes if note))


def to_be_set(plan: ChannelPlan) -> str:
    """Return a sentence with the instruments whose channel the plan chose; empty if there are none."""
    chosen = [f"{one.device.name} to channel {one.channel}" for one in plan.channels if one.is_chosen]
    return f"Set on the devices: {', '.join(chosen)}." if chosen else ""


def left_out(plan: ChannelPlan) -> str:
    """Return a sentence with the instruments that can't be played alone; empty if there are none."""
    names = [one.device.name for one in plan.unseparated]
    return f"Left out, because they can't be played alone: {', '.join(names)}." if names else ""
