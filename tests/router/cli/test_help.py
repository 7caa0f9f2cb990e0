"""The manual by `pointsman help`: every page can be reached, in a pager or without."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest

import router
from router.cli.help import page, topics
from router.cli.main import main
from rules.steps.registry import all_steps
from tests.support.places import SOURCE

MANUAL = Path(router.__file__).parent / "manual"
PAGES = sorted(path.stem for path in MANUAL.glob("*.md") if path.stem != "index")


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """Return what `help` prints; it must end well."""
    assert main(["help", *words]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("name", PAGES)
def test_pages(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each page opens with its topic and its subject, then says what it is about."""
    title, gap, first, *_ = shown(capsys, name).splitlines()
    assert re.fullmatch(rf"{name}: [a-z].+", title)
    assert gap == ""
    assert first


def test_without_a_topic_all_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Each page once, and no other."""
    listed = re.findall(r"^`(\w+)`", shown(capsys), re.MULTILINE)
    assert sorted(listed) == PAGES


def test_every_step_and_every_command_has_a_page() -> None:
    """By its own name, or on a page that it shares."""
    commands = re.findall(r"^    (\w+)(?: |$)", _help_of_the_program(), re.MULTILINE)
    assert len(commands) > 10
    assert {kind.key for kind in all_steps()} | set(commands) - {"COMMAND", "help"} <= topics().keys()
    assert page("panic") == page("status")


def _help_of_the_program() -> str:
    done = subprocess.run([sys.executable, "-m", "router", "--help"], capture_output=True, text=True, check=True)
    return done.stdout


def test_letters_of_any_size() -> None:
    """Whoever types a topic in capitals means the same page."""
    assert page("Transpose") == page("transpose")


def test_unknown_topics(capsys: pytest.CaptureFixture[str]) -> None:
    """The nearest topic is named, or where to find all."""
    assert main(["help", "transpos"]) == 2
    assert 'there is no page named "transpos" - did you mean "transpose"?' in capsys.readouterr().err
    assert main(["help", "xyzzy"]) == 2
    assert 'there is no page named "xyzzy"; `pointsman help` lists all' in capsys.readouterr().err
    assert main(["help", "../README"]) == 2


def on_terminal(tmp_path: Path, pager: str | None, **more: str) -> str:
    """Return what appears on a terminal of 60 columns when a page is asked for."""
    environment = {key: value for key, value in os.environ.items() if key not in ("PAGER", "LESS", "NO_COLOR")}
    environment |= {"TERM": "xterm", "COLUMNS": "60", "PATH": f"{tmp_path}:{os.environ['PATH']}", **more}
    if pager is not None:
        environment["PAGER"] = pager
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "router", "help", "thin"]
    with subprocess.Popen(command, cwd=SOURCE, env=environment, stdout=theirs, stdin=theirs, stderr=theirs) as process:
        os.close(theirs)
        seen = b""
        try:
            while piece := os.read(ours, 4096):
                seen += piece
        except OSError:  # a terminal that nobody writes to any more
            pass
        assert process.wait() == 0
    os.close(ours)
    return seen.decode().replace("\r\n", "\n")


@pytest.fixture
def pager(tmp_path: Path) -> str:
    """A pager that says how it was called, and shows everything in a frame."""
    program = tmp_path / "frame"
    program.write_text('#!/bin/sh\necho "[$* $LESS]"\ncat\necho "[end]"\n')
    program.chmod(0o755)
    return "frame"


def test_the_pager_of_the_user(tmp_path: Path, pager: str) -> None:
    """$PAGER gets the page, with its options; titles stand out."""
    seen = on_terminal(tmp_path, f"{pager} -x 'one two'")
    assert seen.startswith("[-x one two FRX]\n\x1b[1mthin: ")
    assert seen.endswith("[end]\n")


def test_the_usual_pager(tmp_path: Path, pager: str) -> None:
    """It is less, with the options that its user has set, if any."""
    (tmp_path / pager).rename(tmp_path / "less")
    assert on_terminal(tmp_path, None).startswith("[ FRX]\n")
    assert on_terminal(tmp_path, None, LESS="-i").startswith("[ -i]\n")


@pytest.mark.parametrize("broken", ["", "no-such-pager", "quotes 'that"])
def test_without_a_pager(tmp_path: Path, broken: str) -> None:
    """The page is printed plainly, at the width of the terminal."""
    seen = re.sub(r"\x1b\[\d+m", "", on_terminal(tmp_path, broken))
    assert seen.startswith("thin: ")
    assert max(map(len, seen.splitlines()[:10])) <= 60


def test_a_pager_that_is_left_early(tmp_path: Path, pager: str) -> None:
    """Nothing is said about a page that was not read to its end."""
    (tmp_path / pager).write_text("#!/bin/sh\nexit 3\n")
    assert on_terminal(tmp_path, pager) == ""


def test_no_pager_where_nobody_looks(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Into a pipe or a file the page goes as it is, in 80 columns and without colours."""
    monkeypatch.setenv("PAGER", "false")
    seen = shown(capsys, "run")
    assert "\x1b" not in seen
    assert seen.startswith("run: ")
