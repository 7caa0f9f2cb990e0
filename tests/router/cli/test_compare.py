"""`pointsman compare`, from the command line to the differences."""

from __future__ import annotations

from tests.support.command_shell import RULES, TAKE, CommandShell

NEW = RULES.replace("rechannel = 4", "rechannel = 5")
MOVED = "all channel messages on channel 1 from keys: reached rack1 on channel 4, now rack1 on channel 5"


def test_rules_that_play_the_same(shell: CommandShell) -> None:
    """A comment, or another name of a rule, makes no difference."""
    shell.put("new.toml", b"# new\n" + RULES.replace("to the organ", "organ").encode())
    answer = shell.run("compare", "rules.toml", "new.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == "Both play the same: no message, switch, clock or setup differs.\n"


def test_differences_are_listed(shell: CommandShell) -> None:
    """How many there are, and each in words that fit a terminal."""
    shell.put("new.toml", NEW.encode())
    answer = shell.run("compare", "rules.toml", "new.toml")
    assert (answer.code, answer.err) == (0, "")
    head, *lines = answer.out.splitlines()
    assert head == "1 difference between rules.toml and new.toml:"
    assert " ".join(line.strip() for line in lines) == MOVED
    assert all(len(line) <= 80 for line in lines)


def test_a_take_shows_its_moments(shell: CommandShell) -> None:
    """What will not go out any more, what is new, and what stays, with bar and beat."""
    shell.put("new.toml", NEW.encode())
    shell.put("take.mid", TAKE)
    shown = shell.run("compare", "rules.toml", "new.toml", "--take", "take.mid").out.partition("\n\n")[2]
    assert " ".join(shown.split()) == (
        "In take.mid 2 messages of before will not go out, 2 will go out that did not, 0 stay the same: "
        "bar 1, beat 1: note-on 4 C4 64 to rack1 before, note-on 5 C4 64 to rack1 now "
        "bar 1, beat 2: note-off 4 C4 64 to rack1 before, note-off 5 C4 64 to rack1 now"
    )
    assert all(len(line) <= 80 for line in shown.splitlines())
    same = shell.run("compare", "rules.toml", "rules.toml", "--take", "take.mid").out.splitlines()
    assert same[-1] == "In take.mid nothing changes: 2 messages go out as before."


def test_the_differences_as_data(shell: CommandShell) -> None:
    """--json has all of it: messages in parts, the rig, the take."""
    shell.put("new.toml", (NEW + '[devices]\norgan = { port = "rack1", setup = "program 1 3" }\n').encode())
    shell.put("take.mid", TAKE)
    data = shell.run("compare", "rules.toml", "new.toml", "--take", "take.mid", "--json").data
    assert (data["command"], data["ok"], data["same"]) == ("compare", True, False)
    assert (data["old"], data["new"]) == (["rules.toml"], ["new.toml"])
    (changed,) = data["messages"]
    assert changed["text"] == MOVED
    assert (changed["channels"], changed["from"], changed["when"]) == ([1], "keys", "")
    assert changed["now"] == [{"at": "rack1 on channel 5", "changed": ""}]
    assert data["rig"] == ["setup of organ: nothing before, program 1 3 now"]
    take = data["take"]
    assert (take["lost"], take["gained"], take["same"]) == (2, 2, 0)
    assert take["moments"][0]["now"] == [{"port": "rack1", "message": "note-on 5 C4 64", "bytes": "94 3C 40"}]
    assert (take["moments"][0]["bar"], take["moments"][0]["beat"]) == (1, 1)


def test_what_stays_the_same_is_data_too(shell: CommandShell) -> None:
    """An empty text doesn't mean that messages come unchanged."""
    low = RULES.replace("{ rechannel = 4 }", "{ transpose = -12 }")
    shell.put("old.toml", low.encode())
    shell.put("new.toml", low.replace("-12 }", "-12 }, { delay = 40 }").encode())
    changed = shell.run("compare", "old.toml", "new.toml", "--json").data["messages"][0]
    assert (changed["alike"], changed["before"][0]["changed"], changed["now"][0]["changed"]) == (
        True,
        "",
        "40 ms later",
    )


def test_a_track_that_the_take_does_not_have(shell: CommandShell) -> None:
    """The error names the tracks there are."""
    shell.put("take.mid", TAKE)
    answer = shell.run("compare", "rules.toml", "rules.toml", "--take", "take.mid", "--from", "Nope=keys")
    assert (answer.code, answer.out) == (2, "")
    assert '--from: there is no track "Nope": write one of #1' in answer.err


def test_a_take_that_can_not_be_read(shell: CommandShell) -> None:
    """It is named, and nothing is shown."""
    shell.put("broken.mid", b"MThd")
    for name, words in (("broken.mid", "byte"), ("none.mid", "there is no such file")):
        answer = shell.run("compare", "rules.toml", "rules.toml", "--take", name)
        assert (answer.code, answer.out) == (2, "")
        assert name in answer.err
        assert words in answer.err


def test_rules_that_can_not_be_read(shell: CommandShell) -> None:
    """The mistakes of a file are told as by `check`."""
    shell.put("bad.toml", RULES.replace("rechannel", "rechanel").encode())
    answer = shell.run("compare", "rules.toml", "bad.toml")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith('bad.toml:11: rule "to the organ", step 1')
