"""What a sound check plays: one note for each device, as the device will get it."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings

from rules.listening.soundcheck import VELOCITY, DeviceCheck, plan
from rules.rulefile.reading import read_rules
from tests.support.rule_strategies import rule_files, toml_of

HEAD = '[ports]\nrack = { output = "Rack" }\nkeys = { input = "Keys" }\n[devices]\n'


def checks(devices: str) -> dict[str, DeviceCheck]:
    """The checks of these devices, by name."""
    found = plan(read_rules([("rig.toml", (HEAD + devices).encode())])).checks
    return {check.device: check for check in found}


def test_a_note_in_the_middle_on_the_channel_of_the_device() -> None:
    """Middle C where the device doesn't say what it can play, else the middle of that; always soft."""
    found = checks(
        'organ = { port = "rack", channel = 4 }\n'
        'tuba = { port = "rack", channel = 5, notes = "E1..E4" }\n'
        'any = { port = "rack" }\n'
    )
    assert [check.sounds for check in found.values()] == [
        bytes((0x93, 60, VELOCITY)),
        bytes((0x94, 46, VELOCITY)),
        bytes((0x90, 60, VELOCITY)),
    ]


def test_drums_get_a_drum() -> None:
    """The acoustic snare, 38 (General MIDI Level 1, RP-003, percussion key map), or a key that is there."""
    found = checks('kit = { port = "rack", channel = 10 }\npads = { port = "rack", channel = 10, notes = "60..64" }\n')
    assert found["kit"].sounds == bytes((0x99, 38, VELOCITY))
    assert found["pads"].sounds == bytes((0x99, 62, VELOCITY))


def test_the_steps_of_the_device_apply() -> None:
    """What is told is what the instrument gets, also if it comes late, or never."""
    found = checks(
        'low = { port = "rack", channel = 1, steps = [{ transpose = -12 }] }\n'
        'late = { port = "rack", channel = 2, steps = [{ delay = 40 }] }\n'
        'mute = { port = "rack", channel = 3, steps = [{ filter = { drop = { kind = "note" } } }] }\n'
    )
    assert found["low"].sounds == bytes((0x90, 48, VELOCITY))
    assert found["late"].sounds == bytes((0x91, 60, VELOCITY))
    assert found["mute"].sounds is None


def test_nothing_but_the_notes_is_left_of_the_rules() -> None:
    """The rules of the evening and what switches send have no part in it."""
    planned = plan(
        read_rules(
            [("rig.toml", (HEAD + 'organ = { port = "rack" }\n[[rules]]\nfrom = "keys"\nto = "organ"\n').encode())]
        )
    )
    assert [rule.source for rule in planned.ruleset.rules] == [("1 organ",)]


@settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])
@given(rule_files())
def test_every_rig_can_be_checked(files: list[dict[str, object]]) -> None:
    """Each device has its turn, in the order of the file, on its own port."""
    ruleset = read_rules([("rig.toml", toml_of(files[0]).encode())])
    planned = plan(ruleset)
    assert [(check.device, check.port) for check in planned.checks] == [
        (name, device.port) for name, device in ruleset.devices.items()
    ]
