"""`pointsman songs` and `pointsman song`, from the command line to the files and to a daemon over a real socket."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command_shell import CommandShell
from tests.support.fake_daemon import PlayedDaemon
from tests.support.svg_pictures import faults, texts

EXAMPLE = Path(__file__).parents[3] / "examples/set-list.toml"
SMALL = b"""
[ports]
pads = { input = "Pad Board*" }
rack = { output = "Pit Interface*1" }
[set_list]
next = [{ from = "pads", note = "C4" }, { from = "pads", program = 3 }]
wrap = true
[[songs]]
name = "Harbour Lights"
about = '''
wait for the singer,
then count four bars in'''
send = { rack = ["program 2 20", "at 200 ms controller 2 volume 90"] }
do = "record on"
bpm = 96.5
rules = ["all"]
[[songs]]
name = "Tide or Ebb"
set = { from = "pads", note = "D4", long = 400 }
[[rules]]
name = "all"
from = "pads"
to = "rack"
"""


@pytest.fixture
def gig(shell: CommandShell) -> CommandShell:
    """A folder with a rule file that has songs, and one that has none."""
    shell.put("gig.toml", SMALL)
    shell.put("none.toml", b'[ports]\nrack = { output = "R" }\n')
    return shell


def test_the_list_is_printed(gig: CommandShell) -> None:
    """Number, name, what the player wrote about it, what it sends, which rules are open, and how to get there."""
    answer = gig.run("songs", "gig.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == (
        "2 songs:\n\n"
        f"  1.  Harbour Lights{'96.5 BPM':>60}\n"
        "      wait for the singer,\n"
        "      then count four bars in\n"
        "      rack: program 2 20, at 200 ms controller 2 volume 90\n"
        "      open: all\n"
        "      asks for: record on\n\n"
        "  2.  Tide or Ebb\n"
        "      by: note D4 of pads, held 400 ms\n\n"
        "Next song: note C4 of pads; program 3 of pads.\n"
        "The first song follows the last one.\n"
    )


def test_the_list_is_written_as_a_picture_or_as_text(gig: CommandShell) -> None:
    """By the end of its name, and never over a file that exists, or that is read."""
    answer = gig.run("songs", "gig.toml", "--sheet", "wall.svg")
    assert answer.out.endswith("\nwall.svg written: the set list\n")
    picture = gig.files()["wall.svg"].decode()
    assert faults(picture) == []
    assert {"Set list", "1", "96.5 BPM", "Tide or Ebb", "open: all"} <= {box.text for box in texts(picture)}
    printed = gig.run("songs", "gig.toml", "--sheet", "wall.txt").out
    assert printed.startswith(gig.files()["wall.txt"].decode())
    assert gig.run("songs", "gig.toml", "--sheet", "wall.txt").code == 2
    assert gig.run("songs", "gig.toml", "--sheet", "wall.txt", "--force").code == 0


def test_the_list_as_data(gig: CommandShell) -> None:
    """For programs: all that is printed, in parts."""
    data = gig.run("songs", "gig.toml", "--json").data
    assert (data["command"], data["ok"], data["wrap"], data["previous"]) == ("songs", True, True, [])
    assert data["next"] == ["note C4 of pads", "program 3 of pads"]
    assert data["songs"][0] == {
        "number": 1,
        "name": "Harbour Lights",
        "bpm": 96.5,
        "about": ["wait for the singer,", "then count four bars in"],
        "sends": {"rack": ["program 2 20", "at 200 ms controller 2 volume 90"]},
        "do": ["record on"],
        "rules": ["all"],
        "set": [],
    }
    assert data["songs"][1]["set"] == ["note D4 of pads, held 400 ms"]


def test_text_fits_80_columns(gig: CommandShell) -> None:
    """Long names, and many messages."""
    long = "a song with a name that is far too long for the line of a terminal, and for the band as well"
    text = SMALL.decode().replace("Tide or Ebb", long).replace('"program 2 20"', '"program 2 20", "program 3 20"')
    gig.put("long.toml", text.encode())
    lines = gig.run("songs", "long.toml").out.splitlines()
    assert max(map(len, lines)) <= 80
    assert long in " ".join(line.strip() for line in lines)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none.toml"], "these rule files have no songs: write a header [[songs]] for each"),
        (["gig.toml", "--sheet", "wall.pdf"], "--sheet wall.pdf: end the name in .svg or .txt"),
    ],
)
def test_what_has_no_list(gig: CommandShell, arguments: list[str], words: str) -> None:
    """It is said what to write."""
    answer = gig.run("songs", *arguments)
    assert (answer.code, words in answer.err) == (2, True), answer.err


# -- the running daemon -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("to", "chosen", "words"),
    [
        ("next", "Ferry", "song 3 of 3: Ferry\n"),
        ("previous", "Harbour", "song 1 of 3: Harbour\n"),
        ("Harbour", "Harbour", "song 1 of 3: Harbour\n"),
        ("Tide", "Tide", "song 2 of 3: Tide\n"),
    ],
)
def test_another_song_begins(daemon: PlayedDaemon, shell: CommandShell, to: str, chosen: str, words: str) -> None:
    """The daemon is asked for it as for any switch."""
    daemon.have_songs("Harbour", "Tide", "Ferry", at=1)
    answer = shell.run("song", to, "--name", "pit")
    assert (answer.code, answer.out, answer.err) == (0, words, "")
    assert ("switch", {"name": "song", "value": chosen}) in daemon.asked


@pytest.mark.parametrize(("to", "at", "which"), [("next", 1, "last"), ("previous", 0, "first")])
def test_the_list_ends_unless_it_wraps(daemon: PlayedDaemon, shell: CommandShell, to: str, at: int, which: str) -> None:
    """At its end nothing is asked for; round again, the other end comes."""
    daemon.have_songs("Harbour", "Tide", at=at)
    answer = shell.run("song", to, "--name", "pit")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == f'pointsman song: "{("Harbour", "Tide")[at]}" is the {which} song\n'
    assert {verb for verb, _ in daemon.asked} == {"status"}
    daemon.have_songs("Harbour", "Tide", at=at, wrap=True)
    assert shell.run("song", to, "--name", "pit").out == f"song {2 - at} of 2: {('Tide', 'Harbour')[at]}\n"


def test_a_song_that_is_not_there(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """Nothing is asked for; the songs are named, and the one that may be meant."""
    daemon.have_songs("Harbour", "Tide", at=1)
    answer = shell.run("song", "harbour", "--name", "pit")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == (
        'pointsman song: there is no song named "harbour": the songs are Harbour, Tide - did you mean "Harbour"?\n'
    )
    assert {verb for verb, _ in daemon.asked} == {"status"}


def test_the_songs_are_listed(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """With a mark at the one that plays."""
    daemon.have_songs("Harbour", "Tide", at=1)
    answer = shell.run("song", "--name", "pit")
    assert (answer.code, answer.out) == (0, "    1.  Harbour\n>   2.  Tide\n")
    data = shell.run("song", "--name", "pit", "--json").data
    assert data == {"command": "song", "ok": True, "song": "Tide", "at": 1, "names": ["Harbour", "Tide"]}


@pytest.mark.usefixtures("daemon")
def test_rules_without_songs(shell: CommandShell) -> None:
    """What to write is said."""
    answer = shell.run("song", "next", "--name", "pit")
    assert (answer.code, answer.out) == (2, "")
    assert "have no songs: write a header [[songs]] for each" in answer.err


def test_the_example_hangs_on_the_wall(shell: CommandShell) -> None:
    """All five songs on one page."""
    shell.put("set-list.toml", EXAMPLE.read_bytes())
    assert shell.run("songs", "set-list.toml", "--sheet", "wall.svg").code == 0
    shown = " ".join(box.text for box in texts(shell.files()["wall.svg"].decode()))
    for name in ("Harbour Lights", "Tide or Ebb", "Slow Ferry", "Don't Count the Gulls", "Last Boat"):
        assert name in shown
