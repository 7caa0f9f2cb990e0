"""`pointsman trace`, from the command line to the story of a message."""

from __future__ import annotations

import pytest

from tests.support.command_shell import END, HEAD, RULES, CommandShell, midi

RIG = b"""
middle_c = "C3"
[ports]
keys = { input = "Keys" }
pads = { input = "Pads" }
rack = { output = "Rack" }
[devices]
organ = { port = "rack", channel = 4 }
[switches]
up   = { from = "keys", controller = "soft pedal", mode = "momentary" }
song = { values = ["verse", "chorus"], set = [{ from = "pads", note = 36, value = "chorus" }] }
key  = { numbers = "-6..6", advance = [{ from = "pads", note = 38, by = 1 }] }
[[rules]]
name  = "keyboard"
from  = "keys"
steps = [{ transpose = 12, when = "up" }, { transpose = "key" }]
to    = "organ"
[[rules]]
name  = "drums"
from  = "pads"
when  = "song = chorus"
to    = "rack"
"""


def arrivals(shell: CommandShell, *arguments: str) -> list[tuple[str, str]]:
    """What arrives of the first message of a trace, and where."""
    shell.put("rig.toml", RIG)
    answer = shell.run("trace", "rig.toml", *arguments, "--json")
    assert (answer.code, answer.err) == (0, "")
    return [(one["port"], one["message"]) for one in answer.data["messages"][0]["arrives"]]


def test_a_message_is_followed_in_words(shell: CommandShell) -> None:
    """The message as it came, the rule that takes it, each step, and where it arrives; notes as in the rule file."""
    shell.put("rig.toml", RIG)
    answer = shell.run("trace", "rig.toml", "--switch", "up=on", "--from", "keys", "note-on", "1", "C3", "100")
    assert (answer.code, answer.err) == (0, "")
    lines = answer.out.splitlines()
    assert lines[0] == "note-on 1 C3 100  (90 3C 64, key 60, 261.6 Hz)  from keys"
    assert lines[1] == '  rule "keyboard": matches'
    assert "note-on 1 C4 100" in lines[2]
    assert lines[-1].endswith("arrives at port rack: note-on 4 C4 100")


def test_what_has_no_key_has_no_pitch(shell: CommandShell) -> None:
    """A controller is told by its bytes alone."""
    shell.put("rig.toml", RIG)
    answer = shell.run("trace", "rig.toml", "--from", "keys", "controller", "1", "volume", "100")
    assert answer.out.splitlines()[0] == "controller 1 volume 100  (B0 07 64)  from keys"


def test_the_wire_is_told_how_busy_it_is(shell: CommandShell) -> None:
    """On a 5-pin wire a note takes 0.96 ms (M1 A-5), and a layer of three takes three times that."""
    layer = RIG.replace(b'output = "Rack"', b'output = "Rack", connection = "din"').replace(
        b'to    = "organ"',
        b'zones = [{ to = "organ" }, { to = "rack" }, { steps = [{ transpose = 12 }], to = "rack" }]',
    )
    shell.put("rig.toml", layer)
    answer = shell.run("trace", "rig.toml", "--from", "keys", "note-on", "1", "C3", "100")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.splitlines()[-1] == "  keeps the DIN connection of rack busy for 2.88 ms"


@pytest.mark.parametrize(
    "words",
    [
        ("note-on", "1", "C3", "100"),
        ("note-on 1 C3 100",),
        ("90", "3C", "64"),
        ("90 3c 64",),
    ],
)
def test_a_message_is_written_in_words_or_hex(shell: CommandShell, words: tuple[str, ...]) -> None:
    """With quotes or without."""
    assert arrivals(shell, "--from", "keys", *words) == [("rack", "note-on 4 C3 100")]


def test_bends_may_be_negative(shell: CommandShell) -> None:
    """A minus is no option."""
    assert arrivals(shell, "--from", "keys", "pitch-bend", "1", "-512") == [("rack", "pitch-bend 4 -512")]


