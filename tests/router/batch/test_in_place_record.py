"""What was rewritten in place is remembered: the same rules aren't applied twice, nor by two runs at once."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from router.batch.in_place_record import RECORD_NAME, InPlaceRecords, Mark, digest, note_rewriting
from rules.errors import MachineError
from tests.support.command_shell import RULES, TAKE, Answer, CommandShell

UP = RULES.replace("rechannel = 4", "transpose = 1").encode()
FURTHER_UP = RULES.replace("rechannel = 4", "transpose = 2").encode()
ROOT = Path(__file__).parents[3]


@pytest.fixture
def takes(shell: CommandShell) -> CommandShell:
    """Two recordings that rules have transposed in place; the same rules would transpose them further."""
    shell.put("rules.toml", UP)
    for name in ("a.mid", "sub/b.mid"):
        shell.put(f"takes/{name}", TAKE)
    assert in_place(shell).code == 0
    return shell


def in_place(shell: CommandShell, *options: str) -> Answer:
    """Rewrite the folder in place."""
    return shell.rewrite("takes", "--in-place", *options)


def recordings(shell: CommandShell) -> dict[str, bytes]:
    """The recordings by name."""
    return {name: data for name, data in shell.files().items() if name.endswith(".mid")}


def test_the_same_rules_are_not_applied_twice(takes: CommandShell) -> None:
    """Each file is refused, and it is said how to go on; a new one is rewritten."""
    once = recordings(takes)
    takes.put("takes/c.mid", TAKE)
    answer = in_place(takes)
    assert answer.code == 1
    assert answer.err.splitlines() == [
        f"pointsman: takes/{name}: refused: these rules have rewritten it in place already: --again does so once more, "
        "--resume skips it, and --undo restores what it was".removeprefix("pointsman: ")
        for name in ("a.mid", "sub/b.mid")
    ]
    assert recordings(takes) == {**once, "takes/c.mid": once["takes/a.mid"]}


@pytest.mark.parametrize("lost", ["takes/a.mid.bak", f"takes/{RECORD_NAME}"])
def test_record_or_backup_is_enough_to_notice(takes: CommandShell, lost: str) -> None:
    """Backups may be moved away; and a power cut may cost the last lines of the record."""
    once = recordings(takes)
    (takes.folder / lost).unlink()
    assert in_place(takes).code == 1
    assert recordings(takes) == once
    assert in_place(takes, "--resume").code == 0
    assert recordings(takes) == once


def test_again_applies_them_once_more(takes: CommandShell) -> None:
    """If that is meant; other rules need no such word."""
    once = recordings(takes)
    assert in_place(takes, "--again").code == 0
    twice = recordings(takes)
    assert all(twice[name] not in (once[name], TAKE) for name in once)
    takes.put("rules.toml", FURTHER_UP)
    assert in_place(takes).code == 0
    assert all(data not in (once[name], twice[name]) for name, data in recordings(takes).items())


def test_a_file_that_was_given_other_content_is_rewritten(takes: CommandShell) -> None:
    """It isn't what the rules made; and so is one whose rewriting was noted, and then never came to be."""
    once = recordings(takes)
    takes.put("takes/a.mid", TAKE)
    path = takes.folder / "takes/n.mid"
    takes.put("takes/n.mid", TAKE)
    note_rewriting(path, Mark("1", "1"), TAKE, once["takes/a.mid"])
    (takes.folder / "takes/sub/b.mid").unlink()
    (takes.folder / "takes/a.mid.bak").unlink()
    assert in_place(takes).code == 0
    assert set(recordings(takes).values()) == {once["takes/a.mid"]}


def test_a_dry_run_says_it_and_writes_nothing(takes: CommandShell) -> None:
    """Nor does it lock anything."""
    before = takes.files()
    with closing(InPlaceRecords([str(takes.folder / "takes/a.mid")])):
        answer = in_place(takes, "--dry-run")
    assert answer.code == 1
    assert "takes/a.mid: refused: " in answer.err
    assert takes.files() == before


@pytest.mark.parametrize("arguments", [("rules.toml", "takes", "--in-place", "--again"), ("--undo", "takes")])
def test_two_runs_at_once_in_a_folder_are_refused(takes: CommandShell, arguments: tuple[str, ...]) -> None:
    """The second one does nothing at all, also if it has only a folder below in common with the first."""
    before = takes.files()
    with closing(InPlaceRecords([str(takes.folder / "takes/sub/b.mid")])):
        answer = takes.run("rewrite", *arguments)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == (
        f"pointsman rewrite: {takes.folder}/takes/sub: another run is rewriting recordings in place here: "
        "wait until it has ended\n"
    )
    assert takes.files() == before
    assert takes.run("rewrite", *arguments).code == 0


