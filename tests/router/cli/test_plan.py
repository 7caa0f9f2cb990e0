"""`pointsman plan`, from the command line to the files."""

from __future__ import annotations

import pytest

from tests.support.command_shell import CommandShell
from tests.support.svg_pictures import faults, texts

RIG = b"""
[ports]
seq = { input = "Cue Sequencer*" }
keys = { input = "Pit Keyboard*", channels = 2 }
rack1 = { output = "Pit Interface*1" }
rack2 = { output = "Pit Interface*2" }
[devices]
organ = { port = "rack1", channel = 3 }
bell = { port = "rack2", channel = 3 }
pad = { port = "rack1", channels = "1..16" }
"""
STUCK = RIG + b'choir = { port = "rack1", channel = 3 }\n'


@pytest.fixture
def rig(shell: CommandShell) -> CommandShell:
    """A folder with a rig that can be planned, and one in which two devices are stuck on one channel."""
    shell.put("rig.toml", RIG)
    shell.put("stuck.toml", STUCK)
    return shell


def test_the_sheet_is_printed(rig: CommandShell) -> None:
    """Which channel plays which device, and what is to be set; nothing is written."""
    before = rig.files()
    answer = rig.run("plan", "rig.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == (
        "Send on this channel to play the device:\n\n"
        "  seq  keys  device  is on  port\n"
        "    1     -  pad         1  rack1\n"
        "    2     2  bell        3  rack2\n"
        "    3     -  organ       3  rack1\n\n"
        "Set on the devices: pad to channel 1.\n"
    )
    assert rig.files() == before


def test_the_plan_passes_check(rig: CommandShell) -> None:
    """Without a finding; and it plays as it says."""
    answer = rig.run("plan", "rig.toml", "-o", "gig.toml")
    assert answer.out.endswith("\ngig.toml written: 2 rules for 3 devices\n")
    checked = rig.run("check", "gig.toml", "--json")
    assert (checked.code, checked.data["findings"], len(checked.data["tests"])) == (0, [], 4)
    traced = rig.run("trace", "gig.toml", "--from", "keys", "note-on 2 C4 90", "--json")
    assert [arrival["message"] for arrival in traced.data["messages"][0]["arrives"]] == ["note-on 3 C4 90"]


def test_what_cannot_be_played_alone(rig: CommandShell) -> None:
    """It is reported with what would help, it is left out of the rules, and the exit code is 1."""
    answer = rig.run("plan", "stuck.toml", "-o", "gig.toml")
    assert answer.code == 1
    assert (
        "\n1 device is left out:\n"
        '  choir: it needs channel 3 of port "rack1", and so does "organ": both sound at\n'
        "    once.\n"
        "    One change is enough: connect it to an output of its own, or set it to\n"
        "    channel 4.\n"
    ) in answer.out
    text = rig.files()["gig.toml"].decode()
    assert text.startswith(
        "# A plan of channels, made by `pointsman plan` from stuck.toml.\n# Left out: choir: it needs "
    )
    assert "[devices.choir]" not in text
    assert rig.run("check", "gig.toml").code == 0


def test_the_sheet_is_written_as_a_picture_or_as_text(rig: CommandShell) -> None:
    """By the end of its name."""
    answer = rig.run("plan", "rig.toml", "--sheet", "wall.svg")
    assert answer.out.endswith("\nwall.svg written: the channel sheet\n")
    picture = rig.files()["wall.svg"].decode()
    assert faults(picture) == []
    assert {"seq", "keys", "organ", "pad", "rack2"} <= {box.text for box in texts(picture)}
    printed = rig.run("plan", "rig.toml", "--sheet", "wall.txt").out
    assert printed.startswith(rig.files()["wall.txt"].decode())


def test_files_are_replaced_only_when_asked(rig: CommandShell) -> None:
    """Neither of them is written if one is there already."""
    rig.put("wall.txt", b"mine")
    answer = rig.run("plan", "rig.toml", "-o", "gig.toml", "--sheet", "wall.txt")
    assert (answer.code, "wall.txt exists already" in answer.err) == (2, True)
    assert "gig.toml" not in rig.files()
    assert rig.run("plan", "rig.toml", "-o", "gig.toml", "--sheet", "wall.txt", "--force").code == 0
    assert rig.files()["wall.txt"] != b"mine"


def test_the_plan_as_data(rig: CommandShell) -> None:
    """For programs: each device with its channels, and each that can't be played alone."""
    data = rig.run("plan", "stuck.toml", "--json").data
    assert (data["ok"], data["sources"], data["out"]) == (False, ["seq", "keys"], None)
    assert data["devices"][0] == {
        "device": "pad",
        "port": "rack1",
        "channel": 1,
        "set": True,
        "sends": {"seq": 1},
    }
    assert [one["device"] for one in data["unseparated"]] == ["choir"]
    assert data["unseparated"][0]["changes"] == ["connect it to an output of its own", "set it to channel 4"]


