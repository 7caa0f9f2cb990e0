"""Gives instruments their own channels, and each a number for the player, at the least cost: a flow through a network.

Every instrument is one unit. It flows into a channel of its port, which holds one unit, and from there into the number
on which the player sends: straight into the same number, or over the hub of its port into any other number. Numbers
hold one unit as well. The costs of the ways say what matters more; `RANKS` has them in order. A pass that gives each
instrument the best that is left can end with fewer on their own channel: the flow can't.

The search itself is the network simplex of networkx.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

import networkx as nx

from rules.rig.cost_levels import CostLevels
from rules.rig.planned_rig import ALL_CHANNELS, DRUM_CHANNEL, PlannedDevice, PlannedRig

RANKS: Final = (
    "without_channel",  # instruments that find no channel of their own at their port
    "drums_without_channel",
    "without_number",  # instruments that no number is left for
    "drums_moved",  # drums that the player doesn't reach on channel 10
    "moved",  # instruments whose number isn't their channel
    "strays_on_10",  # other instruments set to channel 10, and numbers 10 that other instruments have
    "unreached",  # sources that may play the instrument and can't send its number
    "order",  # instruments further up in the file go first, and low channels
)
"""What the plan avoids, the most important first."""


class Place(NamedTuple):
    """The channel that an instrument is on, and the number on which the player sends to it, 1-16; None for none.

    An instrument that listens on all channels has its number as its channel.
    """

    channel: int | None
    number: int | None


Places = Mapping[str, Place]

_Node = tuple[str, str, int]
_END: Final[_Node] = ("end", "", 0)


def number_channels(rig: PlannedRig) -> dict[str, Place]:
    """Return the place of each instrument, by name, at the least cost."""
    _, flow = nx.network_simplex(_Network(rig).graph)
    left = {port: _hub_numbers(port, flow) for port in {device.port for device in rig.devices}}
    places = {}
    for device in rig.devices:
        channel = _taken(flow.get(("device", device.name, 0), {}), "channel")
        number = None
        if channel is not None:
            straight = _taken(flow[("taken", device.port, channel)], "number")
            number = straight if straight is not None else next(left[device.port], None)
        places[device.name] = Place(number if device.hears_all else channel, number)
    return places


def _taken(ways: Mapping[_Node, int], kind: str) -> int | None:
    """Return the channel or number that a node's unit goes to; None where it goes elsewhere."""
    return next((end[2] for end, units in ways.items() if units and end[0] == kind), None)


def _hub_numbers(port: str, flow: Mapping[_Node, Mapping[_Node, int]]) -> Iterator[int]:
    """Yield the numbers to which the hub of a port leads; which instrument has which of them is the same cost."""
    return (end[2] for end, units in flow[("hub", port, 0)].items() if units and end[0] == "number")


class _Network:
    def __init__(self, rig: PlannedRig) -> None:
        amount = len(rig.devices)
        self._levels = CostLevels(RANKS, amount * max(2 * 16 + 2 * amount, len(rig.sources)))
        self._first: dict[tuple[str, int], int] = {}
        self._sources = rig.sources
        self._drum_ports = {device.port for device in rig.devices if device.is_drums}
        self.graph: nx.DiGraph[_Node] = nx.DiGraph()
        self.graph.add_node(_END, demand=amount)
        for rank, device in enumerate(rig.devices):
            self._add_device(device, rank, amount - rank, gives_way=rig.gives_way(device))
        for port in dict.fromkeys(device.port for device in rig.devices):
            self._add_port(port, rig.playing(port))
        for number in ALL_CHANNELS:
            self._add(("number", "", number), _END)

    def _add(self, begin: _Node, end: _Node, **units: int) -> None:
        self.graph.add_edge(begin, end, capacity=1, weight=self._levels.cost(**units))

    def _add_device(self, device: PlannedDevice, rank: int, worth: int, *, gives_way: bool) -> None:
        node = ("device", device.name, 0)
        self.graph.add_node(node, demand=-1)
        self._add(node, _END, without_channel=1, drums_without_channel=int(device.is_drums), order=worth)
        for channel in () if gives_way else sorted(device.channels):
            self._first.setdefault((device.port, channel), rank)
            stray = int(channel == DRUM_CHANNEL and not device.is_drums and not device.hears_all)
            self._add(node, ("channel", device.port, channel), strays_on_10=stray, order=channel)

    def _add_port(self, port: str, playing: list[str]) -> None:
        """Lead from the channels of a port to the numbers that its sources can send."""
        senders = {
            number: sum(number in self._sources[source] for source in playing)
            for number in sorted({number for source in playing for number in self._sources[source]})
        }
        hub = ("hub", port, 0)
        self.graph.add_edge(hub, _END, weight=self._levels.cost(without_number=1))
        for number, amount in senders.items():
            unreached = len(playing) - amount
            stray = int(number == DRUM_CHANNEL)
            end = ("number", "", number)
            self._add(hub, end, moved=1, strays_on_10=stray, unreached=unreached, order=number)
        for channel in ALL_CHANNELS:
            node = ("taken", port, channel)
            if (port, channel) not in self._first:
                continue
            self._add(("channel", port, channel), node)  # one way for one unit
            has_drums = channel == DRUM_CHANNEL and port in self._drum_ports
            self._add(node, hub, drums_moved=int(has_drums))
            if channel in senders:
                stray = int(channel == DRUM_CHANNEL and not has_drums)
                self._add(
                    node,
                    ("number", "", channel),
                    strays_on_10=stray,
                    unreached=len(playing) - senders[channel],
                    order=channel + self._first[port, channel],
                )
