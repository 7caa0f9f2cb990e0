"""`pointsman check`, from the command line to the findings."""

from __future__ import annotations

import pytest

from tests.support.command_shell import RULES, TAKE, CommandShell, midi

TESTED = (
    RULES
    + """
[[tests]]
name   = "channel 1 plays the organ"
from   = "keys"
play   = "note-on 1 C4 100"
expect = { rack1 = "note-on 4 C4 100" }

[[tests]]
name   = "nothing else is heard"
from   = "keys"
play   = "note-on 2 C4 100"
expect = {}
"""
)
FAILING = (
    TESTED
    + """
[[tests]]
name   = "drums sound twice"
from   = "keys"
play   = "note-on 10 C2 100"
expect = { rack2 = ["note-on 10 C2 100", "note-on 10 C2 100"] }
"""
)


def test_rules_without_fault_are_counted(shell: CommandShell) -> None:
    """How many ports and rules there are, and that there is no test yet."""
    answer = shell.run("check", "rules.toml")
    assert (answer.code, answer.err) == (0, "")
    first, *_, last = answer.out.splitlines()
    assert first == "rules.toml: 3 ports, 2 rules; no mistakes found"
    assert last == "There are no tests: write [[tests]] in a rule file, and check runs them."


def test_tests_that_pass(shell: CommandShell) -> None:
    """Tests in the rule file are run, and counted."""
    shell.put("tested.toml", TESTED.encode())
    answer = shell.run("check", "tested.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.splitlines()[0] == "tested.toml: 3 ports, 2 rules, 2 tests; no mistakes found"
    assert answer.out.splitlines()[-1] == "All 2 tests passed."


def test_a_test_that_fails_says_what_came_instead(shell: CommandShell) -> None:
    """Its line and name, what was expected and what came; exit code 1."""
    shell.put("failing.toml", FAILING.encode())
    answer = shell.run("check", "failing.toml")
    assert (answer.code, answer.err) == (1, "")
    _, _, told = answer.out.partition("1 of 3 tests failed:\n")
    fault = " ".join(told.split())
    line = FAILING.splitlines().index('expect = { rack2 = ["note-on 10 C2 100", "note-on 10 C2 100"] }') + 1
    assert fault.startswith(f'failing.toml:{line}: test "drums sound twice": ')
    assert "expected note-on 10 C2 100, note-on 10 C2 100, but got note-on 10 C2 100" in fault


ODD = RULES.replace("rechannel = 4", "transpose = 12").replace("match = { channel = 1 }", "")


def test_doubts_are_no_faults(shell: CommandShell) -> None:
    """What is odd is told with what to do, and the exit code is 0 all the same."""
    shell.put("odd.toml", ODD.encode())
    answer = shell.run("check", "odd.toml")
    assert answer.code == 0
    lines = answer.out.splitlines()
    assert lines[2:6] == [
        "Worth a second look:",
        '  odd.toml:11: rule "to the organ", step 1 (transpose): drums moved',
        "    Channel 10 (usually drums) is transposed too.",
        "    Write `except_channels = 10`, or `except_channels = []` if it is meant.",
    ]
    assert '  accept = { "drums moved" = "your reason" }' in lines


def test_mistakes_are_faults(shell: CommandShell) -> None:
    """They come first and are counted; exit code 1."""
    shell.put("wrong.toml", (ODD + "steps = [{ filter = { keep = { channel = 11 } } }]\n").encode())
    answer = shell.run("check", "wrong.toml")
    assert (answer.code, answer.err) == (1, "")
    lines = answer.out.splitlines()
    assert lines[0] == "wrong.toml: 3 ports, 2 rules; 1 mistake found"
    assert lines[2:6] == [
        "Mistakes:",
        '  wrong.toml:14: rule "to the kit": all lost',
        "    Everything that this rule matches is dropped before it arrives.",
        "    Example: note-on 10 C4 100 from keys",
    ]
    assert not shell.run("check", "wrong.toml", "--json").data["ok"]


def test_what_is_printed_fits_80_columns(shell: CommandShell) -> None:
    """Findings, tests that fail, and the load of a take, whatever the names."""
    names = ODD.replace('"to the organ"', '"from the keys to the organ in the back of the pit"')
    shell.put("odd.toml", names.replace('"Rack 1" }', '"Rack 1", connection = "din" }').encode())
    shell.put("take.mid", TAKE)
    shell.put("failing.toml", FAILING.encode())
    printed = shell.run("check", "odd.toml", "--take", "take.mid").out + shell.run("check", "failing.toml").out
    for line in printed.splitlines():
        assert len(line) <= 80


DIN = RULES.replace('"Rack 1" }', '"Rack 1", connection = "din" }')
CHORD = midi("00 90 3C 64 00 90 40 64 00 90 43 64 60 80 3C 40 00 80 40 40 00 80 43 40 00 FF 2F 00")


def test_the_load_of_a_take(shell: CommandShell) -> None:
    """Each DIN connection, the worst moment by bar and by time, the message that is late, and a plot."""
    shell.put("din.toml", DIN.encode())
    shell.put("take.mid", CHORD)
    answer = shell.run("check", "din.toml", "--take", "take.mid")
    assert (answer.code, answer.err) == (0, "")
    lines = answer.out.splitlines()
    at = lines.index("rack1 (DIN): 6 messages, 18 bytes")
    assert lines[at + 1 : at + 4] == [
        "  Busiest second: 1 % of what it can carry, from 0:00.000",
        "  Worst moment: bar 1, beat 1, at 0:00.000",
        "    note-on 4 G4 100 is 1.9 ms late.",
    ]
    assert lines[at + 4].startswith("     35 % |#") or "% |#" in lines[at + 4]
    assert any(line.startswith("    late |") for line in lines)


def test_the_load_of_a_take_as_data(shell: CommandShell) -> None:
    """The same, with the columns of the plot."""
    shell.put("din.toml", DIN.encode())
    shell.put("take.mid", CHORD)
    (load,) = shell.run("check", "din.toml", "--take", "take.mid", "--json").data["take"]
    assert (load["port"], load["messages"], load["bytes"]) == ("rack1", 6, 18)
    assert load["worst"] == {
        "message": "note-on 4 G4 100",
        "bytes": "93 43 64",
        "late_ms": 1.92,
        "seconds": 0.0,
        "bar": 1,
        "beat": 1,
        "track": 1,
    }
    assert max(load["columns"]["late_ms"]) == 1.92
    assert len(load["columns"]["load"]) == 60


def test_a_take_without_a_din_connection(shell: CommandShell) -> None:
    """It says which setting is missing; data is an empty list."""
    shell.put("take.mid", TAKE)
    answer = shell.run("check", "rules.toml", "--take", "take.mid")
    assert (
        answer.out.splitlines()[-1]
        == 'No output is a DIN connection: write connection = "din" on the port that is one.'
    )
    assert shell.run("check", "rules.toml", "--take", "take.mid", "--json").data["take"] == []
    shell.put("silent.toml", DIN.replace("channel = 1 ", "channel = 5 ").encode())
    answer = shell.run("check", "silent.toml", "--take", "take.mid")
    assert answer.out.splitlines()[-1] == "rack1 (DIN): the take sends nothing here."


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--take", "missing.mid"), "missing.mid: the recording can't be read: there is no such file or folder"),
        (("--from", "keys"), "--from says as which port a take plays: write --take FILE.mid too"),
        (("--take", "take.mid", "--from", "#9=keys"), 'there is no track "#9": write one of #1'),
        (("--take", "take.mid", "--from", "kyes"), 'there is no input port named "kyes"'),
        (("--take", "rules.toml"), "byte 0: not a Standard MIDI File"),
    ],
)
def test_a_take_that_can_not_be_used(shell: CommandShell, arguments: tuple[str, ...], words: str) -> None:
    """It says what is wrong; exit code 2."""
    shell.put("take.mid", TAKE)
    answer = shell.run("check", "rules.toml", *arguments)
    assert answer.code == 2
    assert words in answer.err