def test_an_input_can_be_chosen(rig: CommandShell) -> None:
    """Then only what it plays is planned."""
    answer = rig.run("plan", "rig.toml", "--from", "keys")
    assert answer.out.splitlines()[2:4] == ["  keys  device  is on  port", "     2  pad         2  rack1"]
    assert answer.code == 1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["rules.toml"], "there is no device to plan for: write your instruments under [devices]"),
        (["outputs.toml"], "there is no input to play from"),
        (["rig.toml", "--from", "rack1"], "--from rack1: this port is an output"),
        (["rig.toml", "--sheet", "wall.pdf"], "--sheet wall.pdf: end the name in .svg or .txt"),
        (["rig.toml", "-o", "take.mid"], "-o take.mid: the plan is a rule file: end the name in .toml"),
    ],
)
def test_what_cannot_be_planned(rig: CommandShell, arguments: list[str], words: str) -> None:
    """It is said what to write."""
    rig.put("outputs.toml", b'[ports]\nrack = { output = "R" }\n[devices]\norgan = { port = "rack", channel = 1 }\n')
    answer = rig.run("plan", *arguments)
    assert (answer.code, words in answer.err) == (2, True), answer.err


def test_text_fits_80_columns(rig: CommandShell) -> None:
    """Long names are shortened in their middle."""
    long = "a device with a name that is far too long for the line of a terminal"
    rig.put("long.toml", STUCK + f'"{long}" = {{ port = "rack2", channel = 3 }}\n'.encode())
    answer = rig.run("plan", "long.toml")
    assert max(map(len, answer.out.splitlines())) <= 80


def test_devices_with_the_same_trouble_share_their_lines(rig: CommandShell) -> None:
    """Each would be helped by the same change."""
    two = b'[ports]\nkeys = { input = "K*", channels = 1 }\nrack = "R*"\n[devices]\n'
    rig.put("two.toml", two + b"".join(b'd%d = { port = "rack", channel = %d }\n' % (n, n) for n in (1, 2, 3)))
    answer = rig.run("plan", "two.toml")
    assert answer.out.endswith(
        "\n2 devices are left out:\n"
        "  d2, d3: no source has a channel left.\n"
        '    One change is enough for each: let "keys" send on channel 2 as well.\n'
    )


def test_the_rules_that_are_planned_are_never_replaced(rig: CommandShell) -> None:
    """Not even with --force, nor under another name of theirs."""
    (rig.folder / "link.toml").symlink_to("rig.toml")
    for name in ("rig.toml", "./rig.toml", "link.toml"):
        answer = rig.run("plan", "rig.toml", "-o", name, "--force")
        assert (answer.code, "is what the command reads: write to another name" in answer.err) == (2, True)
    assert rig.files()["rig.toml"] == RIG


def test_files_get_the_permissions_of_any_new_file(rig: CommandShell) -> None:
    """They are no programs, though the folder that they are in can be entered."""
    rig.put("any.txt", b"")
    assert rig.run("plan", "rig.toml", "-o", "gig.toml", "--sheet", "wall.svg").code == 0
    modes = {(rig.folder / name).stat().st_mode for name in ("any.txt", "gig.toml", "wall.svg")}
    assert len(modes) == 1


def test_a_rig_with_many_inputs_is_listed_by_device(rig: CommandShell) -> None:
    """A table of them is wider than 80 columns."""
    inputs = [f"input number {number}" for number in range(1, 6)]
    ports = "".join(f'"{name}" = {{ input = "{name}*", channels = "1..16" }}\n' for name in inputs)
    modules = "".join(f'"module number {n}" = {{ port = "cable number 1", channel = {n} }}\n' for n in range(1, 4))
    rig.put("wide.toml", f'[ports]\n{ports}"cable number 1" = {{ output = "R*" }}\n[devices]\n{modules}'.encode())
    answer = rig.run("plan", "wide.toml")
    assert max(map(len, answer.out.splitlines())) <= 80
    assert answer.out.startswith(
        "Send on this channel to play the device:\n\n"
        "  module number 1, on channel 1 of cable number 1:\n"
        "    1 from input number 1, 1 from input number 2, 1 from input number 3, 1 from\n"
        "    input number 4, 1 from input number 5\n"
        "  module number 2, on channel 2"
    )


def test_the_sheets_say_what_is_left_out(rig: CommandShell) -> None:
    """The text is the one on the terminal; the picture names the devices."""
    answer = rig.run("plan", "stuck.toml", "--sheet", "wall.txt")
    assert answer.out == rig.files()["wall.txt"].decode() + "\nwall.txt written: the channel sheet\n"
    rig.run("plan", "stuck.toml", "--sheet", "wall.svg")
    shown = {box.text for box in texts(rig.files()["wall.svg"].decode())}
    assert "Set on the devices: pad to channel 1." in shown
    assert "Left out, because they can't be played alone: choir." in shown
