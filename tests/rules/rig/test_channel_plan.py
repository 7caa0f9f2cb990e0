"""The plan of a rig: what can be played alone, what can't and why, and the change that helps."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from rules.rig.channel_plan import ChannelPlan, PlannedChannel, Unseparated, plan_channels
from rules.rig.channel_sheet import SheetRow, channel_sheet, to_be_set
from rules.rig.planned_rig import ALL_CHANNELS, PlannedDevice, PlannedRig, planned_rig
from rules.rulefile.reading import read_rules

PORTS = """
[ports]
seq = "Cue Sequencer*"
keys = { input = "Pit Keyboard*", channels = [1] }
rack1 = "Pit Interface*1"
rack2 = { output = "Pit Interface*2" }
screen = { output = true, virtual = true }
[devices]
"""


def plan_of(devices: str, *sources: str) -> ChannelPlan:
    """The plan for some lines of `[devices]`."""
    return plan_channels(planned_rig(read_rules([("rig.toml", (PORTS + devices).encode())]), sources))


def only_trouble(plan: ChannelPlan) -> Unseparated:
    """The one instrument that can't be played alone."""
    (one,) = plan.unseparated
    return one


def test_all_inputs_are_planned_for() -> None:
    """A two-way port with instruments is a cable, not a keyboard, unless it says what it can send."""
    plan = plan_of('organ = { port = "rack1", channel = 4 }\nbell = { port = "rack2", channel = 4 }')
    assert plan.rig.sources == {"seq": ALL_CHANNELS, "keys": frozenset({1})}
    assert plan.rig.outputs == ("seq", "rack1", "rack2")


def test_the_sheet_is_in_the_order_of_channels() -> None:
    """It says what to send from where, and which channel a device is on; what the plan chose is to be set."""
    plan = plan_of(
        'organ = { port = "rack1", channel = 4 }\nbell = { port = "rack2", channel = 4 }\n'
        'pad = { port = "rack1", channels = "1..16" }\n'
    )
    sheet = channel_sheet(plan)
    assert sheet.sources == ("seq", "keys")
    assert sheet.rows == (
        SheetRow(("1", "1"), "pad", "1", "rack1"),
        SheetRow(("2", "-"), "bell", "4", "rack2"),
        SheetRow(("4", "-"), "organ", "4", "rack1"),
    )
    assert channel_sheet(plan).notes == (to_be_set(plan),) == ("Set on the devices: pad to channel 1.",)


def test_a_device_that_listens_on_all_channels_says_so() -> None:
    """It has no channel of its own, and none is to be set."""
    plan = plan_of('loud = { port = "rack1" }')
    assert channel_sheet(plan).rows == (SheetRow(("1", "1"), "loud", "all", "rack1"),)
    assert (to_be_set(plan), channel_sheet(plan).notes) == ("", ())


def test_two_on_one_channel_of_one_port() -> None:
    """One of them is connected elsewhere, or set to another channel that nothing else has."""
    one = only_trouble(plan_of('organ = { port = "rack1", channel = 4 }\nbell = { port = "rack1", channel = 4 }'))
    assert one.device.name == "bell"
    assert one.reason == 'it needs channel 4 of port "rack1", and so does "organ": both sound at once'
    assert one.changes == ('connect it to port "rack2"', "set it to channel 1")


def test_too_few_channels_for_a_group() -> None:
    """All that are in the way are named, but no instrument that could move aside."""
    one = only_trouble(
        plan_of(
            'a = { port = "rack1", channels = "1..2" }\nb = { port = "rack1", channels = [2, 3] }\n'
            'c = { port = "rack1", channels = [1, 3] }\nd = { port = "rack1", channels = [1, 2] }\n'
            'e = { port = "rack1", channels = [4, 5] }\nf = { port = "rack2", channel = 1 }\n'
        )
    )
    assert one.device.name == "d"
    assert (
        one.reason
        == 'it needs channels 1 and 2 of port "rack1", and so do "a", "b" and "c": it sounds with one of them'
    )
    assert one.changes == ('connect it to port "rack2"', "set it to channel 6")


def test_one_that_listens_on_all_channels_among_others() -> None:
    """It gives way: what goes to the others sounds on it too."""
    one = only_trouble(plan_of('loud = { port = "rack1" }\norgan = { port = "rack1", channel = 4 }'))
    assert one.device.name == "loud"
    assert one.reason == 'it listens on all channels, so it also plays what goes to "organ" at port "rack1"'
    assert one.changes == ('connect it to port "rack2"', "set it to channel 1")