def test_all_faults_are_told_at_once(shell: CommandShell) -> None:
    """Every mistake of every file, each with its line; exit code 2."""
    shell.put("a.toml", RULES.replace("rechannel", "rechanel").encode())
    shell.put("b.toml", b'[[rules]]\nfrom = "kyes"\nto = "rack1"\n')
    answer = shell.run("check", "a.toml", "b.toml")
    assert (answer.code, answer.out) == (2, "")
    first, second, last = answer.err.splitlines()
    assert first.startswith('a.toml:11: rule "to the organ", step 1')
    assert second.startswith("b.toml:2: rule 3")
    assert 'did you mean "keys"?' in second
    assert last == "2 problems in the rule files. Nothing was done."


def test_a_folder_of_rule_files_is_one_set(shell: CommandShell) -> None:
    """Files of a folder add up."""
    shell.put("rig/1-ports.toml", b'[ports]\nkeys = { input = "Keys" }\nrack = { output = "Rack" }\n')
    shell.put("rig/2-rules.toml", b'[[rules]]\nfrom = "keys"\nto = "rack"\n')
    answer = shell.run("check", "rig")
    assert answer.code == 0
    assert answer.out.startswith("rig/1-ports.toml, rig/2-rules.toml: 2 ports, 1 rule; no mistakes found\n")


