"""`pointsman draw`, from the command line to the picture."""

from __future__ import annotations

import pytest

from tests.support.command_shell import RULES, TAKE, CommandShell
from tests.support.svg_pictures import texts

LOUDER = RULES.replace("rechannel = 4 }", "rechannel = 4 }, { velocity = { louder = 0.5 } }")


def shown(shell: CommandShell, name: str) -> set[str]:
    """The texts of a picture that was written."""
    return {box.text for box in texts((shell.folder / name).read_text(encoding="utf-8"))}


def test_a_rig_is_drawn_next_to_its_rules(shell: CommandShell) -> None:
    """Under their name; what it shows is said."""
    answer = shell.run("draw", "rules.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == "rules.svg written: 1 source, 2 rules, 2 outputs, 0 devices.\n"
    assert {"rules.toml", "to the organ", "to the kit", "ch 4", "ch 10"} <= shown(shell, "rules.svg")


def test_a_picture_that_exists_is_kept(shell: CommandShell) -> None:
    """Unless --force says otherwise."""
    shell.put("rig.svg", b"mine")
    answer = shell.run("draw", "rules.toml", "-o", "rig.svg")
    assert answer.code == 2
    assert "rig.svg" in answer.err
    assert (shell.folder / "rig.svg").read_bytes() == b"mine"
    assert shell.run("draw", "rules.toml", "-o", "rig.svg", "--force").code == 0
    assert "to the kit" in shown(shell, "rig.svg")


def test_curves_are_drawn_alone(shell: CommandShell) -> None:
    """With their axes; rules without a velocity step have none to draw."""
    shell.put("louder.toml", LOUDER.encode())
    answer = shell.run("draw", "louder.toml", "--curves", "-o", "curves.svg")
    assert (answer.code, answer.err) == (0, "")
    assert {"A: louder by 0.5", "velocity played \u2192", "\u2191 sent"} <= shown(shell, "curves.svg")
    refused = shell.run("draw", "rules.toml", "--curves")
    assert refused.code == 2
    assert "there is no velocity step in these rule files" in refused.err


def test_a_recording_before_and_after(shell: CommandShell) -> None:
    """Named after the recording; --rules and names behind options are rule files too."""
    shell.put("take.mid", TAKE)
    answer = shell.run("draw", "--take", "take.mid", "--rules", "rules.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == "take.svg written: 1 note: 0 as played, 1 moved, 0 later, 0 dropped.\n"
    assert {"take.mid through rules.toml", "keys, channel 1", "rack1, channel 4"} <= shown(shell, "take.svg")
    assert shell.run("draw", "--take", "take.mid", "rules.toml", "-o", "same.svg").code == 0
    assert shown(shell, "same.svg") == shown(shell, "take.svg")


def test_what_is_printed_fits_80_columns(shell: CommandShell) -> None:
    """However long the name of the picture is."""
    shell.put("take.mid", TAKE)
    answer = shell.run("draw", "rules.toml", "--take", "take.mid", "-o", "the repaired take of a long evening.svg")
    assert [len(line) <= 80 for line in answer.out.splitlines()] == [True, True]


def test_a_recording_alone(shell: CommandShell) -> None:
    """Without rule files it is drawn as it is."""
    shell.put("take.mid", TAKE)
    answer = shell.run("draw", "--take", "take.mid")
    assert answer.out == "take.svg written: 1 note on 1 channel.\n"
    assert {"take.mid", "channel 1", "1 note"} <= shown(shell, "take.svg")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("draw", "name a rule file"),
        ("draw rules.toml --take take.mid --curves", "choose one of them"),
        ("draw --take take.mid --from keys", "write --take FILE and rule files too"),
        ("draw rules.toml --take take.mid --from #9=keys", 'there is no track "#9": write one of #1'),
        ("draw rules.toml --take take.mid --from rack1", "this port is an output"),
        ("draw rules.toml --take take.mid -o take.mid --force", "-o take.mid: a picture is an SVG file"),
        ("draw rules.toml -o rules.toml --force", "-o rules.toml: a picture is an SVG file: end the name in .svg"),
        ("draw --take missing.mid", "missing.mid: the recording can't be read"),
        ("draw --take rules.toml", "rules.toml: byte 0: not a Standard MIDI File"),
    ],
)
def test_what_cannot_be_drawn(shell: CommandShell, line: str, words: str) -> None:
    """What is missing or doesn't go together is said, and nothing is written."""
    shell.put("take.mid", TAKE)
    answer = shell.run(*line.split())
    assert answer.code == 2
    assert words in answer.err
    assert not list(shell.folder.glob("*.svg"))


def test_json(shell: CommandShell) -> None:
    """The same for programs."""
    data = shell.run("draw", "rules.toml", "--json").data
    assert data.pop("bytes") == (shell.folder / "rules.svg").stat().st_size
    assert data == {
        "command": "draw",
        "ok": True,
        "file": "rules.svg",
        "shows": "1 source, 2 rules, 2 outputs, 0 devices.",
        "fits_a4": True,
        "left_out": [],
    }


def test_a_rig_for_more_than_a_page_is_told_as_such(shell: CommandShell) -> None:
    """It is drawn on a longer page; curves that have no room are named."""
    many = "".join(
        f'[[rules]]\nfrom = "keys"\nmatch = {{ channel = 1 }}\nsteps = [{{ velocity = {number % 100 + 1} }}]\n'
        f'to = "rack1"\n'
        for number in range(100)
    )
    shell.put("many.toml", (RULES + many).encode())
    answer = shell.run("draw", "many.toml")
    assert answer.code == 0
    assert answer.out.splitlines()[1:] == [
        "The rig is too large for one A4 page: the picture is longer.",
        "There was no room for the velocity curves: --curves draws them.",
    ]


def test_what_is_drawn_is_never_replaced(shell: CommandShell) -> None:
    """Not even with --force, under whatever name it is a file that was read."""
    shell.put("take.mid", TAKE)
    (shell.folder / "take.svg").symlink_to("take.mid")
    (shell.folder / "rules.svg").hardlink_to(shell.folder / "rules.toml")
    for name in ("take.svg", "rules.svg"):
        answer = shell.run("draw", "rules.toml", "--take", "take.mid", "-o", name, "--force")
        assert (answer.code, f"{name} is what the command reads: write to another name" in answer.err) == (2, True)
    assert (shell.folder / "take.mid").read_bytes() == (shell.folder / "take.svg").read_bytes() == TAKE
    assert (shell.folder / "rules.svg").read_text(encoding="utf-8") == RULES
