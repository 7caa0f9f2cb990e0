"""Results reach the disk whole or not at all."""

from __future__ import annotations

import errno
import os
import signal
import stat
from pathlib import Path

import pytest

from router.files.atomic_writing import TargetExistsError, at_once, write_new, writing_back
from router.files.disk import DISK, Disk
from rules.errors import MachineError
from tests.support.failing_disk import FailingDisk, tree
from tests.support.recording_disk import RecordingDisk

LIKE = Path(__file__).stat()


def write_back(path: Path, data: bytes, disk: Disk = DISK) -> Path:
    """All steps of putting data in place of a file; the name of its backup."""
    return at_once(writing_back(path, data, disk=disk))


def test_new_files_are_written_with_their_folders(tmp_path: Path) -> None:
    """Folders that are missing are made, and nothing but the files is left in them."""
    write_new({tmp_path / "a/b/x.mid": b"one", tmp_path / "y.mid": b""}, like=LIKE, replace=False)
    assert tree(tmp_path) == {"a/b/x.mid": b"one", "y.mid": b""}


@pytest.mark.parametrize("replace", [False, True])
def test_a_folder_is_flushed_once_when_its_files_have_their_names(tmp_path: Path, replace: bool) -> None:
    """No file has its name before it is flushed, and no folder is flushed before its files have their names."""
    disk = RecordingDisk()
    files = {tmp_path / name: b"x" for name in ("a/1.mid", "b/2.mid", "a/3.mid")}
    write_new(files, like=LIKE, replace=replace, disk=disk)
    assert disk.calls[:3] == [("flush",)] * 3
    assert disk.calls[3:6] == [("name", "1.mid"), ("name", "2.mid"), ("name", "3.mid")]
    assert sorted(disk.calls[6:]) == [("settle", "a", "1.mid", "3.mid"), ("settle", "b", "2.mid")]


def test_in_place_the_backup_has_its_name_on_the_disk_first(tmp_path: Path) -> None:
    """Whatever a power cut leaves, the only copy of what was played has a name."""
    take = tmp_path / "takes/take.mid"
    take.parent.mkdir()
    take.write_bytes(b"first")
    disk = RecordingDisk()
    write_back(take, b"second", disk=disk)
    settled = ("settle", "takes", "take.mid", "take.mid.bak")
    assert disk.calls == [("flush",), ("name", "take.mid.bak"), settled, ("name", "take.mid"), settled]


def test_what_exists_is_not_overwritten(tmp_path: Path) -> None:
    """One file in the way, and none of the results is written; the message says what to do."""
    (tmp_path / "b.mid").write_bytes(b"precious")
    files = {tmp_path / "a.mid": b"one", tmp_path / "b.mid": b"two"}
    with pytest.raises(TargetExistsError, match=r"b\.mid exists already: .* or replace it with --force"):
        write_new(files, like=LIKE, replace=False)
    assert tree(tmp_path) == {"b.mid": b"precious"}


def test_a_link_that_leads_nowhere_is_in_the_way_too(tmp_path: Path) -> None:
    """Even a dead link is something that somebody put there."""
    (tmp_path / "a.mid").symlink_to("nowhere")
    with pytest.raises(TargetExistsError, match="exists already"):
        write_new({tmp_path / "a.mid": b"one"}, like=LIKE, replace=False)
    assert os.readlink(tmp_path / "a.mid") == "nowhere"


def test_force_replaces(tmp_path: Path) -> None:
    """With `replace` the old file is gone; what a replaced link named is untouched."""
    (tmp_path / "other").write_bytes(b"other")
    (tmp_path / "a.mid").symlink_to("other")
    write_new({tmp_path / "a.mid": b"new"}, like=LIKE, replace=True)
    assert tree(tmp_path) == {"a.mid": b"new", "other": b"other"}


def test_results_take_the_permissions_of_their_recording(tmp_path: Path) -> None:
    """Who may read the recording may read the result, and nobody else."""
    recording = tmp_path / "take.mid"
    recording.write_bytes(b"old")
    recording.chmod(0o640)
    write_new({tmp_path / "new.mid": b"new"}, like=recording.stat(), replace=False)
    assert stat.S_IMODE((tmp_path / "new.mid").stat().st_mode) == 0o640
    write_back(recording, b"newer")
    assert stat.S_IMODE(recording.stat().st_mode) == 0o640


def test_a_disk_without_permissions_takes_results_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """USB sticks and shares may refuse to set who may read a file; the result is there with what the disk gives it."""

    def refuse(handle: int, mode: int) -> None:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "fchmod", refuse)
    write_new({tmp_path / "a.mid": b"one"}, like=LIKE, replace=False)
    write_back(tmp_path / "a.mid", b"two")
    assert tree(tmp_path) == {"a.mid": b"two", "a.mid.bak": b"one"}


