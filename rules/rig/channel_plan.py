"""The plan of a rig: which channel reaches which instrument, what can't be separated, and what would free it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rules.rig.channel_flow import Place, number_channels
from rules.rig.planned_rig import ALL_CHANNELS, PlannedDevice, PlannedRig
from rules.rig.source_flow import channels_by_source

NEW_OUTPUT: Final = "\0output"  # no name of a port in a rule file
NEW_INPUT: Final = "\0input"


@dataclass(frozen=True, slots=True)
class PlannedChannel:
    """An instrument that can be played alone.

    `channel` is the one it is on; None where it listens on all. `is_chosen` says that the plan chose it, so that it is
    to be set. `by_source` has the channel on which each source reaches it, at least one.
    """

    device: PlannedDevice
    channel: int | None
    is_chosen: bool
    by_source: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Unseparated:
    """An instrument that can't be played alone, why, and single changes that would free it, each in words."""

    device: PlannedDevice
    reason: str
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChannelPlan:
    """All instruments of a rig: those that can be played alone, by channel, and those that can't, in file order."""

    rig: PlannedRig
    channels: tuple[PlannedChannel, ...]
    unseparated: tuple[Unseparated, ...]


def plan_channels(rig: PlannedRig) -> ChannelPlan:
    """Return the plan of a rig that costs least (see `channel_flow` and `source_flow`)."""
    solution = _solve(rig)
    alone = [
        PlannedChannel(device, _channel(device, solution), _is_chosen(device), solution.by_source(device))
        for device in rig.devices
        if solution.by_source(device)
    ]
    alone.sort(key=lambda one: min(one.by_source.values()))
    left = [device for device in rig.devices if not solution.by_source(device)]
    return ChannelPlan(rig, tuple(alone), tuple(_Search(solution, device, left).unseparated() for device in left))


def _channel(device: PlannedDevice, solution: _Solution) -> int | None:
    return None if device.hears_all else solution.places[device.name].channel


def _is_chosen(device: PlannedDevice) -> bool:
    return not device.hears_all and device.fixed_channel is None


@dataclass(frozen=True, slots=True)
class _Solution:
    """A rig with the place of each instrument, and the channels of each source."""

    rig: PlannedRig
    places: Mapping[str, Place]
    reached: Mapping[str, Mapping[str, int]]

    def by_source(self, device: PlannedDevice) -> dict[str, int]:
        """Return the channel on which each source reaches an instrument."""
        return {source: found[device.name] for source, found in self.reached.items() if device.name in found}

    @property
    def silent(self) -> int:
        """How many instruments no source reaches."""
        return sum(not self.by_source(device) for device in self.rig.devices)


def _solve(rig: PlannedRig) -> _Solution:
    places = number_channels(rig)
    return _Solution(rig, places, channels_by_source(rig, places))


