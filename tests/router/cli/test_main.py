"""The command line: what it imports, its exit codes, and how it ends."""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from router.batch.rewrite_settings import RewriteSettings
from router.cli.commands import COMMANDS, GROUPS, add_commands
from router.cli.main import main
from rules.program.compiled import COMPILED
from rules.smf.report import Rewritten
from rules.smf.rewriting import Rewriter
from tests.support.command_shell import RULES, TAKE, CommandShell

ROOT = Path(__file__).parents[3]
ALL = ["rewrite", "check", "trace", "status", "panic", "reload", "switch", "learn", "soundcheck"]
BASICS = [
    "router",
    "router.cli",
    "router.cli.commands",
    "router.cli.main",
    "router.cli.parsing",
    "router.text.exit_codes",
    "router.daemon",
    "router.daemon.interpreter",
    "router.daemon.run_settings",
    "router.text",
    "router.text.terminal",
    "router.text.usage",
    "router.text.formatting",
]
START = sorted([*BASICS, "rules", "rules.errors"])


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the real command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "router", *arguments],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def imported_by(*arguments: str) -> list[str]:
    """The modules that a command imports, without those of Python itself."""
    program = (
        "import sys, json, contextlib, io\n"
        "before = set(sys.modules)\n"
        "from router.cli.main import main\n"
        f"with contextlib.redirect_stdout(io.StringIO()): main({list(arguments)!r})\n"
        "found = set(sys.modules) - before\n"
        "print(json.dumps(sorted(name for name in found if name.split('.')[0] not in sys.stdlib_module_names)))"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    names: list[str] = json.loads(done.stdout)
    return names


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (["--help"], START),
        (["--version"], sorted([*START, "router.text.version", "rules.engine"])),
        (["rewrite", "--help"], sorted([*START, "router.cli.rewrite"])),
        (["check", "--help"], sorted([*START, "router.cli.check"])),
    ],
)
def test_help_and_version_import_nothing_heavy(arguments: list[str], expected: list[str]) -> None:
    """Only the command line itself, of one command its group's: no rules, no pydantic, no progress bar, no ports."""
    assert imported_by(*arguments) == expected


def test_rewrite_imports_no_live_things(tmp_path: Path) -> None:
    """A single file needs neither worker processes nor a progress bar nor ports."""
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    (tmp_path / "take.mid").write_bytes(TAKE)
    names = imported_by("rewrite", f"{tmp_path}/rules.toml", f"{tmp_path}/take.mid", "-o", f"{tmp_path}/out.mid")
    assert (tmp_path / "out.mid").exists()
    assert not {name.split(".")[0] for name in names} & {"tqdm", "rtmidi", "mido", "watchfiles", "argcomplete"}


