"""Channels for instruments and numbers for the player: the best that there is, as integer programming finds it too."""

from __future__ import annotations

import random
from collections.abc import Iterable

import pytest

from rules.rig.channel_flow import Place, Places, number_channels
from rules.rig.planned_rig import ALL_CHANNELS, PlannedDevice, PlannedRig
from rules.rig.source_flow import SourceChannels, channels_by_source, free_channels
from tests.support.exact_channels import best_numbers, best_reach

DRUMS = frozenset({10})


def device(
    name: str, port: str = "rack", channels: Iterable[int] = ALL_CHANNELS, returns: str | None = None
) -> PlannedDevice:
    """An instrument at a port that can be on some channels."""
    return PlannedDevice(name, port, frozenset(channels), returns=returns)


def rig(*devices: PlannedDevice, sources: dict[str, Iterable[int]] | None = None) -> PlannedRig:
    """Instruments played from "seq", which sends on all channels, or from other sources."""
    named = {name: frozenset(channels) for name, channels in (sources or {"seq": ALL_CHANNELS}).items()}
    outputs = tuple(dict.fromkeys(one.port for one in devices))
    return PlannedRig(named, devices, outputs)


def in_file_order(planned: PlannedRig) -> set[str]:
    """The instruments that keep theirs where each one in turn takes the lowest channel that is left to it."""
    taken: set[int] = set()
    kept = set()
    for one in planned.devices:
        for channel in sorted(one.channels):
            if channel not in taken:
                taken.add(channel)
                kept.add(one.name)
                break
    return kept


def kept(places: Places) -> set[str]:
    """The instruments whose number is their channel."""
    return {name for name, place in places.items() if place.channel is not None and place.channel == place.number}


def test_what_is_fixed_stays_and_keeps_its_channel() -> None:
    """Each instrument is reached on the channel that it is on, where that is free at the source."""
    places = number_channels(rig(device("organ", channels={4}), device("bass", channels={2})))
    assert places == {"organ": (4, 4), "bass": (2, 2)}


def test_of_two_on_one_channel_at_two_ports_one_gets_another_number() -> None:
    """The channel of both stays; the player sends to one of them on a channel that is free."""
    places = number_channels(rig(device("organ", "rack1", {4}), device("strings", "rack2", {4})))
    assert places == {"organ": (4, 4), "strings": (4, 1)}


def test_one_after_the_other_would_keep_fewer() -> None:
    """The first could take the only channel of the second: who is given the best that is left loses it."""
    planned = rig(device("pad", "rack1", {3, 4}), device("organ", "rack2", {3}), device("bell", "rack3", {4, 5}))
    assert in_file_order(planned) == {"pad", "bell"}
    places = number_channels(planned)
    assert kept(places) == {"pad", "organ", "bell"}
    assert places == {"pad": (4, 4), "organ": (3, 3), "bell": (5, 5)}


def test_drums_stay_on_10() -> None:
    """An instrument before it that could be on any channel leaves 10 to the drums, and gets another one itself."""
    wide = [device(f"part {number}", "rack1") for number in range(15)]
    places = number_channels(rig(*wide, device("kit", "rack2", DRUMS)))
    assert places["kit"] == (10, 10)
    assert {place.number for place in places.values()} == ALL_CHANNELS
    assert len(kept(places)) == 16


def test_another_instrument_gets_10_only_if_nothing_else_is_left() -> None:
    """Players and sequencers expect drums there."""
    few = number_channels(rig(device("pad", channels={10, 11})))
    assert few == {"pad": (11, 11)}
    many = number_channels(rig(*(device(f"part {number}") for number in range(16))))
    assert {place.number for place in many.values()} == ALL_CHANNELS


def test_two_that_are_stuck_on_one_channel_of_one_port_cannot_be_separated() -> None:
    """The first in the file has the channel; the other has none."""
    places = number_channels(rig(device("organ", channels={4}), device("strings", channels={4})))
    assert places == {"organ": (4, 4), "strings": (None, None)}


def test_an_instrument_that_hears_all_gives_way() -> None:
    """Everything for the others at its port sounds on it too; where it is alone, any number will do."""
    loud = PlannedDevice("loud", "rack", ALL_CHANNELS, hears_all=True)
    places = number_channels(rig(loud, device("organ", channels={4})))
    assert places == {"loud": (None, None), "organ": (4, 4)}
    assert number_channels(rig(loud, device("organ", "rack2", {1}))) == {"loud": (2, 2), "organ": (1, 1)}


def test_a_source_with_one_channel_reaches_one_instrument() -> None:
    """The one that has this number, or the first of them where none has it."""
    two = (device("organ", channels={4}), device("bass", channels={2}))
    planned = rig(*two, sources={"seq": ALL_CHANNELS, "keys": {2}, "pedals": {1}})
    found = channels_by_source(planned, number_channels(planned))
    assert found == {"seq": {"organ": 4, "bass": 2}, "keys": {"bass": 2}, "pedals": {"organ": 1}}