def test_files_without_rules_are_said_to_play_nothing(shell: CommandShell) -> None:
    """An editor has emptied the file, or it is another one."""
    shell.put("empty.toml", b"")
    answer = shell.run("check", "empty.toml")
    assert answer.code == 0
    assert answer.out.splitlines()[:2] == [
        "empty.toml: 0 rules; no mistakes found",
        "There are no rules: nothing that is played goes anywhere.",
    ]


def test_songs_are_counted_and_not_their_switch(shell: CommandShell) -> None:
    """Nobody wrote that one."""
    songs = '[[songs]]\nname = "Tide"\n[[songs]]\nname = "Ebb"\n'
    shell.put("gig.toml", f'{RULES}[switches]\nup = {{ from = "keys", controller = 66 }}\n{songs}'.encode())
    answer = shell.run("check", "gig.toml")
    assert answer.out.startswith("gig.toml: 3 ports, 1 switch, 2 songs, 2 rules; ")
    counts = shell.run("check", "gig.toml", "--json").data["counts"]
    assert (counts["switches"], counts["songs"]) == (1, 2)


def test_the_findings_as_data(shell: CommandShell) -> None:
    """--json has the same: counts, hints, and each test with its place and faults."""
    shell.put("failing.toml", FAILING.encode())
    answer = shell.run("check", "failing.toml", "--json")
    assert (answer.code, answer.err) == (1, "")
    data = answer.data
    assert (data["command"], data["ok"], data["files"]) == ("check", False, ["failing.toml"])
    assert data["counts"] == {
        "ports": 3,
        "devices": 0,
        "switches": 0,
        "songs": 0,
        "rules": 2,
        "tests": 3,
        "promises": 0,
    }
    assert [test["passed"] for test in data["tests"]] == [True, True, False]
    assert data["tests"][2]["faults"][0]["file"] == "failing.toml"
    assert data["findings"] == []


def test_rule_files_that_can_not_be_used_as_data(shell: CommandShell) -> None:
    """--json is data then too, with every problem."""
    shell.put("a.toml", RULES.replace("rechannel", "rechanel").encode())
    answer = shell.run("check", "a.toml", "--json")
    assert (answer.code, answer.err) == (2, "")
    assert (answer.data["command"], answer.data["ok"]) == ("check", False)
    assert [(one["file"], one["line"]) for one in answer.data["problems"]] == [("a.toml", 11)]


def test_fifty_problems_are_shown_and_the_rest_is_counted(shell: CommandShell) -> None:
    """In words and as data alike."""
    shell.put("bad.toml", (RULES + '\n[[rules]]\nfrom = 1\nto = "rack1"' * 80).encode())
    answer = shell.run("check", "bad.toml")
    assert answer.code == 2
    assert len(answer.err.splitlines()) == 52
    assert answer.err.splitlines()[-2:] == [
        "... and 30 more problems",
        "80 problems in the rule files. Nothing was done.",
    ]
    data = shell.run("check", "bad.toml", "--json").data
    assert (len(data["problems"]), data["problem_count"]) == (50, 80)
    assert len(data["error"].splitlines()) == 51