@pytest.mark.parametrize(
    ("switch", "note"),
    [("up", "C4"), ("up=on", "C4"), ("up=off", "C3"), ("up = no", "C3"), ("key=-2", "A#2"), ("key=+1", "C#3")],
)
def test_switches_stand_as_asked(shell: CommandShell, switch: str, note: str) -> None:
    """On and off, and numbers with their sign."""
    assert arrivals(shell, "--switch", switch, "--from", "keys", "note-on 1 C3 100") == [
        ("rack", f"note-on 4 {note} 100")
    ]


def test_switches_with_values(shell: CommandShell) -> None:
    """A rule that waits for a value takes messages when the switch stands there, and none otherwise."""
    assert arrivals(shell, "--from", "pads", "90 3C 64") == []
    assert arrivals(shell, "--from", "pads", "90 3C 64", "--switch", "song=chorus") == [("rack", "note-on 1 C3 100")]


def test_several_messages_are_told_one_after_the_other(shell: CommandShell) -> None:
    """Each has its own story, with an empty line between."""
    shell.put("rig.toml", RIG)
    answer = shell.run("trace", "rig.toml", "--from", "pads", "note-on 1 C3 100", "F8")
    assert "\n\nclock  (F8)  from pads\n" in answer.out


def test_a_start_without_a_clock_source_is_told_with_the_line_to_write(shell: CommandShell) -> None:
    """Two sources play all into one port, so neither's clock goes there: it lacks `clock` (ruling 26)."""
    shell.put("rig.toml", RIG)
    answer = shell.run("trace", "rig.toml", "--from", "pads", "start")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.splitlines()[-1] == (
        '  goes nowhere: the clock of port rack could come from "keys" or "pads": set clock = "pads" on port rack'
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--from", "keys"], "write the message after the port, as in: --from keys note-on 1 C4 100"),
        (["--from", "kyes", "F8"], '--from can be keys, pads - did you mean "keys"?'),
        (["--from", "rack", "F8"], "this port is an output: write one of keys, pads"),
        (["--from", "keys", "note-on", "C3", "100"], "has no channel"),
        (["--from", "keys", "note-on 1 C3 100", "controler 1 7 7"], '"controler" is not a kind of message'),
        (["--from", "keys", "90", "3C"], "has 3 bytes, not 2"),
        (["--switch", "son=3", "--from", "keys", "F8"], 'the switches are up, song, key - did you mean "song"?'),
        (["--switch", "song=chrous", "--from", "keys", "F8"], 'values are verse, chorus - did you mean "chorus"?'),
        (["--switch", "key=9", "--from", "keys", "F8"], "write a number from -6 to 6"),
        (["--switch", "key=+-3", "--from", "keys", "F8"], "write a number from -6 to 6"),
        (["--switch", "up=maybe", "--from", "keys", "F8"], "write on or off"),
    ],
)
def test_what_can_not_be_meant_is_told(shell: CommandShell, arguments: list[str], words: str) -> None:
    """Exit code 2, with what is allowed and the nearest known name."""
    shell.put("rig.toml", RIG)
    answer = shell.run("trace", "rig.toml", *arguments)
    assert (answer.code, answer.out) == (2, "")
    assert words in answer.err
    assert '"pointsman trace --help" shows how to write it.' in answer.err


# -- a moment of a take -----------------------------------------------------------------------------------------------

TWO_BEATS = midi("00 FF 03 05 50 69 61 6E 6F 00 90 3C 64 00 B0 40 7F 60 90 40 64 30 80 3C 40 30 80 40 40 " + END)
"""A track "Piano": C4 for a beat and a half from the first beat, E4 for one from the second, and the pedal."""


@pytest.fixture
def with_take(shell: CommandShell) -> CommandShell:
    """A folder with a take."""
    shell.put("take.mid", TWO_BEATS)
    return shell


