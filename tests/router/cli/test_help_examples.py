"""The examples in --help are commands that Pointsman understands; those that need no ports also do what they say."""

from __future__ import annotations

import re
import shlex
import shutil
from importlib import import_module
from pathlib import Path

import pytest

from router.cli.commands import COMMANDS
from router.cli.main import _parsed, main
from router.cli.message_arguments import read_messages, read_timed_messages

EXAMPLES = [
    re.split(r" {2,}", line.strip())[0]
    for name in COMMANDS
    for line in import_module(f"router.cli.{name}").MORE.splitlines()
    if line.startswith("  pointsman ")
]

WITHOUT_PORTS = {"check", "compare", "plan", "draw", "trace", "rewrite", "help"}
RUN = [example for example in EXAMPLES if example.split()[1] in WITHOUT_PORTS and "--last" not in example]
FIRST = {"pointsman rewrite --undo takes/": "pointsman rewrite pit.toml takes/ --in-place"}
"""What has to be done before an example."""

RECORDING = Path(__file__).parents[3] / "examples/recording.mid"
PIT = """
[ports]
seq = { input = "Cue Sequencer*" }
keys = { input = "Pit Keyboard*" }
rack1 = { output = "Pit Interface*1" }
[devices]
organ = { port = "rack1", channel = 4 }
[switches]
song = { values = ["verse", "chorus"] }
[[rules]]
name = "keyboard"
from = "keys"
match = { channel = 1 }
steps = [{ velocity = { louder = 0.5 }, when = "song = chorus" }]
to = "organ"
"""
RIG = PIT.partition("[switches]")[0]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the files that the examples name."""
    for name in ("rules", "old", "new", "takes"):
        (tmp_path / name).mkdir()
    rules = ("pit.toml", "pit-new.toml", "rules/pit.toml", "old/pit.toml", "new/pit.toml")
    for name, text in (*((name, PIT) for name in rules), ("rig.toml", RIG)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    for name in ("take.mid", "monday.mid", "takes/monday.mid", "takes/tuesday.mid"):
        shutil.copy(RECORDING, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("example", EXAMPLES)
def test_examples(example: str) -> None:
    """Each has options that its command knows, and messages in our notation."""
    _, name, *words = shlex.split(example)
    arguments = _parsed([name, *words])
    assert arguments.command == name
    if name == "send":
        assert read_timed_messages(arguments.words)
    elif name == "trace" and arguments.arriving and not arguments.take:
        assert read_messages(arguments.arriving[0][1:])


@pytest.mark.parametrize("example", RUN)
def test_examples_work(example: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each ends well, prints something, and writes the file or folder that it names."""
    if example in FIRST:
        assert main(shlex.split(FIRST[example])[1:]) == 0
    _, *words = shlex.split(example)
    assert main(words) == 0, capsys.readouterr().err
    assert capsys.readouterr().out
    named = [words[at + 1] for at, word in enumerate(words) if word in ("-o", "--sheet")]
    assert [name for name in named if not (folder / name).exists()] == []


def test_each_command_has_an_example() -> None:
    """Nothing is left out, and no example is overlooked."""
    assert {example.split()[1] for example in EXAMPLES} == set(COMMANDS)
