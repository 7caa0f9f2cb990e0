"""Journals on the disk: nothing is lost to a crash, a full disk or another file of the same name."""

import os
from pathlib import Path

import pytest

from router import journals
from router.journals import BusyError, JournalFile, journal_of, left_behind, save, save_all, target_of
from router.writing import Disk
from rules.errors import MachineError
from rules.journal import HEAD, OUT, Record, unpack
from tests import mido_reader
from tests.router.journals import NAMED, OFF, ON, PLAYED, Refusing, orphan, packed, wait_for


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
    monkeypatch.setattr(journals, "_AGAIN_AFTER", 0.01)
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
    assert "takes the recording again" in said[1]
    assert file.lost == 0


def test_what_a_disk_never_takes_is_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lost, but not silently."""
    monkeypatch.setattr(journals, "_AGAIN_AFTER", 0.01)
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
    monkeypatch.setattr(journals, "_MOST_WAITING", 100)
    file = JournalFile(tmp_path / "take.mid", print)
    for _ in range(10):
        file.add(bytes(30), 2)
    assert file.lost == 14


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
    assert "is no journal of pointsman" in said[0]


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


def test_journals_lie_beside_their_takes() -> None:
    """And their names lead from one to the other."""
    assert journal_of(Path("a/take.mid")) == Path("a/take.mid.journal")
    assert target_of(Path("a/take.mid.journal")) == Path("a/take.mid")
    assert target_of(Path("a/odd.journal")) == Path("a/odd.mid")