def test_fifty_findings_and_faults_are_shown_and_the_rest_is_counted(shell: CommandShell) -> None:
    """In words and as data alike."""
    devices = "".join(f'[devices.d{number}]\nport = "rack1"\n' for number in range(61))
    tests = "".join(
        f'[[tests]]\nname = "{number}"\nfrom = "keys"\nplay = "note-on 2 C4 100"\n'
        'expect = { rack1 = "note-on 1 C4 100" }\n'
        for number in range(70)
    )
    shell.put("odd.toml", f"{RULES}\n{devices}{tests}".encode())
    answer = shell.run("check", "odd.toml")
    lines = answer.out.splitlines()
    assert answer.code == 1
    assert [line for line in lines if line.startswith("  ...")] == ["  ... and 11 more", "  ... and 20 more"]
    assert sum(line.endswith(": unreached") for line in lines) == 50
    data = shell.run("check", "odd.toml", "--json").data
    assert (len(data["findings"]), data["finding_count"]) == (50, 61)
    assert data["findings"][0] == {
        "finding": "unreached",
        "kind": "unreached",
        "severity": "doubt",
        "file": "odd.toml",
        "line": 20,
        "place": 'device "d0"',
        "text": "No rule leads here.",
        "remedy": "Name it in the `to` of a rule.",
        "example": None,
        "with": [],
    }
    assert [(len(test["faults"]), test["fault_count"]) for test in data["tests"]] == [(1, 1)] * 70


def test_an_example_as_data(shell: CommandShell) -> None:
    """Where it comes from, in words and bytes, and the switches."""
    shell.put("wrong.toml", (ODD + "steps = [{ filter = { keep = { channel = 11 } } }]\n").encode())
    data = shell.run("check", "wrong.toml", "--json").data
    (lost,) = [finding for finding in data["findings"] if finding["kind"] == "all lost"]
    assert lost["example"] == {"from": "keys", "message": "note-on 10 C4 100", "bytes": "99 3C 64", "switches": {}}


PROMISES = """
[[promises]]
name = "programs stay away"
from = "keys"
match = { kind = "program" }
never = "rack1"

[[promises]]
name = "notes of channel 1 arrive"
from = "keys"
match = { kind = "note", channel = 1 }
always = "rack1"
"""
SILENT = 'steps = [{ filter = { drop = { kind = "program" } } }, { rechannel = 4 }]'


def test_promises_that_are_proved(shell: CommandShell) -> None:
    """They are counted, and nothing else is said."""
    shell.put("sound.toml", (RULES.replace("steps = [{ rechannel = 4 }]", SILENT) + PROMISES).encode())
    answer = shell.run("check", "sound.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.splitlines()[0] == "sound.toml: 3 ports, 2 rules, 2 promises; no mistakes found"
    assert answer.out.splitlines()[-1] == "All 2 promises are proved."


def test_a_broken_promise_comes_with_a_message_and_its_way(shell: CommandShell) -> None:
    """The smallest message that breaks it, and what becomes of it; no line is wider than 80 columns; exit code 1."""
    shell.put("broken.toml", (RULES + PROMISES).encode())
    answer = shell.run("check", "broken.toml")
    assert (answer.code, answer.err) == (1, "")
    shown = answer.out.splitlines()
    at = shown.index("1 of 2 promises is broken:")
    line = (RULES + PROMISES).splitlines().index("[[promises]]") + 1
    head = f'broken.toml:{line}: promise "programs stay away": program 1 1 from keys reaches rack1. Its way:'
    assert " ".join(text.strip() for text in shown[at + 1 : at + 3]) == head
    assert "        arrives at port rack1: program 4 1" in shown
    assert all(len(text) <= 80 for text in shown[at:])


def test_promises_as_data(shell: CommandShell) -> None:
    """Each with its verdict, its place and, unless it is proved, the message."""
    shell.put("broken.toml", (RULES + PROMISES).encode())
    broken, proved = shell.run("check", "broken.toml", "--json").data["promises"]
    assert (proved["verdict"], "example" in proved) == ("proved", False)
    assert broken["verdict"] == "refuted"
    assert broken["example"] == {"from": "keys", "message": "program 1 1", "bytes": "C0 00", "switches": {}}
    assert broken["problem"]["text"] == "broken: program 1 1 from keys reaches rack1"


def test_a_promise_that_is_not_decidable_is_no_fault(shell: CommandShell) -> None:
    """It is mentioned, and the exit code is 0."""
    promise = 'from = "keys"\nmatch = { kind = "pitch-bend", channel = 1 }\nalways = "rack1"\n'
    rules = RULES.replace("rechannel = 4", "thin = 20")
    shell.put("thin.toml", f'{rules}[[promises]]\nname = "bends arrive"\n{promise}'.encode())
    answer = shell.run("check", "thin.toml")
    assert answer.code == 0
    assert "1 of 1 promise is not decidable, because the result depends on messages before:" in answer.out
