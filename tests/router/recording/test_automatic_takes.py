"""Recording all evening: a take for each stretch of playing."""

from functools import partial
from pathlib import Path

import pytest

from router.files.clock import Clock
from router.recording import automatic_takes, takes
from router.recording.automatic_takes import PAUSE_NS, AutomaticTakes, in_words, save_and_tell
from router.recording.take_names import take_name
from router.recording.takes import save
from tests.support.journal_samples import NAMED, PLAYED, orphan, packed, wait_for

BEGIN_S = 1_764_100_000.0


class TakesRig:
    """Automatic takes in a folder, with a clock on the wall that is moved by hand."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.said: list[str] = []
        self.wall = BEGIN_S
        self.takes = AutomaticTakes(folder, lambda: packed(NAMED), self.said.append, Clock(wall_s=lambda: self.wall))
        self.takes.begin(0)

    def play(self, now: int) -> None:
        """Somebody plays."""
        self.takes.add(packed(*PLAYED[1:]), 4, True, now)

    @property
    def files(self) -> list[str]:
        """What lies in the folder."""
        return sorted(path.name for path in self.folder.iterdir())


def test_a_pause_ends_a_take_and_saves_it(tmp_path: Path) -> None:
    """The .mid file is there while the daemon runs on."""
    rig = TakesRig(tmp_path)
    rig.play(0)
    rig.takes.look(PAUSE_NS)
    assert rig.files == [f"{take_name(BEGIN_S)}.mid.journal"]
    rig.takes.look(PAUSE_NS + 1)
    wait_for(lambda: len(rig.said) == 1)
    assert rig.files == [f"{take_name(BEGIN_S)}.mid"]
    assert rig.takes.journal is None


def test_playing_again_begins_the_next_take(tmp_path: Path) -> None:
    """What is no playing (clock, our own messages) doesn't."""
    rig = TakesRig(tmp_path)
    rig.play(0)
    rig.takes.look(PAUSE_NS + 1)
    rig.takes.add(packed(NAMED), 1, False, PAUSE_NS + 2)
    assert rig.takes.journal is None
    rig.wall += 3600
    rig.play(PAUSE_NS + 3)
    rig.takes.stop()
    wait_for(lambda: len(rig.said) == 2)
    assert rig.files == [f"{take_name(BEGIN_S)}.mid", f"{take_name(BEGIN_S + 3600)}.mid"]


def test_a_long_take_is_cut(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A journal never grows without bound: not a byte beyond what it may have. The next one begins at nothing."""
    monkeypatch.setattr(automatic_takes, "LONGEST_BYTES", len(packed(*PLAYED[1:], NAMED)))
    rig = TakesRig(tmp_path)
    for takes_before in range(2):
        rig.play(0)
        for now in (0, 1):
            rig.takes.look(now)
            assert rig.takes.journal is not None
            rig.takes.add(packed(NAMED), 0, False, now)
        rig.takes.look(2)
        assert rig.takes.journal is None
        wait_for(partial(lambda amount: len(rig.said) == amount, takes_before + 1))
    assert [name.endswith(".mid") for name in rig.files] == [True, True]


def test_an_evening_without_a_note_leaves_nothing(tmp_path: Path) -> None:
    """No file, and no word."""
    rig = TakesRig(tmp_path)
    rig.takes.stop()
    assert (rig.files, rig.said) == ([], [])


def test_what_was_saved_is_told(tmp_path: Path) -> None:
    """How long, how much, and what was still held."""
    said: list[str] = []
    save_and_tell(orphan(tmp_path / "a.mid.journal", *PLAYED[:-1]), said.append)
    assert said == [f"saved {tmp_path}/a.mid: 0:01, 3 messages in 2 tracks; 1 held note or pedal ended there"]


def test_what_cannot_be_saved_now_stays_for_the_next_start(tmp_path: Path) -> None:
    """And that is told."""
    said: list[str] = []
    save_and_tell(tmp_path / "missing.mid.journal", said.append)
    assert "tries again when it runs next" in said[0]


def test_a_journal_that_cannot_be_deleted_is_told_beside_its_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The take is safe, and whoever reads this can tidy up."""
    undeleted = "the journal a.mid.journal can't be deleted: you have no permission"
    monkeypatch.setattr(takes, "_delete", lambda journal: undeleted)
    said: list[str] = []
    save_and_tell(orphan(tmp_path / "a.mid.journal", *PLAYED), said.append)
    assert said == [f"saved {tmp_path}/a.mid: 0:01, 4 messages in 2 tracks", undeleted]


def test_no_playing_is_said_in_words(tmp_path: Path) -> None:
    """For the command that was asked to record."""
    assert in_words(save(orphan(tmp_path / "a.mid.journal", NAMED))).startswith("nobody played")