@pytest.mark.parametrize(
    ("call", "code", "words"),
    [
        ("make_folder", errno.EROFS, "the disk is read-only: choose a folder that you may write to"),
        ("create", errno.EACCES, "you have no permission: choose a folder that you may write to"),
        ("write", errno.ENOSPC, "no space is left on the disk: free some space, and run it again"),
        ("flush", errno.EIO, "the disk failed to answer"),
    ],
)
@pytest.mark.parametrize("patience", [0, 1])
def test_a_disk_that_refuses_leaves_no_file(tmp_path: Path, call: str, code: int, words: str, patience: int) -> None:
    """Neither half a file nor one result without the other, and the message says what the machine said."""
    files = {tmp_path / "a.mid": b"first", tmp_path / "b.mid": b"second"}
    with pytest.raises(MachineError, match=f"{'ab'[patience]}.mid can't be written: {words}"):
        write_new(files, like=LIKE, replace=False, disk=FailingDisk(call, code, patience))
    assert tree(tmp_path) == {}


def test_a_disk_without_links_is_written_all_the_same(tmp_path: Path) -> None:
    """USB sticks know no links; results get there, and what exists is safe there too."""
    disk = FailingDisk("link", errno.EPERM)
    write_new({tmp_path / "a.mid": b"one"}, like=LIKE, replace=False, disk=disk)
    with pytest.raises(TargetExistsError, match="exists already"):
        write_new({tmp_path / "a.mid": b"two"}, like=LIKE, replace=False, disk=disk)
    assert tree(tmp_path) == {"a.mid": b"one"}


def test_the_last_step_may_fail_too(tmp_path: Path) -> None:
    """If a result can't get its name, the one before it is taken back."""
    disk = FailingDisk("link", errno.EPERM)
    disk.replace = FailingDisk("replace", errno.EIO, 1).replace  # type: ignore[method-assign]
    with pytest.raises(MachineError, match=r"b\.mid can't be written: the disk failed to answer"):
        write_new({tmp_path / "a.mid": b"1", tmp_path / "b.mid": b"2"}, like=LIKE, replace=False, disk=disk)
    assert tree(tmp_path) == {}


def test_a_file_rewritten_in_place_keeps_every_backup(tmp_path: Path) -> None:
    """Each rewriting keeps the file as it was before under a new name."""
    take = tmp_path / "take.mid"
    take.write_bytes(b"first")
    assert write_back(take, b"second").name == "take.mid.bak"
    assert write_back(take, b"third").name == "take.mid.bak2"
    assert tree(tmp_path) == {"take.mid": b"third", "take.mid.bak": b"first", "take.mid.bak2": b"second"}


def test_backups_on_a_disk_without_links_are_copies(tmp_path: Path) -> None:
    """USB sticks know no links; the backups are there all the same, and none is overwritten."""
    take = tmp_path / "take.mid"
    take.write_bytes(b"first")
    disk = FailingDisk("link", errno.EPERM)
    write_back(take, b"second", disk=disk)
    write_back(take, b"third", disk=disk)
    assert tree(tmp_path) == {"take.mid": b"third", "take.mid.bak": b"first", "take.mid.bak2": b"second"}


def test_in_place_through_a_link(tmp_path: Path) -> None:
    """A link stays one; the file that it names is rewritten, and its backup lies beside that."""
    (tmp_path / "real").mkdir()
    (tmp_path / "real/take.mid").write_bytes(b"old")
    link = tmp_path / "take.mid"
    link.symlink_to("real/take.mid")
    write_back(link, b"new")
    assert link.is_symlink()
    assert tree(tmp_path / "real") == {"take.mid": b"new", "take.mid.bak": b"old"}


@pytest.mark.parametrize(
    ("call", "code"),
    [("create", errno.EROFS), ("write", errno.ENOSPC), ("flush", errno.EIO), ("replace", errno.EACCES)],
)
def test_in_place_a_disk_that_refuses_changes_nothing(tmp_path: Path, call: str, code: int) -> None:
    """The recording is as it was, and there is no backup of something that did not happen."""
    take = tmp_path / "take.mid"
    take.write_bytes(b"old")
    with pytest.raises(MachineError, match=r"take\.mid can't be written"):
        write_back(take, b"new", disk=FailingDisk(call, code))
    assert tree(tmp_path) == {"take.mid": b"old"}


@pytest.mark.usefixtures("as_a_terminal_starts_us")
def test_an_interruption_waits_for_the_file_in_hand(tmp_path: Path) -> None:
    """Ctrl-C in the midst of writing takes effect when the file is whole."""

    class InterruptedDisk(Disk):
        def write(self, handle: int, data: bytes) -> None:
            """Write a byte, be interrupted, write the rest."""
            os.write(handle, data[:1])
            signal.raise_signal(signal.SIGINT)
            super().write(handle, data[1:])

    with pytest.raises(KeyboardInterrupt):
        write_new({tmp_path / "a.mid": b"whole"}, like=LIKE, replace=False, disk=InterruptedDisk())
    assert tree(tmp_path) == {"a.mid": b"whole"}


@pytest.mark.skipif(os.name == "nt", reason="files have no modes there")
@pytest.mark.parametrize(("umask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_a_file_like_none_other_has_what_the_umask_leaves(tmp_path: Path, umask: int, mode: int) -> None:
    """Nobody may execute it."""
    before = os.umask(umask)
    try:
        write_new({tmp_path / "rig.svg": b"<svg/>"}, replace=False)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "rig.svg").stat().st_mode) == mode