def test_a_moment_of_a_take(with_take: CommandShell) -> None:
    """What sounds as the beat begins, what is held, and what each of its messages becomes."""
    answer = with_take.run("trace", "rules.toml", "--take", "take.mid", "--at", "1:2")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == (
        "take.mid, bar 1, beat 2: from 0:00.500 to 0:01.000\n\n"
        "Sounding as it begins:\n"
        '  note C4 on channel 1 of keys, track 1 "Piano", since 1:1.00\n'
        "    sounds as C4 on channel 4 at port rack1\n"
        "Held as it begins:\n"
        '  sustain on channel 1 of keys, track 1 "Piano", since 1:1.00, at rack1\n\n'
        '1:2.00  note-on 1 E4 100  from keys, track 1 "Piano"\n'
        '  rule "to the organ": matches\n'
        "    rechannel to 4: note-on 4 E4 100\n"
        "    note-on 4 E4 100: to rack1\n"
        "      arrives at port rack1: note-on 4 E4 100\n"
        '1:2.50  note-off 1 C4 64  from keys, track 1 "Piano"\n'
        "  ends what its note-on began, whatever the rules are now\n"
        "    arrives at port rack1: note-off 4 C4 64\n"
    )


def test_a_moment_as_data(with_take: CommandShell) -> None:
    """For programs, with times in seconds."""
    data = with_take.run("trace", "rules.toml", "--take", "take.mid", "--at", "1:2", "--json").data
    assert (data["bar"], data["beat"], data["begin"], data["end"], data["switches"]) == (1, 2, 0.5, 1.0, {})
    assert data["held"][0]["sounds"] == [{"port": "rack1", "channel": 4, "note": "C4", "key": 60}]
    assert [(one["what"], one["time"], one["message"]) for one in data["happened"]] == [
        ("arrival", 0.5, "note-on 1 E4 100"),
        ("arrival", 0.75, "note-off 1 C4 64"),
    ]
    assert data["happened"][0]["sent"] == [{"port": "rack1", "message": "note-on 4 E4 100", "bytes": "93 40 64"}]


def test_a_moment_with_switches_and_delays(with_take: CommandShell) -> None:
    """How switches are, what a delay sends later, and that nothing else happens."""
    late = RULES.replace("steps = [{ rechannel = 4 }]", 'steps = [{ delay = { beats = 2 }, when = "up" }]')
    with_take.put("late.toml", (late + '[switches]\nup = { from = "keys", controller = 20 }\n').encode())
    arguments = ("trace", "late.toml", "--take", "take.mid", "--switch", "up=on", "--from", "keys", "--at")
    answer = with_take.run(*arguments, "1:3")
    assert "Nothing sounds as it begins.\n" in answer.out
    assert "\nSwitches as it begins: up on\n" in answer.out
    assert (
        '1:3.00  goes out because of an earlier message of track 1 "Piano":\n'
        "  arrives at port rack1: note-on 1 C4 100\n"
    ) in answer.out
    assert with_take.run(*arguments, "1:4").code == 0, "what is delayed comes after the end"
    assert "--at 9:1: the take ends in bar 1\n" in with_take.run(*arguments, "9:1").err


def test_a_take_may_end_with_a_bar(with_take: CommandShell) -> None:
    """Where the next bar would begin it ends, so there is no next bar."""
    with_take.put("whole.mid", midi("00 90 3C 64 83 00 80 3C 40 00 " + END[3:]))
    arguments = ("trace", "rules.toml", "--take", "whole.mid", "--at")
    assert "note-off 1 C4 64" in with_take.run(*arguments, "2:1").out
    assert "--at 2:2: the take ends in bar 1\n" in with_take.run(*arguments, "2:2").err


def test_a_beat_in_which_nothing_happens(with_take: CommandShell) -> None:
    """It is said, where the take goes on."""
    with_take.put("rest.mid", midi("00 90 3C 64 60 80 3C 40 83 00 " + END[3:]))
    answer = with_take.run("trace", "rules.toml", "--take", "rest.mid", "--at", "1:3")
    assert answer.out.endswith("\nNothing arrives or goes out in this beat.\n")