class _Search:
    """Finds out why an instrument can't be played alone, and tries which single change would free it.

    It is tried as if the others that are left out weren't there: the change is for this one.
    """

    def __init__(self, solution: _Solution, device: PlannedDevice, left: Sequence[PlannedDevice]) -> None:
        self._solution = solution
        self._rig = solution.rig
        self._device = device
        others = {other.name for other in left if other.name != device.name}
        self._alone = replace(self._rig, devices=tuple(one for one in self._rig.devices if one.name not in others))

    def unseparated(self) -> Unseparated:
        """Return the instrument with the reason, and the changes that are enough, the smallest first."""
        device, place = self._device, self._solution.places[self._device.name]
        if self._rig.gives_way(device) or (place.channel is None and not device.hears_all):
            on_its_own = self._frees(self._alone.with_device(replace(device, port=NEW_OUTPUT)))
            changes = (*self._outputs(), *self._channels()) if on_its_own else ()  # nowhere is there more room
            return Unseparated(device, self._rival_words(), changes)
        if not self._rig.playing(device.port):
            return Unseparated(device, self._round_words(), (*self._unplugged(), *self._outputs(), *self._inputs()))
        return Unseparated(device, "no source has a channel left", (*self._more_channels(), *self._inputs())[:1])

    # -- why --------------------------------------------------------------------------------------------------------

    def _rival_words(self) -> str:
        device = self._device
        if device.hears_all:
            others = _quoted(one.name for one in self._alone.at_port(device.port) if one.name != device.name)
            return f'it listens on all channels, so it also plays what goes to {others} at port "{device.port}"'
        rivals = self._rivals()
        names = _quoted(one.name for one in rivals)
        rest = f"so do {names}: it sounds with one of them"
        if len(rivals) == 1:
            rest = f"so does {names}: both sound at once"
        return f'it needs {_channel_words(device.channels)} of port "{device.port}", and {rest}'

    def _rivals(self) -> list[PlannedDevice]:
        """Return the instruments that have the channels it could be on, and those that keep them from moving."""
        taken = {
            place.channel: one
            for one in self._rig.at_port(self._device.port)
            if (place := self._solution.places[one.name]).channel is not None
        }
        found: dict[str, PlannedDevice] = {}
        asking = [self._device]
        while asking:
            for channel in sorted(asking.pop().channels):
                holder = taken.get(channel)
                if holder is not None and holder.name not in found:
                    found[holder.name] = holder
                    asking.append(holder)
        return [one for one in self._rig.at_port(self._device.port) if one.name in found]

    def _round_words(self) -> str:
        barred = self._barred()
        if not self._rig.sources:
            return "there is no input to play it from"
        if barred:
            return f'what {_quoted(barred)} sends to port "{self._device.port}" would come back, and go round'
        return f'"{self._device.port}" is the only input, and what is in the same box is left to itself'

    def _barred(self) -> list[str]:
        """Return the sources to which comes back what goes to its port."""
        returns = self._rig.returns(self._device.port)
        return [source for source in self._rig.sources if source in returns]

    # -- what would free it -----------------------------------------------------------------------------------------

    def _frees(self, rig: PlannedRig) -> bool:
        """Return whether every instrument can be played in a changed rig."""
        return _solve(rig).silent == 0

    def _outputs(self) -> Iterator[str]:
        """Yield how it is connected to another output, the first that is enough, those without instruments first."""
        others = [port for port in self._rig.outputs if port != self._device.port and port not in self._rig.sources]
        others.sort(key=lambda port: bool(self._rig.at_port(port)))
        for port in (*others, NEW_OUTPUT):
            if self._frees(self._alone.with_device(replace(self._device, port=port))):
                yield "connect it to an output of its own" if port == NEW_OUTPUT else f'connect it to port "{port}"'
                return

    def _unplugged(self) -> Iterator[str]:
        """Yield which cable back to unplug, the first that is enough."""
        for source in self._barred():
            devices = tuple(replace(one, returns=None) if one.returns == source else one for one in self._alone.devices)
            if self._frees(replace(self._alone, devices=devices)):
                yield f'unplug the cable back to "{source}"'
                return

    def _channels(self) -> Iterator[str]:
        """Yield how it is set to another channel, one that is free at the sources as well if there is one."""
        places = self._solution.places
        taken = {places[one.name].channel for one in self._rig.at_port(self._device.port)}
        numbers = {place.number for place in places.values()}
        free = sorted(ALL_CHANNELS - taken, key=lambda channel: (channel in numbers, channel == 10, channel))
        for channel in free:
            alone = replace(self._device, channels=frozenset({channel}), hears_all=False)
            if self._frees(self._alone.with_device(alone)):
                yield f"set it to channel {channel}"
                return

    def _more_channels(self) -> Iterator[str]:
        """Yield which source could send on which channel more."""
        for source in self._rig.playing(self._device.port):
            channels = self._rig.sources[source]
            if not self._frees(self._alone.with_source(source, ALL_CHANNELS)):
                continue
            for channel in sorted(ALL_CHANNELS - channels):
                if self._frees(self._alone.with_source(source, channels | {channel})):
                    yield f'let "{source}" send on channel {channel} as well'
                    return

    def _inputs(self) -> Iterator[str]:
        """Yield that one input more is enough, if it is."""
        if self._frees(self._alone.with_source(NEW_INPUT, ALL_CHANNELS)):
            yield "play it from another input"


def _joined(parts: Sequence[str]) -> str:
    """Parts of a sentence: `4, 5 and 6`."""
    return " and ".join(filter(None, (", ".join(parts[:-1]), *parts[-1:])))


def _quoted(names: Iterable[str]) -> str:
    return _joined([f'"{name}"' for name in names])


def _channel_words(channels: frozenset[int]) -> str:
    if channels == ALL_CHANNELS:
        return "the channels 1 to 16"
    return f"channel{'s' if len(channels) > 1 else ''} {_joined(list(map(str, sorted(channels))))}"