@pytest.mark.parametrize("command", [[], *([name] for name in ALL)], ids=str)
def test_help_says_what_to_do_with_it(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Every help has an example or the exit codes, and fits a terminal of 120 columns."""
    assert main([*command, "--help"]) == 0
    text = capsys.readouterr().out
    assert ("examples:" if command else "exit codes:") in text
    assert max(map(len, text.splitlines())) <= 120


def test_help_groups_the_commands(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """By what a player does, each command on one line of 80 columns; a group without commands has no title."""
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["--help"]) == 0
    _, _, listed = capsys.readouterr().out.partition("\ncommands:\n")
    groups = listed.partition("\n\nThe daemon is")[0].split("\n\n")
    assert [group.partition(":\n")[0] for group in groups] == [f"  {title}" for title in GROUPS if GROUPS[title]]
    lines = [line for group in groups for line in group.splitlines()[1:]]
    assert [line.split()[0] for line in lines] == list(COMMANDS)
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("command", ["rewrite", "check"])
def test_help_warns_of_sudden_levels(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    """New rules can be loud: turn down first."""
    main([command, "--help"])
    assert "Turn the volume down before you play the result for the first time." in capsys.readouterr().out


def test_the_version_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """--version names the program, and says whether its engine is compiled."""
    assert main(["--version"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("pointsman")
    assert told.endswith(" (compiled)\n" if COMPILED else " (pure Python)\n")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "COMMAND"),
        (["rewrit"], "invalid choice: 'rewrit'"),
        (["rewrite", "rules.toml"], "FILES"),
        (["rewrite", "rules.toml", "a.mid", "-o", "out", "--in-place"], "not allowed with argument"),
        (["rewrite", "rules.toml", "a.mid", "--jobs", "0"], '"0" is not a number of files at a time: write 1 or more'),
        (
            ["rewrite", "rules.toml", "a.mid"],
            "write where the results go: -o FOLDER, --in-place, or --dry-run to write nothing",
        ),
        (["rewrite", "rules.toml", "a.mid", "--in-place", "--per-port"], "write -o FOLDER"),
        (
            ["rewrite", "rules.toml", "", "--in-place"],
            "the name is empty: write one (is a variable of your shell unset?)",
        ),
        (["rewrite", "rules.toml", "a.mid", "-o", ""], "the name is empty"),
        (["rewrite", "rules.toml", "a.mid", "-o", "out", ""], "not understood: "),
        (["check", ""], "the name is empty"),
        (["check", "rules.toml", "--dry-run"], "not understood: --dry-run"),
        (["check", "rules.toml", "--js"], "not understood: --js"),
    ],
)
def test_a_command_line_that_can_not_be_meant(shell: CommandShell, arguments: list[str], words: str) -> None:
    """Exit code 2, and words that say what is allowed; options can't be shortened."""
    answer = shell.run(*arguments)
    assert (answer.code, answer.out) == (2, "")
    assert words in answer.err


def test_the_real_command_does_it_too(tmp_path: Path) -> None:
    """From the shell it works as from here."""
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    (tmp_path / "take.mid").write_bytes(TAKE)
    done = run("rewrite", f"{tmp_path}/rules.toml", f"{tmp_path}/take.mid", "-o", f"{tmp_path}/out.mid")
    assert (done.returncode, done.stderr) == (0, "")
    assert "1 file rewritten" in done.stdout


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_reader_that_goes_away_is_no_trouble(tmp_path: Path, unbuffered: str) -> None:
    """`pointsman ... | true` ends without a word."""
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    command = [sys.executable, "-m", "router", "check", f"{tmp_path}/rules.toml"]
    environment = {**os.environ, "PYTHONUNBUFFERED": unbuffered}
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        command, cwd=ROOT, env=environment, stdout=write, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (141, "")


@pytest.mark.usefixtures("as_a_terminal_starts_us")
def test_ctrl_c_tells_how_far_it_came(shell: CommandShell, monkeypatch: pytest.MonkeyPatch) -> None:
    """The summary of what is done is printed, the rest is as it was, and the exit code is 130."""
    for at in range(3):
        shell.put(f"{at}.mid", TAKE)

    class Impatient:
        """A rewriter whose user has enough of it at the second file."""

        rewritten = 0

        def __init__(self, *arguments: Any, **options: Any) -> None:
            self.rewriter = Rewriter(*arguments, **options)

        def rewrite(self, data: bytes) -> Rewritten:
            """Rewrite, or be interrupted."""
            Impatient.rewritten += 1
            if Impatient.rewritten == 2:
                os.kill(os.getpid(), signal.SIGINT)
            return self.rewriter.rewrite(data)

    monkeypatch.setattr("router.batch.rewriting.Rewriter", Impatient)
    answer = shell.rewrite("0.mid", "1.mid", "2.mid", "-o", "out", "--jobs", "1")
    assert answer.code == 130
    assert answer.out.startswith("1 file rewritten, 2 files not reached before you stopped; ")
    assert sorted(name for name in shell.files() if "out" in name) == ["out/0.mid"]


def test_ctrl_c_ends_the_real_command_quietly(tmp_path: Path) -> None:
    """All processes of the terminal are interrupted: no traceback, every result whole, no parts of files, 130."""
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    (tmp_path / "takes").mkdir()
    for at in range(400):
        (tmp_path / f"takes/{at}.mid").write_bytes(TAKE)
    command = [sys.executable, "-m", "router", "rewrite", "rules.toml", "takes", "-o", "out", "--jobs", "3", "--json"]
    process = subprocess.Popen(
        command,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    while not list(tmp_path.glob("out/*.mid")) and process.poll() is None:
        time.sleep(0.001)
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate()
    assert (process.returncode, err) == (130, "")
    written = list((tmp_path / "out").iterdir())
    assert len({path.read_bytes() for path in written}) == 1
    assert {path.suffix for path in written} == {".mid"}
    assert json.loads(out)["not_reached"] > 0


def test_colour_is_for_terminals_and_can_be_turned_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """A pipe gets none, a terminal does, NO_COLOR and dumb terminals don't; the words are the same."""
    from router.text.terminal import painted

    class Screen:
        def isatty(self) -> bool:
            return True

    class Closed:
        def isatty(self) -> bool:
            raise ValueError("I/O operation on closed file")

    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    screen = Screen()
    assert painted("failed", "bad", screen) == "\x1b[31mfailed\x1b[0m"  # type: ignore[arg-type]
    assert painted("failed", "bad", Closed()) == "failed"  # type: ignore[arg-type]
    assert painted("failed", "bad", sys.stdout) == "failed"
    monkeypatch.setenv("NO_COLOR", "1")
    assert painted("failed", "bad", screen) == "failed"  # type: ignore[arg-type]
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "dumb")
    assert painted("failed", "bad", screen) == "failed"  # type: ignore[arg-type]


def test_settings_never_change() -> None:
    """What was asked for is fixed once and for all."""
    settings = RewriteSettings(("a",), ("b",))
    with pytest.raises(AttributeError, match="can't set"):
        settings.force = True  # type: ignore[misc]


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_has_its_module(name: str) -> None:
    """The one that is wanted knows what to call; the others are only listed."""
    commands = argparse.ArgumentParser().add_subparsers()
    add_commands(commands, name)
    assert tuple(commands.choices) == tuple(COMMANDS)
    assert [one for one, parser in commands.choices.items() if parser.get_default("call")] == [name]


def test_what_is_no_command_brings_the_help_of_all() -> None:
    """Whoever mistypes a command is told all that there are."""
    commands = argparse.ArgumentParser().add_subparsers()
    add_commands(commands, "rewrit")
    assert tuple(commands.choices) == tuple(COMMANDS)


@pytest.mark.parametrize("arguments", [["check", "rules.toml"], ["--version"]])
def test_output_that_can_not_be_written_is_told_in_words(tmp_path: Path, arguments: list[str]) -> None:
    """A full disk behind `>` is no reason for a traceback."""
    (tmp_path / "rules.toml").write_text("")
    program = "import sys; from router.cli.main import main; sys.exit(main())"
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])}
    with open("/dev/full", "w") as full:
        run = subprocess.run(
            [sys.executable, "-c", program, *arguments],
            cwd=tmp_path,
            env=environment,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert (run.returncode, run.stderr) == (1, "pointsman: the output can't be written: no space is left on the disk\n")