def test_a_moment_fits_the_terminal(with_take: CommandShell) -> None:
    """Long names and stories go on in the next line."""
    long = RULES.replace("to the organ", "the very long name of a rule that nobody would ever write on a stage")
    with_take.put("long.toml", long.encode())
    answer = with_take.run("trace", "long.toml", "--take", "take.mid", "--at", "1:1")
    assert "nobody" in answer.out
    assert max(map(len, answer.out.splitlines())) <= 80


def test_of_a_crowded_moment_the_first_are_shown(with_take: CommandShell) -> None:
    """How many there are more is said."""
    with_take.put("dense.mid", midi("00 B0 01 05 " * 100 + END))
    answer = with_take.run("trace", "rules.toml", "--take", "dense.mid", "--at", "1:1")
    assert answer.out.endswith("\n... and 40 more (--json lists all)\n")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--take", "take.mid"], "write rule files, a take and a beat"),
        (["--at", "1:1"], "write rule files, a take and a beat"),
        (["--take", "take.mid", "--at", "1:5"], "--at 1:5: there is no beat 5 in bar 1: it has 4 beats"),
        (["--take", "take.mid", "--at", "0:1"], "--at 0:1: bars count from 1"),
        (["--take", "take.mid", "--at", "2:1"], "--at 2:1: the take ends in bar 1"),
        (
            ["--take", "take.mid", "--at", "1:1", "--from", "keys", "note-on", "1", "C4", "90"],
            "messages don't go with --take: write only the port behind --from, or leave out --take and --at",
        ),
        (
            ["--take", "take.mid", "--at", "1:1", "--from", "keys", "90 3C 64"],
            "messages don't go with --take: write only the port behind --from, or leave out --take and --at",
        ),
        (
            ["--take", "take.mid", "--at", "1:1", "--from", "#9=keys"],
            'there is no track "#9": write one of #1 "Piano"',
        ),
        (["--take", "take.mid", "--at", "noon"], '"noon" is not a beat: write bar and beat, as in 12:3'),
        (["--take", "none.mid", "--at", "1:1"], "none.mid: the recording can't be read"),
        (["--take", "rules.toml", "--at", "1:1"], "rules.toml: byte 0: not a Standard MIDI File"),
        (["--take", "frames.mid", "--at", "1:1"], "frames.mid counts its time in frames, so it has no bars"),
        (["--take", "take.mid", "--at", "1:1", "--last"], "--last looks at the running daemon"),
        (["--from", "keys", "note-on 1 C4 9", "--from", "keys", "note-on 1 C4 9"], "write --from once"),
    ],
)
def test_moments_that_cannot_be_explained(with_take: CommandShell, arguments: list[str], words: str) -> None:
    """It is said what to write."""
    with_take.put("frames.mid", midi(END, head=HEAD[:-5] + "E7 28"))
    answer = with_take.run("trace", "rules.toml", *arguments)
    assert (answer.code, words in answer.err) == (2, True), answer.err


@pytest.mark.parametrize(
    "more", [["rules.toml"], ["--from", "keys", "clock"], ["--switch", "up"], ["--take", "take.mid"]], ids=str
)
def test_what_just_happened_goes_with_no_rules_or_messages(shell: CommandShell, more: list[str]) -> None:
    """The daemon has its own: each that is written is refused, with what to write."""
    answer = shell.run("trace", "--last", "5s", *more)
    assert (answer.code, answer.err.count("write only trace --last TIME")) == (2, 1), answer.err


@pytest.mark.parametrize("arguments", [[], ["rules.toml"], ["--from", "keys", "clock"]], ids=str)
def test_rules_and_a_message_are_needed(shell: CommandShell, arguments: list[str]) -> None:
    """Where one of them is missing, it is said how to write both."""
    answer = shell.run("trace", *arguments)
    assert (answer.code, "write rule files and a message, as in: trace pit.toml" in answer.err) == (2, True), answer.err
