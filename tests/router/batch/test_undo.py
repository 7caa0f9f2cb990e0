"""Undoing what a run in place has done: recordings get their backups, and nothing is lost."""

from __future__ import annotations

import os
import re

import pytest

from router.batch.in_place_record import Mark, note_rewriting
from router.batch.undo import undo as undo_in
from tests.support.command_shell import REPAIRED, RULES, TAKE, Answer, CommandShell
from tests.support.recording_disk import RecordingDisk

UP = RULES.replace("rechannel = 4", "transpose = 1").encode()


@pytest.fixture
def takes(shell: CommandShell) -> CommandShell:
    """Two recordings that were rewritten in place, one that wasn't."""
    for name in ("a.mid", "sub/b.mid"):
        shell.put(f"takes/{name}", TAKE)
        os.utime(shell.folder / "takes" / name, (1_000_000, 1_000_000))
    assert shell.rewrite("takes", "--in-place").code == 0
    shell.put("takes/new.mid", REPAIRED)
    return shell


def undo(shell: CommandShell, *options: str) -> Answer:
    """Undo the last run in the folder."""
    return shell.run("rewrite", "--undo", "takes", *options)


def files(shell: CommandShell) -> dict[str, bytes]:
    """All but the records, by name."""
    return {name: data for name, data in shell.files().items() if ".pointsman" not in name}


BEFORE = {"takes/a.mid": TAKE, "takes/sub/b.mid": TAKE, "takes/new.mid": REPAIRED}


def test_what_a_run_in_place_changed_is_restored(takes: CommandShell) -> None:
    """The backups become the recordings again, with their time; nothing else is touched."""
    answer = undo(takes)
    assert (answer.code, answer.err) == (0, "")
    assert re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", "DATE", answer.out) == (
        "2 files are restored to what they were before the run of DATE:\n\n"
        "  takes/a.mid (from a.mid.bak)\n"
        "  takes/sub/b.mid (from b.mid.bak)\n"
    )
    assert files(takes) == BEFORE
    assert os.stat(takes.folder / "takes/a.mid").st_mtime == 1_000_000


def test_each_folder_is_flushed_once_when_all_is_restored(takes: CommandShell) -> None:
    """Not after each file."""
    takes.put("takes/c.mid", TAKE)
    takes.rewrite("takes/c.mid", "takes/a.mid", "--in-place", "--again")
    disk = RecordingDisk()
    undo_in(["takes"], disk=disk)
    undo_in(["takes"], disk=disk)
    flushed = [call[:2] for call in disk.calls if call[0] == "settle"]
    assert flushed == [("settle", "takes"), ("settle", "takes"), ("settle", "sub")]


def test_undone_twice_is_nothing_more(takes: CommandShell) -> None:
    """And the rules may come again."""
    undo(takes)
    answer = undo(takes)
    assert answer.code == 0
    assert answer.out == "There is nothing to undo: no recording here is as a run with --in-place left it.\n"
    assert files(takes) == BEFORE
    assert takes.rewrite("takes/a.mid", "takes/sub", "--in-place").code == 0
    assert files(takes)["takes/a.mid"] == REPAIRED


def test_one_recording_can_be_restored(takes: CommandShell) -> None:
    """The others stay rewritten."""
    assert takes.run("rewrite", "--undo", "takes/a.mid").code == 0
    assert (files(takes)["takes/a.mid"], files(takes)["takes/sub/b.mid"]) == (TAKE, REPAIRED)


def test_what_somebody_has_changed_since_stays(takes: CommandShell) -> None:
    """It is named, and so is its old file; the others are restored."""
    takes.put("takes/a.mid", b"edited")
    answer = undo(takes)
    assert answer.code == 1
    assert "1 file is restored to what it was before the run of " in answer.out
    assert "takes/a.mid: it has changed since it was rewritten, so it stays as it is; the old file is a.mid.bak" in (
        answer.err
    )
    assert files(takes) == {**BEFORE, "takes/a.mid": b"edited", "takes/a.mid.bak": TAKE}