def test_where_every_output_is_taken_a_new_one_helps() -> None:
    """No port that is there would do."""
    stuck = "".join(f'd{n} = {{ port = "rack{1 + n % 2}", channel = 4 }}\n' for n in range(3))
    assert only_trouble(plan_of(stuck)).changes == ("connect it to an output of its own", "set it to channel 2")


def test_more_instruments_than_channels() -> None:
    """A source could send on one more, or one more input is needed."""
    two = 'organ = { port = "rack1", channel = 4 }\nbell = { port = "rack2", channel = 5 }'
    one = only_trouble(plan_of(two, "keys"))
    assert (one.device.name, one.reason) == ("bell", "no source has a channel left")
    assert one.changes == ('let "keys" send on channel 2 as well',)
    wide = "".join(f'd{n} = {{ port = "rack{1 + n % 2}", channels = "1..16" }}\n' for n in range(17))
    assert only_trouble(plan_of(wide, "seq")).changes == ("play it from another input",)


def test_what_would_go_round() -> None:
    """A source never plays what comes back to it."""
    organ = 'organ = { port = "rack1", channel = 4, returns = "seq" }\n'
    one = only_trouble(plan_of(organ, "seq"))
    assert one.reason == 'what "seq" sends to port "rack1" would come back, and go round'
    assert one.changes == ('unplug the cable back to "seq"', "play it from another input")
    bell = plan_of(organ + 'bell = { port = "rack1", channel = 5 }\n', "seq").unseparated[1]
    assert bell.changes == (
        'unplug the cable back to "seq"',
        'connect it to port "rack2"',
        "play it from another input",
    )
    one = only_trouble(plan_of('piano = { port = "seq", channel = 1 }', "seq"))
    assert one.reason == '"seq" is the only input, and what is in the same box is left to itself'


def test_where_no_single_change_helps() -> None:
    """Two modules on one channel and one cable, and a keyboard with one channel: it takes two changes."""
    plan = plan_of('organ = { port = "rack1", channel = 4 }\nbell = { port = "rack1", channel = 4 }', "keys")
    assert only_trouble(plan).changes == ()


def changed(rig: PlannedRig, one: Unseparated, change: str) -> PlannedRig:
    """The rig after a change, as a player would make it who reads the words."""
    words = change.replace('"', "").split()
    match words:
        case ["connect", "it", "to", "port", port]:
            return rig.with_device(replace(one.device, port=port))
        case ["connect", "it", "to", "an", "output", "of", "its", "own"]:
            return rig.with_device(replace(one.device, port="new output"))
        case ["set", "it", "to", "channel", channel]:
            return rig.with_device(replace(one.device, channels=frozenset({int(channel)}), hears_all=False))
        case ["let", source, "send", "on", "channel", channel, "as", "well"]:
            return rig.with_source(source, rig.sources[source] | {int(channel)})
    assert change == "play it from another input"
    return rig.with_source("new input", ALL_CHANNELS)


@pytest.mark.parametrize("seed", range(40))
def test_every_change_is_enough(seed: int) -> None:
    """After it the instrument can be played alone, and so can all that could before, if nothing else is there."""
    chance = random.Random(seed)
    devices = tuple(
        PlannedDevice(f"d{n}", f"rack{chance.randint(1, 3)}", frozenset(chance.sample([1, 2, 3], chance.randint(1, 2))))
        for n in range(6)
    )
    sources = {"seq": frozenset(chance.sample([1, 2, 3, 4], chance.randint(1, 4))), "keys": frozenset({1})}
    rig = PlannedRig(sources, devices, ("rack1", "rack2", "rack3"))
    plan = plan_channels(rig)
    assert len(plan.channels) + len(plan.unseparated) == 6
    for one in plan.unseparated:
        for change in one.changes:
            others = [left.device for left in plan.unseparated if left is not one]
            alone = replace(rig, devices=tuple(device for device in devices if device not in others))
            after = plan_channels(changed(alone, one, change))
            assert len(after.channels) == len(plan.channels) + 1, change


def test_every_instrument_is_alone_on_its_way() -> None:
    """On the channel of a source there is one instrument, on the channel of a port too."""
    plan = plan_of("".join(f'd{n} = {{ port = "rack{1 + n % 2}", channels = "1..16" }}\n' for n in range(16)))
    ways = [(source, channel) for one in plan.channels for source, channel in one.by_source.items()]
    assert len(set(ways)) == len(ways) == 17
    assert len({(one.device.port, one.channel) for one in plan.channels}) == 16
    assert all(isinstance(one, PlannedChannel) and one.is_chosen for one in plan.channels)