def test_the_lock_ends_with_the_process(takes: CommandShell) -> None:
    """A run that was killed bars nobody."""
    program = (
        "import os, sys; from router.batch.in_place_record import InPlaceRecords; "
        "records = InPlaceRecords(sys.argv[1:]); print('locked', flush=True); input()"
    )
    command = [sys.executable, "-c", program, str(takes.folder / "takes/a.mid")]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "locked\n"
        assert in_place(takes, "--again").code == 2
        run.kill()
    assert in_place(takes, "--again").code == 0


def test_a_run_that_changes_nothing_leaves_no_record(shell: CommandShell) -> None:
    """Its folder is as it was."""
    shell.put("takes/a.mid", TAKE)
    shell.put("rules.toml", RULES.replace("steps = [{ rechannel = 4 }]", "").encode())
    assert in_place(shell).code == 0
    assert list(shell.files()) == ["takes/a.mid"]


@pytest.mark.parametrize("kind", ["link", "pipe", "folder"])
def test_a_record_that_is_no_file_is_refused(shell: CommandShell, tmp_path: Path, kind: str) -> None:
    """A link may lead anywhere, and a pipe blocks: nothing is rewritten, and the cause is told."""
    shell.put("takes/a.mid", TAKE)
    record = shell.folder / "takes" / RECORD_NAME
    victim = tmp_path / "victim"
    victim.write_text("mine")
    if kind == "link":
        record.symlink_to(victim)
    elif kind == "pipe":
        os.mkfifo(record)
    else:
        record.mkdir()
    answer = in_place(shell)
    assert answer.code == 2
    assert f"{record}, the record of what was rewritten, can't be used: " in answer.err
    assert (recordings(shell), victim.read_text()) == ({"takes/a.mid": TAKE}, "mine")


def test_lines_that_cannot_be_read_are_passed_over(tmp_path: Path) -> None:
    """Torn by a crash, or of another version; the others count."""
    note_rewriting(tmp_path / "a.mid", Mark("1", "rules"), b"old", b"new")
    with (tmp_path / RECORD_NAME).open("ab") as record:
        record.write(b'\n["a.mid", "12\n{}\n[1, 2, 3, 4, 5]\n["a"]\n\xff\xfe\n7\n')
    note_rewriting(tmp_path / "a.mid", Mark("2", "others"), b"new", b"newer")
    with closing(InPlaceRecords([str(tmp_path / "a.mid")])) as records:
        assert [entry.run for entry in records.entries(str(tmp_path / "a.mid"))] == ["1", "2"]
        assert records.results(str(tmp_path / "a.mid"), "rules") == {digest(b"new")}
        assert records.entries(str(tmp_path / "b.mid")) == ()


def test_a_record_that_cannot_be_written_stops_the_rewriting(tmp_path: Path) -> None:
    """Without it the rewriting couldn't be undone."""
    (tmp_path / RECORD_NAME).mkdir()
    with pytest.raises(MachineError, match="without which --undo can't work, can't be written: it is a folder"):
        note_rewriting(tmp_path / "a.mid", Mark("1", "rules"), b"old", b"new")


def test_more_folders_than_files_that_may_be_open(shell: CommandShell) -> None:
    """The limit is raised as far as the system lets it."""
    for number in range(100):
        shell.put(f"takes/{number}/a.mid", TAKE)
    soft = "import resource; resource.setrlimit(resource.RLIMIT_NOFILE, (64, 4096)); "
    program = soft + "import sys; from router.cli.main import main; sys.exit(main(sys.argv[1:]))"
    command = [sys.executable, "-c", program, "rewrite", "rules.toml", "takes", "--in-place", "--jobs", "2", "--json"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    assert resource.getrlimit(resource.RLIMIT_NOFILE)[1] >= 4096
    done = subprocess.run(command, cwd=shell.folder, env=environment, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["total"]["written"] == 100


def test_the_record_is_on_the_disk_when_the_run_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before others may have it: a power cut a moment later costs no --undo."""
    take = tmp_path / "a.mid"
    flushed: list[bytes] = []
    monkeypatch.setattr(os, "fsync", lambda handle: flushed.append(os.pread(handle, 1 << 20, 0)))
    with closing(InPlaceRecords([str(take)])):
        note_rewriting(take, Mark("1", "rules"), b"before", b"after")
        assert flushed == []
    assert flushed == [(tmp_path / RECORD_NAME).read_bytes()]
    assert len(flushed[0]) > 0
