"""Gives each source the channels on which it reaches the instruments, at the least cost: a flow through a network.

Where a source can send the number of an instrument, that is its channel there. A source with fewer channels than
instruments reaches as many as it has channels, and first of all those that no other source reaches.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import networkx as nx

from rules.rig.channel_flow import Place, Places
from rules.rig.cost_levels import CostLevels
from rules.rig.planned_rig import DRUM_CHANNEL, PlannedDevice, PlannedRig

RANKS: Final = (
    "silent",  # instruments that no source reaches
    "unreached",  # sources that may play an instrument and don't reach it
    "drums_moved",  # sources that reach drums on another channel than 10
    "moved",  # sources that reach an instrument on another channel than its number
    "strays_on_10",  # sources that reach another instrument on channel 10
    "order",  # instruments further up in the file go first, and low channels
)
"""What the plan avoids, the most important first."""

SourceChannels = Mapping[str, Mapping[str, int]]
"""By source and instrument, the channel (1-16) on which the source reaches it."""

_Node = tuple[str, str, str | int]
_BEGIN: Final[_Node] = ("begin", "", "")
_END: Final[_Node] = ("end", "", "")


def free_channels(rig: PlannedRig, places: Places) -> dict[str, list[int]]:
    """Return the channels of each source on which it can reach instruments.

    What comes back to a source on the channel of an instrument must not play anything: that would go round, or sound
    twice.
    """
    coming_back: dict[str, set[int]] = {source: set() for source in rig.sources}
    for device in rig.devices:
        channel = places[device.name].channel
        if channel is not None:
            for source in rig.returns(device.port) & rig.sources.keys():
                coming_back[source].add(channel)
    return {source: sorted(channels - coming_back[source]) for source, channels in rig.sources.items()}


def channels_by_source(rig: PlannedRig, places: Places) -> dict[str, dict[str, int]]:
    """Return the channel on which each source reaches each instrument that it reaches, at the least cost."""
    playable = [device for device in rig.devices if _can_be_played(rig, device, places[device.name])]
    if not playable:
        return {source: {} for source in rig.sources}
    network = _Network(rig, places, playable)
    _, flow = nx.network_simplex(network.graph)
    found: dict[str, dict[str, int]] = {}
    for source in rig.sources:
        left = [end[2] for end, units in flow.get(("hub", source, ""), {}).items() if units]
        found[source] = {}
        for device in playable:
            for end, units in flow.get(("pair", source, device.name), {}).items():
                if units:
                    channel = end[2] if end[0] == "channel" else left.pop(0)
                    assert isinstance(channel, int)
                    found[source][device.name] = channel
    return found


def _can_be_played(rig: PlannedRig, device: PlannedDevice, place: Place) -> bool:
    """Return whether what is sent to an instrument reaches it alone, and doesn't come back on any channel."""
    is_alone = device.hears_all and not rig.gives_way(device) and not rig.returns(device.port)
    return place.channel is not None or is_alone


class _Network:
    def __init__(self, rig: PlannedRig, places: Places, playable: list[PlannedDevice]) -> None:
        pairs = len(playable) * len(rig.sources)
        self._levels = CostLevels(RANKS, pairs * (16 + len(playable)) + 1)
        self._channels = free_channels(rig, places)
        self.graph: nx.DiGraph[_Node] = nx.DiGraph()
        self.graph.add_node(_BEGIN, demand=-pairs)
        self.graph.add_node(_END, demand=pairs)
        self.graph.add_edge(_BEGIN, _END, weight=self._levels.cost(unreached=1))
        for source, channels in self._channels.items():
            for channel in channels:
                self._add(("channel", source, channel), _END)
                stray = int(channel == DRUM_CHANNEL)
                self._add(("hub", source, ""), ("channel", source, channel), moved=1, strays_on_10=stray, order=channel)
        for rank, device in enumerate(playable):
            self._add_device(device, rig.playing(device.port), rank)
            for source in rig.playing(device.port):
                self._add_pair(source, device, places[device.name], comes_back=bool(rig.returns(device.port)))

    def _add(self, begin: _Node, end: _Node, **units: int) -> None:
        self.graph.add_edge(begin, end, capacity=1, weight=self._levels.cost(**units))

    def _add_device(self, device: PlannedDevice, playing: list[str], rank: int) -> None:
        """Lead a unit for each source through an instrument; the first of them is worth most."""
        node, first = ("device", device.name, ""), ("first", device.name, "")
        self._add(_BEGIN, first, silent=-1)
        self._add(first, node)
        self.graph.add_edge(_BEGIN, node, capacity=len(playing), weight=0)
        for source in playing:
            self._add(node, ("pair", source, device.name), order=rank)

    def _add_pair(self, source: str, device: PlannedDevice, place: Place, *, comes_back: bool) -> None:
        """Lead from an instrument to the channels of a source: to its number, drums to 10, or over the hub."""
        node = ("pair", source, device.name)
        wanted = place.number or place.channel
        straight = (wanted, DRUM_CHANNEL) if device.is_drums else (wanted,)
        for channel in [channel for channel in self._channels[source] if channel in straight]:
            self._add(
                node,
                ("channel", source, channel),
                moved=int(channel != wanted),
                drums_moved=int(device.is_drums and channel != DRUM_CHANNEL),
                strays_on_10=int(channel == DRUM_CHANNEL and not device.is_drums),
                order=channel,
            )
        if self._channels[source] and not (device.hears_all and comes_back):
            self._add(node, ("hub", source, ""), drums_moved=int(device.is_drums))
