"""Journals on the disk: nothing is lost to a crash, a full disk or another file of the same name."""

from pathlib import Path

import pytest

from router.recording import journal_files
from router.recording.journal_files import JournalFile, journal_of, target_of
from router.recording.takes import BusyError, save
from rules.errors import MachineError
from rules.journal.format import HEAD
from tests.support import mido_reader
from tests.support.journal_samples import PLAYED, Refusing, packed, wait_for


def notes(path: Path) -> list[str]:
    """The kinds of notes in a .mid file."""
    return [event.kind for event in mido_reader.events(path.read_bytes()) if event.kind.startswith("Note")]


def test_a_journal_holds_what_was_added(tmp_path: Path) -> None:
    """The head, then each chunk in order; and nobody else can have it while it is written."""
    said: list[str] = []
    file = JournalFile(tmp_path / "new/take.mid", said.append)
    file.open()
    file.start()
    file.add(packed(*PLAYED[:2]), 1)
    file.add(packed(*PLAYED[2:]), 3)
    with pytest.raises(BusyError, match="still being written"):
        save(file.path)
    file.close()
    assert file.path == tmp_path / "new/take.mid.journal"
    assert file.path.read_bytes() == HEAD + packed(*PLAYED)
    assert (file.lost, said) == (0, [])


def test_each_chunk_reaches_the_disk_without_waiting_for_the_end(tmp_path: Path) -> None:
    """A process that is killed has lost only what was not yet handed over."""
    file = JournalFile(tmp_path / "take.mid", print)
    file.start()
    file.add(packed(*PLAYED), 4)
    wait_for(lambda: file.path.exists() and file.path.read_bytes() == HEAD + packed(*PLAYED))
    file.close()


def test_names_that_are_taken_are_left_alone(tmp_path: Path) -> None:
    """Neither a take nor a journal is ever overwritten."""
    (tmp_path / "take.mid").write_text("mine")
    (tmp_path / "take-2.mid.journal").write_text("mine")
    file = JournalFile(tmp_path / "take.mid", print)
    file.open()
    file.start()
    file.close()
    assert file.path == tmp_path / "take-3.mid.journal"
    assert (tmp_path / "take.mid").read_text() == (tmp_path / "take-2.mid.journal").read_text() == "mine"


def test_a_folder_that_cannot_be_written_to_is_told_at_once(tmp_path: Path) -> None:
    """Before the music, not after it."""
    (tmp_path / "file").write_text("")
    with pytest.raises(MachineError, match="can't be written here"):
        JournalFile(tmp_path / "file/take.mid", print).open()


def test_a_full_disk_is_told_once_and_costs_nothing_when_it_has_room_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What came meanwhile has waited; partial writes are taken up where they stopped."""
    monkeypatch.setattr(journal_files, "_RETRY_AFTER_S", 0.01)
    said: list[str] = []
    disk = Refusing()
    file = JournalFile(tmp_path / "take.mid", said.append, disk)
    file.open()
    disk.full.set()
    file.start()
    file.add(packed(*PLAYED[:3]), 2)
    assert disk.refused.wait(5)
    file.add(packed(*PLAYED[3:]), 2)
    disk.full.clear()
    wait_for(lambda: len(said) == 2)
    file.close()
    assert file.path.read_bytes() == HEAD + packed(*PLAYED)
    assert "no space is left on the disk. The music goes on" in said[0]
    assert "can be written again" in said[1]
    assert file.lost == 0


def test_what_a_disk_never_takes_is_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lost, but not silently."""
    monkeypatch.setattr(journal_files, "_RETRY_AFTER_S", 0.01)
    said: list[str] = []
    disk = Refusing()
    file = JournalFile(tmp_path / "take.mid", said.append, disk)
    file.open()
    disk.full.set()
    file.start()
    file.add(packed(*PLAYED), 4)
    file.close()
    assert file.lost == 4
    assert "4 messages could not be recorded" in said[-1]


def test_what_waits_for_a_disk_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that hangs can't eat the memory."""
    monkeypatch.setattr(journal_files, "_MOST_WAITING_BYTES", 100)
    file = JournalFile(tmp_path / "take.mid", print)
    for _ in range(10):
        file.add(bytes(30), 2)
    assert file.lost == 14


def test_what_waits_for_a_disk_may_fill_its_bound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not a byte more; once the disk has taken what waits, there is room again."""
    monkeypatch.setattr(journal_files, "_MOST_WAITING_BYTES", 60)
    file = JournalFile(tmp_path / "take.mid", print)
    for size in (30, 30, 1):
        file.add(bytes(size), 1)
    assert file.lost == 1
    file.start()
    wait_for(lambda: file.path.exists() and file.path.stat().st_size == len(HEAD) + 60)

    def has_room() -> bool:
        file.lost = 0
        file.add(bytes(60), 1)
        return file.lost == 0

    wait_for(has_room)
    file.close()
    assert file.path.read_bytes() == HEAD + bytes(120)


def test_journals_lie_beside_their_takes() -> None:
    """And their names lead from one to the other."""
    assert journal_of(Path("a/take.mid")) == Path("a/take.mid.journal")
    assert target_of(Path("a/take.mid.journal")) == Path("a/take.mid")
    assert target_of(Path("a/odd.journal")) == Path("a/odd.mid")
