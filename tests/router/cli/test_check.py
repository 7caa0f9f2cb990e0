"""`pointsman check`, from the command line to the findings."""

from __future__ import annotations

import pytest

from tests.support.command_shell import RULES, CommandShell

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
    assert last == "There are no tests. Write [[tests]] in a rule file to have its results checked here."


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
    *_, count, fault = answer.out.splitlines()
    assert count == "1 of 3 tests failed:"
    line = FAILING.splitlines().index('expect = { rack2 = ["note-on 10 C2 100", "note-on 10 C2 100"] }') + 1
    assert fault.startswith(f'  failing.toml:{line}: test "drums sound twice": ')
    assert "expected note-on 10 C2 100, note-on 10 C2 100, but got note-on 10 C2 100" in fault


def test_hints_are_no_faults(shell: CommandShell) -> None:
    """What is odd is told, and the exit code is 0 all the same."""
    shell.put(
        "odd.toml", RULES.replace("rechannel = 4", "transpose = 12").replace("match = { channel = 1 }", "").encode()
    )
    answer = shell.run("check", "odd.toml")
    assert answer.code == 0
    hint = answer.out.splitlines()[3]
    assert answer.out.splitlines()[2] == "Worth a second look:"
    assert hint.startswith('  odd.toml:11: rule "to the organ", step 1 (transpose): ')


@pytest.mark.parametrize(
    ("otherwise", "words"),
    [
        (False, 'clock could come from "seq" (rig.toml:6) or "keys" (rig.toml:9), so none goes out'),
        (
            True,
            'clock comes from "seq" (rig.toml:6), although "keys" (rig.toml:9) plays here too',
        ),
    ],
)
def test_rival_clocks_are_named_with_the_line_to_write(shell: CommandShell, otherwise: bool, words: str) -> None:
    """Both rules by their lines, and `clock` for the port (ruling 26)."""
    ports = "[ports]\nseq = { input = true }\nkeys = { input = true }\nrack = { output = true }\n"
    rules = '\n[[rules]]\nfrom = "seq"\nto = "rack"\n[[rules]]\nfrom = "keys"\nto = "rack"\n'
    shell.put("rig.toml", (ports + rules + ("otherwise = true\n" if otherwise else "")).encode())
    answer = shell.run("check", "rig.toml")
    assert answer.code == 0
    assert (
        f'  rig.toml:4: port "rack": {words}: write clock = "seq" on port "rack", or "none"' in answer.out.splitlines()
    )


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


def test_the_findings_as_data(shell: CommandShell) -> None:
    """--json has the same: counts, hints, and each test with its place and faults."""
    shell.put("failing.toml", FAILING.encode())
    answer = shell.run("check", "failing.toml", "--json")
    assert (answer.code, answer.err) == (1, "")
    data = answer.data
    assert (data["command"], data["ok"], data["files"]) == ("check", False, ["failing.toml"])
    assert data["counts"] == {"ports": 3, "devices": 0, "switches": 0, "rules": 2, "tests": 3, "promises": 0}
    assert [test["passed"] for test in data["tests"]] == [True, True, False]
    assert data["tests"][2]["faults"][0]["file"] == "failing.toml"
    assert data["hints"] == []


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


def test_fifty_hints_and_faults_are_shown_and_the_rest_is_counted(shell: CommandShell) -> None:
    """In words and as data alike."""
    devices = "".join(f'[devices.d{number}]\nport = "rack1"\n' for number in range(60))
    tests = "".join(
        f'[[tests]]\nname = "{number}"\nfrom = "keys"\nplay = "note-on 2 C4 100"\n'
        'expect = { rack1 = "note-on 1 C4 100" }\n'
        for number in range(70)
    )
    shell.put("odd.toml", f"{RULES}\n{devices}{tests}".encode())
    answer = shell.run("check", "odd.toml")
    lines = answer.out.splitlines()
    assert answer.code == 1
    assert [line for line in lines if line.startswith("  ...")] == ["  ... and 10 more", "  ... and 20 more"]
    assert len(lines) == 2 + 1 + 51 + 1 + 1 + 51
    data = shell.run("check", "odd.toml", "--json").data
    assert (len(data["hints"]), data["hint_count"]) == (50, 60)
    assert [(len(test["faults"]), test["fault_count"]) for test in data["tests"]] == [(1, 1)] * 70


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
