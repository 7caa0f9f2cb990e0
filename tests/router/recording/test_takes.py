"""The .mid files of journals."""

import errno
import os
import stat
from pathlib import Path

import pytest

from router.files.disk import Disk
from router.files.file_lock import lock
from router.recording import takes
from router.recording.takes import left_behind, save, save_all, save_records
from rules.errors import MachineError
from rules.journal.format import HEAD, IN, NAMES, OUT, Record, pack, unpack
from tests.support import mido_reader
from tests.support.journal_samples import NAMED, OFF, ON, PLAYED, orphan
from tests.support.recording_disk import RecordingDisk


def notes(path: Path) -> list[str]:
    """The kinds of notes in a .mid file."""
    return [event.kind for event in mido_reader.events(path.read_bytes()) if event.kind.startswith("Note")]


def test_a_journal_left_behind_becomes_a_take(tmp_path: Path) -> None:
    """Also with a torn end; the journal is gone then."""
    orphan(tmp_path / "take.mid.journal", *PLAYED, torn=b"\x03\x03\x00")
    said: list[str] = []
    assert save_all(left_behind(tmp_path), said.append) == [tmp_path / "take.mid"]
    assert notes(tmp_path / "take.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert [path.name for path in tmp_path.iterdir()] == ["take.mid"]
    assert len(said) == 1


def test_a_take_never_overwrites_another(tmp_path: Path) -> None:
    """It gets the next name."""
    (tmp_path / "take.mid").write_text("mine")
    saved = save(orphan(tmp_path / "take.mid.journal", *PLAYED))
    assert saved.path == tmp_path / "take-2.mid"
    assert (tmp_path / "take.mid").read_text() == "mine"


@pytest.mark.parametrize("records", [(), (NAMED,), (NAMED, (OUT, 0, 0, ON), (OUT, 1, 0, OFF))])
def test_where_nobody_played_nothing_is_saved(tmp_path: Path, records: tuple[Record, ...]) -> None:
    """An evening without a note leaves no files about."""
    saved = save(orphan(tmp_path / "take.mid.journal", *records))
    assert saved.path is None
    assert list(tmp_path.iterdir()) == []


def test_a_journal_killed_at_its_birth_is_tidied_away(tmp_path: Path) -> None:
    """Before its head was written; unless it is so young that it may be in the middle of its birth."""
    journal = tmp_path / "take.mid.journal"
    journal.write_bytes(HEAD[:5])
    assert save_all(left_behind(tmp_path), print) == []
    assert journal.exists()
    os.utime(journal, (0, 0))
    assert save_all(left_behind(tmp_path), print) == []
    assert not journal.exists()


def test_what_is_no_journal_of_ours_is_not_touched(tmp_path: Path) -> None:
    """Other programs keep journals, too."""
    other = tmp_path / "diary.journal"
    other.write_text("Dear diary")
    said: list[str] = []
    assert save_all(left_behind(tmp_path), said.append) == []
    assert other.read_text() == "Dear diary"
    assert "isn't a journal of Pointsman" in said[0]


def test_a_journal_has_a_largest_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One byte more is refused in words before it fills the memory, and the journal stays."""
    journal = orphan(tmp_path / "take.mid.journal", *PLAYED)
    size = journal.stat().st_size
    monkeypatch.setattr(takes, "_MOST_BYTES", size - 1)
    with pytest.raises(
        MachineError, match=r"take\.mid\.journal is larger than 0 MB: it is too long for one \.mid file"
    ):
        save(journal)
    assert list(tmp_path.iterdir()) == [journal]
    monkeypatch.setattr(takes, "_MOST_BYTES", size)
    assert save(journal).path == tmp_path / "take.mid"


def test_a_disk_that_refuses_the_take_leaves_the_journal(tmp_path: Path) -> None:
    """There is another try at the next start."""

    class Full(Disk):
        def write(self, handle: int, data: bytes) -> None:
            raise OSError(28, "full")

    journal = orphan(tmp_path / "take.mid.journal", *PLAYED)
    with pytest.raises(MachineError, match="no space is left"):
        save(journal, Full())
    assert list(tmp_path.iterdir()) == [journal]
    assert len(list(unpack(journal.read_bytes(), len(HEAD)))) == len(PLAYED)


def test_a_take_is_safe_before_its_journal_goes(tmp_path: Path) -> None:
    """Its name, too: the folder is flushed while both are there."""
    disk = RecordingDisk()
    save(orphan(tmp_path / "take.mid.journal", *PLAYED), disk)
    assert disk.calls == [("flush",), ("name", "take.mid"), ("settle", tmp_path.name, "take.mid", "take.mid.journal")]
    assert [path.name for path in tmp_path.iterdir()] == ["take.mid"]


def stuck(monkeypatch: pytest.MonkeyPatch) -> None:
    """From now on no journal can be deleted."""

    def refuse(path: Path, missing_ok: bool = False) -> None:
        if path.suffix == ".journal":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        unlink(path, missing_ok)

    unlink = Path.unlink
    monkeypatch.setattr(Path, "unlink", refuse)


def test_a_journal_that_cannot_be_deleted_is_told_and_its_take_saved_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However often it is tried, there is one take, and the next journal has its turn."""
    stuck(monkeypatch)
    (tmp_path / "a.mid").write_text("mine")
    orphan(tmp_path / "a.mid.journal", *PLAYED)
    orphan(tmp_path / "b.mid.journal", *PLAYED)
    orphan(tmp_path / "silent.mid.journal", NAMED)
    said: list[str] = []
    complained: list[str] = []
    for _ in range(2):
        assert save_all(left_behind(tmp_path), said.append, complained.append) == [
            tmp_path / "a-2.mid",
            tmp_path / "b.mid",
        ]
    assert sorted(path.name for path in tmp_path.glob("*.mid")) == ["a-2.mid", "a.mid", "b.mid"]
    assert said == []
    assert complained[:3] == complained[3:]
    assert complained[0] == (
        f"a recording from before is saved in {tmp_path}/a-2.mid, but the journal {tmp_path}/a.mid.journal "
        "can't be deleted: you have no permission"
    )


def test_a_damaged_journal_keeps_no_other_from_being_saved(tmp_path: Path) -> None:
    """It is told, and stays as it is."""
    bad = orphan(tmp_path / "a.mid.journal", (NAMES, 0, 0, b"no names"), *PLAYED[1:])
    orphan(tmp_path / "b.mid.journal", *PLAYED)
    said: list[str] = []
    assert save_all(left_behind(tmp_path), said.append) == [tmp_path / "b.mid"]
    assert f"the journal {bad} can't become a .mid file" in said[0]
    assert bad.exists()


@pytest.mark.parametrize("time", [(1 << 62) + 5, (1 << 64) - 1, 1 << 47])
def test_a_damaged_time_costs_only_what_follows_it(tmp_path: Path, time: int) -> None:
    """The take holds what was played before, once; the journal stays, and the others are saved."""
    damaged = (*PLAYED, (IN, time, 0, ON), (IN, PLAYED[-1][1], 0, OFF))
    bad = orphan(tmp_path / "a.mid.journal", *damaged)
    orphan(tmp_path / "b.mid.journal", *PLAYED)
    orphan(tmp_path / "c.mid.journal", NAMED, *damaged[-2:])
    said: list[str] = []
    complained: list[str] = []
    for _ in range(2):
        saved = save_all(left_behind(tmp_path), said.append, complained.append)
    assert sorted(path.name for path in tmp_path.glob("*.mid")) == ["a.mid", "b.mid", "c.mid"]
    assert saved == [tmp_path / "a.mid", tmp_path / "c.mid"]
    assert notes(tmp_path / "a.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert bad.exists()
    assert complained[0] == (
        f"a recording from before is saved in {tmp_path}/a.mid, but the journal {bad} is damaged at byte "
        f"{len(HEAD) + sum(len(pack(record)) for record in PLAYED)}: a time more than a day away from the one before "
        "it. The file has what was played before that, and the journal is kept"
    )


def test_where_open_files_cannot_be_deleted_a_journal_is_closed_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On Windows; elsewhere it stays locked until it is gone."""
    orphan(tmp_path / "a.mid.journal", *PLAYED)
    orphan(tmp_path / "b.mid.journal", *PLAYED)
    open_at_the_end: list[bool] = []
    unlink = Path.unlink

    def look(path: Path, missing_ok: bool = False) -> None:
        if path.suffix == ".journal":
            free = os.open(path, os.O_RDONLY)
            open_at_the_end.append(not lock(free))
            os.close(free)
        unlink(path, missing_ok)

    monkeypatch.setattr(Path, "unlink", look)
    save(tmp_path / "a.mid.journal")
    monkeypatch.setattr(takes, "_OPEN_FILES_STAY", True)
    save(tmp_path / "b.mid.journal")
    assert open_at_the_end == [True, False]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.mid", "b.mid"]


@pytest.mark.skipif(os.name == "nt", reason="files have no modes there")
@pytest.mark.parametrize(("umask", "mode"), [(0o022, 0o644), (0o077, 0o600)])
def test_what_was_remembered_is_saved_with_the_permissions_of_a_new_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, umask: int, mode: int
) -> None:
    """The umask decides, and isn't touched for that: another thread may make a file at the same moment."""

    def refuse(mask: int) -> int:
        raise AssertionError(f"the umask is {mask:o} for a moment")

    before = os.umask(umask)
    try:
        with monkeypatch.context() as patched:
            patched.setattr(os, "umask", refuse)
            saved = save_records(b"".join(map(pack, PLAYED)), tmp_path / "take.mid")
    finally:
        os.umask(before)
    assert saved.path == tmp_path / "take.mid"
    assert stat.S_IMODE(saved.path.stat().st_mode) == mode
