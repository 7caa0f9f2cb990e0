"""What can be asked of the recorder over the control socket."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from router.daemon.recording_verbs import recorder_handlers
from router.files.clock import Clock
from router.recording.recorder import Recorder
from rules.errors import MachineError
from rules.journal.format import RULES, WALL, Record, unpack
from tests.support.journal_samples import MS, PLAYED, packed

RULED: Record = (RULES, 0, 0, b"[]")


class RecorderRig:
    """A recorder whose clock is moved by hand."""

    def __init__(self) -> None:
        self.now = 0
        self.recorder = Recorder(lambda text: None, clock=Clock(lambda: self.now, lambda: 1.7e9))
        self.ask = recorder_handlers(self.recorder)
        self.log(RULED, *PLAYED)

    def log(self, *records: Record) -> None:
        """What the loop does."""
        for record in records:
            self.recorder.log(record)


@pytest.fixture
def rig() -> Iterator[RecorderRig]:
    """A recorder that has heard something, stopped in the end."""
    rig = RecorderRig()
    yield rig
    rig.recorder.stop()


def test_the_last_seconds_and_all_that_is_known(rig: RecorderRig) -> None:
    """As packed records; those of the last seconds are followed by their end."""
    everything = rig.ask["last"]({})["journal"]
    assert [record for record in unpack(everything) if record[0] != WALL] == [RULED, *PLAYED]
    *last, _ = unpack(rig.ask["last"]({"seconds": 60})["journal"])
    assert everything.startswith(packed(*last))


def test_a_recording_from_begin_to_end(rig: RecorderRig, tmp_path: Path) -> None:
    """It is asked for by the name of its .mid file; each answer names the journal."""
    assert rig.ask["record"]({})["journal"] is None
    begun = rig.ask["record"]({"path": str(tmp_path / "take.mid")})
    rig.now = 2000 * MS
    journal = str(tmp_path / "take.mid.journal")
    assert (begun["journal"], rig.ask["record"]({})) == (journal, {"journal": journal, "seconds": 2.0, "lost": 0})
    assert rig.ask["record-stop"]({}) == {"journal": journal, "lost": 0}


@pytest.mark.parametrize("path", ["take.mid", "/etc/passwd", "/tmp/take.txt"])
def test_only_full_names_of_mid_files_are_taken(rig: RecorderRig, path: str) -> None:
    """The daemon's own folder is not the asker's."""
    with pytest.raises(MachineError, match=r"the full path of a \.mid file"):
        rig.ask["record"]({"path": path})
