"""The rig as the planner sees it: who sends on which channels, and which instrument can be on which channel where.

An instrument with `channel` is on it; one with `channels` can be set to each of them. One with neither listens on all
channels, so it can't share its port with any other: of several at a port it gives way, and the first of several such.

What comes back from an instrument to an input must not go round. So a source never plays a port with an instrument that
`returns` to it, nor the instruments of its own port, which are in the same box.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from rules.rig.arriving_channels import arriving_channels
from rules.rulefile.ruleset import RuleSet

ALL_CHANNELS: Final = frozenset(range(1, 17))
DRUM_CHANNEL: Final = 10
"""Where drums are by common practice. Source: General MIDI System Level 1 (RP-003), "Percussion on channel 10"."""


@dataclass(frozen=True, slots=True)
class PlannedDevice:
    """An instrument: its port, the channels (1-16) that it can be on, and the input that it is wired back to."""

    name: str
    port: str
    channels: frozenset[int]
    hears_all: bool = False
    returns: str | None = None

    @property
    def is_drums(self) -> bool:
        """Whether it is fixed to the channel of the drums."""
        return self.channels == {DRUM_CHANNEL} and not self.hears_all

    @property
    def fixed_channel(self) -> int | None:
        """The channel that it is fixed to; None where there is a choice, or where it listens on all."""
        return min(self.channels) if len(self.channels) == 1 and not self.hears_all else None


@dataclass(frozen=True, slots=True)
class PlannedRig:
    """Sources with the channels that they can send on, instruments, and ports that can send.

    `arriving` has, by source, the channel on which arrives what is sent on a channel, where steps of its port change
    that.
    """

    sources: Mapping[str, frozenset[int]]
    devices: tuple[PlannedDevice, ...]
    outputs: tuple[str, ...]
    arriving: Mapping[str, Mapping[int, int]] = field(default_factory=dict)

    def playing(self, port: str) -> list[str]:
        """Return the sources that may play the instruments at a port, in order."""
        return [source for source in self.sources if source != port and source not in self.returns(port)]

    def returns(self, port: str) -> frozenset[str]:
        """Return the inputs to which comes back what goes to a port: any instrument there may pass all of it on."""
        return frozenset(one.returns for one in self.devices if one.port == port and one.returns is not None)

    def at_port(self, port: str) -> list[PlannedDevice]:
        """Return the instruments at a port, in order."""
        return [device for device in self.devices if device.port == port]

    def gives_way(self, device: PlannedDevice) -> bool:
        """Return whether an instrument listens on all channels, and others at its port go first."""
        if not device.hears_all:
            return False
        others = self.at_port(device.port)
        return others[0] is not device or not all(other.hears_all for other in others)

    def with_device(self, device: PlannedDevice) -> PlannedRig:
        """Return the rig with one instrument changed; it is known by its name."""
        devices = tuple(device if one.name == device.name else one for one in self.devices)
        outputs = self.outputs if device.port in self.outputs else (*self.outputs, device.port)
        return replace(self, devices=devices, outputs=outputs)

    def with_source(self, name: str, channels: frozenset[int]) -> PlannedRig:
        """Return the rig with the channels of one source changed, or with one source more."""
        return replace(self, sources={**self.sources, name: channels})


def planned_rig(ruleset: RuleSet, sources: Iterable[str] = ()) -> PlannedRig:
    """Return what is to be planned. `sources` are the input ports that the player plays; all that look so otherwise.

    A two-way port with instruments looks like a cable to them, not like a keyboard, unless it says its `channels`.
    """
    chosen = tuple(sources) or tuple(_sources(ruleset))
    arriving = {name: arriving_channels(ruleset, name, ruleset.ports[name].channels or ALL_CHANNELS) for name in chosen}
    return PlannedRig(
        {name: frozenset(channels) for name, channels in arriving.items()},
        tuple(_devices(ruleset)),
        tuple(name for name, port in ruleset.ports.items() if port.can_send and not port.virtual),
        arriving,
    )


def _sources(ruleset: RuleSet) -> Iterator[str]:
    with_devices = {device.port for device in ruleset.devices.values()}
    for name, port in ruleset.ports.items():
        if port.can_receive and (port.channels is not None or name not in with_devices):
            yield name


def _devices(ruleset: RuleSet) -> Iterator[PlannedDevice]:
    for name, device in ruleset.devices.items():
        fixed = None if device.channel is None else frozenset({device.channel})
        channels = fixed or device.channels
        yield PlannedDevice(name, device.port, channels or ALL_CHANNELS, channels is None, device.returns)