def test_two_keyboards_on_one_channel_play_two_instruments() -> None:
    """No number is left for the second, but a source is."""
    planned = rig(device("organ", "rack1", {1}), device("bell", "rack2", {1}), sources={"low": {1}, "high": {1}})
    places = number_channels(planned)
    assert places == {"organ": (1, 1), "bell": (1, None)}
    found = channels_by_source(planned, places)
    assert sorted(name for reached in found.values() for name in reached) == ["bell", "organ"]


def test_nothing_goes_round() -> None:
    """A source doesn't play what returns to it, and nothing answers to the channel that comes back."""
    planned = rig(
        device("organ", "rack1", {4}, returns="keys"),
        device("bell", "rack2", {5}),
        sources={"seq": ALL_CHANNELS, "keys": ALL_CHANNELS},
    )
    places = number_channels(planned)
    assert free_channels(planned, places)["keys"] == sorted(ALL_CHANNELS - {4})
    assert channels_by_source(planned, places) == {"seq": {"organ": 4, "bell": 5}, "keys": {"bell": 5}}


def random_rig(chance: random.Random) -> PlannedRig:
    """A small rig in which channels are scarce, so that much is in the way of much else."""
    few = [1, 2, 3, 10]
    names = ["seq", "keys", "pads"][: chance.randint(1, 3)]
    sources = {name: frozenset(chance.sample(few, chance.randint(1, 4))) for name in names}
    if chance.random() < 0.3:
        sources["seq"] = ALL_CHANNELS
    ports = ["rack1", "rack2", "rack3", "keys"][: chance.randint(1, 4)]
    devices = []
    back = chance.choice(names)
    for number in range(chance.randint(1, 6)):
        form = chance.random()
        channels = frozenset(chance.sample(few, 1 if form < 0.5 else chance.randint(2, 4)))
        hears_all = form > 0.9
        channels = ALL_CHANNELS if hears_all or form > 0.85 else channels
        returns = back if chance.random() < 0.1 else None
        devices.append(PlannedDevice(f"device {number}", chance.choice(ports), channels, hears_all, returns))
    return PlannedRig(sources, tuple(devices), tuple(ports))


def costs_of_numbers(planned: PlannedRig, places: Places) -> list[int]:
    """What is wrong with a plan, the worst first. It must be one: no channel of a port, no number is there twice."""
    found = [(one, *places[one.name]) for one in planned.devices]
    own = [(one.port, channel) for one, channel, _ in found if channel is not None]
    numbers = [number for _, _, number in found if number is not None]
    assert len(set(own)) == len(own)
    assert len(set(numbers)) == len(numbers)
    for one, channel, number in found:
        assert channel is None or channel in one.channels
        assert number is None or any(number in planned.sources[source] for source in planned.playing(one.port))
        assert number is None or channel is not None
        assert channel is None or not planned.gives_way(one)
    return [
        sum(channel is None and not (one.hears_all and not planned.gives_way(one)) for one, channel, _ in found),
        sum(channel is None and one.is_drums for one, channel, _ in found),
        sum(number is None for _, _, number in found),
        sum(one.is_drums and channel is not None and number != 10 for one, channel, number in found),
        sum(number is not None and number != channel for _, channel, number in found),
        sum((channel == 10) and not one.is_drums and not one.hears_all for one, channel, _ in found)
        + sum((number == 10) and not one.is_drums for one, _, number in found),
        sum(
            number not in planned.sources[source]
            for one, _, number in found
            if number is not None
            for source in planned.playing(one.port)
        ),
    ]


def costs_of_reach(planned: PlannedRig, places: Places, found: SourceChannels) -> list[int]:
    """What is wrong with the channels of the sources, the worst first; none of them may be there twice."""
    free = free_channels(planned, places)
    pairs = []
    for source, reached in found.items():
        assert len(set(reached.values())) == len(reached)
        for one in planned.devices:
            if one.name in reached:
                assert source in planned.playing(one.port)
                assert reached[one.name] in free[source]
                pairs.append((one, reached[one.name]))
    return [
        -len({one.name for one, _ in pairs}),
        -len(pairs),
        sum(one.is_drums and channel != 10 for one, channel in pairs),
        sum(channel != (places[one.name].number or places[one.name].channel) for one, channel in pairs),
        sum(channel == 10 and not one.is_drums for one, channel in pairs),
    ]


@pytest.mark.parametrize("seed", range(20))
def test_no_plan_is_better(seed: int) -> None:
    """Of 1,000 random rigs (50 for each seed), integer programming finds no plan that costs less, at either stage."""
    chance = random.Random(seed)
    for _ in range(50):
        planned = random_rig(chance)
        places = number_channels(planned)
        exact = {name: Place(*place) for name, place in best_numbers(planned).items()}
        assert costs_of_numbers(planned, places) == costs_of_numbers(planned, exact), planned
        found = channels_by_source(planned, places)
        wanted = {
            one.name: places[one.name].number or places[one.name].channel
            for one in planned.devices
            if places[one.name].channel is not None
            or (one.hears_all and not planned.gives_way(one) and not planned.returns(one.port))
        }
        bound = {one.name for one in planned.devices if one.hears_all and planned.returns(one.port)}
        reach = best_reach(planned, free_channels(planned, places), wanted, bound)
        assert costs_of_reach(planned, places, found) == costs_of_reach(planned, places, reach), planned