@pytest.mark.parametrize("backup", [None, b"changed"])
def test_without_its_backup_nothing_is_restored(takes: CommandShell, backup: bytes | None) -> None:
    """Or with one that isn't what it was."""
    if backup is None:
        (takes.folder / "takes/a.mid.bak").unlink()
    else:
        takes.put("takes/a.mid.bak", backup)
    answer = undo(takes)
    assert answer.code == 1
    assert "takes/a.mid: its backup is gone or has changed, so it stays as it is" in answer.err
    assert files(takes)["takes/a.mid"] == REPAIRED


def test_runs_are_undone_one_by_one_down_to_the_original(takes: CommandShell) -> None:
    """The last one first, whichever recordings it changed."""
    takes.put("rules.toml", UP.replace(b"channel = 1 ", b"channel = 4 "))
    takes.put("takes/a.mid.bak2", b"somebody's own")
    assert takes.rewrite("takes/a.mid", "--in-place").code == 0
    assert files(takes)["takes/a.mid.bak3"] == REPAIRED
    answer = undo(takes)
    assert "1 file is restored to what it was" in answer.out
    assert answer.out.endswith("\n\nThere is an earlier run: the same command undoes it too.\n")
    assert files(takes)["takes/a.mid"] == REPAIRED
    answer = undo(takes)
    assert "2 files are restored to what they were" in answer.out
    assert "earlier" not in answer.out
    assert files(takes) == {**BEFORE, "takes/a.mid.bak2": b"somebody's own"}


def test_a_rewriting_that_was_noted_and_never_came_to_be_is_passed_over(takes: CommandShell) -> None:
    """The run was killed in between: the step before it is what can be undone."""
    note_rewriting(takes.folder / "takes/a.mid", Mark("9999999999.000000-later", "rules"), REPAIRED, b"never written")
    assert undo(takes).code == 0
    assert files(takes) == BEFORE


def test_a_dry_run_restores_nothing(takes: CommandShell) -> None:
    """It says what would be."""
    before = takes.files()
    answer = undo(takes, "--dry-run")
    assert answer.code == 0
    assert answer.out.startswith("2 files would be restored to what they were before the run of ")
    assert takes.files() == before


def test_a_recording_behind_a_link_is_restored(shell: CommandShell) -> None:
    """Its backup and its record are where the recording is."""
    shell.put("elsewhere/a.mid", TAKE)
    (shell.folder / "takes").mkdir()
    (shell.folder / "takes/link.mid").symlink_to(shell.folder / "elsewhere/a.mid")
    shell.rewrite("takes", "--in-place")
    assert files(shell)["elsewhere/a.mid"] == REPAIRED
    assert undo(shell).code == 0
    assert files(shell) == {"elsewhere/a.mid": TAKE, "takes/link.mid": TAKE}


def test_a_program_gets_it_as_data(takes: CommandShell) -> None:
    """What was restored, what wasn't, and whether there is more."""
    takes.put("takes/a.mid", b"edited")
    data = undo(takes, "--json").data
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", data.pop("run"))
    assert data == {
        "command": "rewrite",
        "ok": False,
        "dry_run": False,
        "restored": [{"file": "takes/sub/b.mid", "backup": "takes/sub/b.mid.bak"}],
        "problems": [
            {
                "file": "takes/a.mid",
                "reason": "it has changed since it was rewritten, so it stays as it is; the old file is a.mid.bak",
            }
        ],
        "earlier": False,
    }


@pytest.mark.parametrize("arguments", [("rules.toml", "--undo", "takes"), ("--undo", "takes", "--rules", "rules.toml")])
def test_rules_have_no_part_in_it(takes: CommandShell, arguments: tuple[str, ...]) -> None:
    """Naming them is a mistake, and changes nothing."""
    before = takes.files()
    answer = takes.run("rewrite", *arguments)
    assert answer.code == 2
    assert "--undo takes no rules" in answer.err
    assert takes.files() == before


def test_a_folder_that_is_not_there_is_told(shell: CommandShell) -> None:
    """Not taken for one in which nothing is to be undone."""
    answer = undo(shell)
    assert (answer.code, answer.out) == (1, "")
    assert "takes: the file can't be read: " in answer.err
