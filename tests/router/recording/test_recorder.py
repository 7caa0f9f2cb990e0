"""The recorder: what the loop logs is remembered for minutes, and written to takes, by threads of its own."""

import signal
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path

import pytest

from router.files.clock import Clock
from router.recording import recorder
from router.recording.recorder import Recorder
from router.recording.takes import left_behind, save
from rules.errors import MachineError
from rules.journal.export import make_take
from rules.journal.format import (
    HEAD,
    IN,
    NAMES,
    OUT,
    RECORDED,
    RULES,
    STATE,
    TRIMMED,
    WALL,
    Record,
    state_in,
    unpack,
    wall_in,
)
from rules.program.switch_states import State
from tests.support import mido_reader
from tests.support.journal_samples import MS, NAMED, OFF, ON, PLAYED, orphan, wait_for

RULED: Record = (RULES, 0, 0, b"[]")
SECOND = 1000 * MS
HELD: tuple[Record, ...] = (NAMED, (IN, 0, 0, ON), (IN, 0, 0, b"\x90\x40\x64"), (IN, 0, 0, b"\xb0\x40\x7f"))
RELEASES = (OFF, b"\x80\x40\x40", b"\xb0\x40\x00")
ROOT = Path(__file__).parents[3]


def ends(journal: Path) -> list[Record]:
    """The records of a journal that say that it went on."""
    return [record for record in unpack(journal.read_bytes(), len(HEAD)) if record[0] == RECORDED]


class NotingEvent(threading.Event):
    """Notes how long it is waited for, at most."""

    waits_s: float | None = None

    def wait(self, timeout: float | None = None) -> bool:
        """Wait."""
        self.waits_s = timeout
        return super().wait(timeout)


class RecorderRig:
    """A recorder whose clocks are moved by hand."""

    def __init__(self, **limits: int) -> None:
        self.now = 0
        self.said: list[str] = []
        self.recorder = Recorder(self.said.append, clock=Clock(lambda: self.now, lambda: 1.7e9), **limits)
        self.recorder.log(RULED)

    def log(self, *records: Record) -> None:
        """What the loop does."""
        for record in records:
            self.recorder.log(record)

    def last(self, seconds: float) -> list[Record]:
        """The last seconds, without the time on the wall, and without the end."""
        *records, (kind, time, _, data) = unpack(self.recorder.last(seconds))
        assert (kind, time, data) == (RECORDED, self.now, TRIMMED)
        return [record for record in records if record[0] != WALL]

    def everything(self) -> list[Record]:
        """All that is known, without the time on the wall."""
        return [record for record in unpack(self.recorder.everything()) if record[0] != WALL]


@pytest.fixture
def rig() -> Iterator[RecorderRig]:
    """A recorder, stopped in the end."""
    rig = RecorderRig()
    yield rig
    rig.recorder.stop()


def test_the_last_seconds_can_be_had(rig: RecorderRig) -> None:
    """The take that nobody recorded, after the rules and names of then."""
    rig.log(*PLAYED[:3])
    rig.everything()
    rig.now = 20 * SECOND
    rig.log((IN, 20 * SECOND, 0, OFF))
    assert rig.last(5) == [RULED, NAMED, (IN, 20 * SECOND, 0, OFF)]
    assert rig.last(60) == [RULED, *PLAYED[:3], (IN, 20 * SECOND, 0, OFF)]


def test_after_minutes_only_what_counts_is_known() -> None:
    """The held note is told, the echo of an hour ago isn't."""
    rig = RecorderRig(limit_seconds=60)
    rig.log(*PLAYED[:3])
    rig.everything()
    rig.now = 90 * SECOND
    assert rig.everything() == [PLAYED[1], RULED, NAMED]


def test_the_time_on_the_wall_is_noted_each_minute(rig: RecorderRig) -> None:
    """So that it can be said when something happened; and at the end, what time it is."""
    for rig.now in (0, 30 * SECOND, 61 * SECOND):
        rig.log((OUT, rig.now, 0, ON))
        rig.everything()
    rig.now = 63 * SECOND
    walls = [record for record in unpack(rig.recorder.everything()) if record[0] == WALL]
    assert [record[1] for record in walls] == [0, 61 * SECOND, 63 * SECOND]
    assert {wall_in(record[3]) for record in walls} == {1.7e9}


def test_switches_are_noted_when_they_have_changed(rig: RecorderRig) -> None:
    """Whoever looks at the last minutes knows how they stood."""
    states: dict[str, State] = {"song": "verse", "up": False}

    def switches() -> Mapping[str, State]:
        return dict(states)

    rig.recorder.switches = switches
    for state in ("verse", "verse", "chorus"):
        states["song"] = state
        rig.log((IN, 0, 0, ON))
        rig.everything()
    noted = [state_in(record[3])["song"] for record in rig.everything() if record[0] == STATE]
    assert noted == ["verse", "chorus"]


def test_a_recording_begins_with_the_switches_of_then(rig: RecorderRig, tmp_path: Path) -> None:
    """A long press turns one long after the message that began it was logged."""
    up = [False]
    rig.recorder.switches = lambda: {"up": up[0]}
    rig.log((IN, 0, 0, ON))
    rig.everything()
    up[0] = True
    journal = rig.recorder.start_recording(tmp_path / "take.mid")
    rig.recorder.stop_recording()
    noted = [state_in(record[3]) for record in unpack(journal.read_bytes(), len(HEAD)) if record[0] == STATE]
    assert noted == [{"up": True}]


def test_a_recording_holds_what_came_while_it_ran(rig: RecorderRig, tmp_path: Path) -> None:
    """Neither what came before nor what came after; rules and names come first."""
    rig.log(*PLAYED[:3])
    journal = rig.recorder.start_recording(tmp_path / "take.mid")
    assert rig.recorder.recording == journal == tmp_path / "take.mid.journal"
    rig.log(PLAYED[3])
    assert rig.recorder.stop_recording() == (journal, 0)
    rig.log(PLAYED[4])
    kinds = [record[0] for record in unpack(journal.read_bytes(), len(HEAD))]
    assert kinds == [RULES, NAMES, WALL, IN, RECORDED]
    assert rig.recorder.recording is None


def test_a_recording_lasts_as_long_as_it_was_recorded(rig: RecorderRig, tmp_path: Path) -> None:
    """Two keys and a pedal held for three seconds: no message comes at their end, and yet that is when they end."""
    journal = rig.recorder.start_recording(tmp_path / "take.mid")
    rig.log(*HELD)
    rig.now = 3 * SECOND
    rig.recorder.stop_recording()
    take = make_take(journal.read_bytes(), len(HEAD))
    assert (take.seconds, take.held) == (3.0, 3)


def test_the_last_seconds_last_until_now_if_something_is_held(rig: RecorderRig) -> None:
    """Silence after the last release isn't part of what was played."""
    rig.log(*HELD)
    rig.now = 3 * SECOND
    assert make_take(rig.recorder.last(60)).seconds == 3.0
    rig.log(*((IN, rig.now, 0, release) for release in RELEASES))
    rig.now = 50 * SECOND
    assert make_take(rig.recorder.last(60)).seconds == 3.0


def test_a_silent_recording_notes_each_second_that_it_goes_on(rig: RecorderRig, tmp_path: Path) -> None:
    """So that a killed one ends about when it was killed; where something comes, that says it."""
    journals = [rig.recorder.start_recording(tmp_path / "take.mid")]
    rig.recorder.record_into(tmp_path / "evening")
    rig.log(*HELD)
    for rig.now in range(0, 3 * SECOND + 1, SECOND // 2):
        rig.recorder.last(0)
    journals.append(*left_behind(tmp_path / "evening"))
    for journal, data in zip(journals, (b"", TRIMMED), strict=True):
        expected = [(RECORDED, second * SECOND, 0, data) for second in (1, 2, 3)]
        wait_for(partial(lambda journal, expected: ends(journal) == expected, journal, expected))
        assert make_take(journal.read_bytes(), len(HEAD)).seconds == 3.0


def test_one_recording_at_a_time(rig: RecorderRig, tmp_path: Path) -> None:
    """And none is ended that wasn't begun."""
    with pytest.raises(MachineError, match="nothing is being recorded"):
        rig.recorder.stop_recording()
    rig.recorder.start_recording(tmp_path / "take.mid")
    with pytest.raises(MachineError, match="recorded already"):
        rig.recorder.start_recording(tmp_path / "other.mid")


def test_the_end_of_the_daemon_saves_the_recording(rig: RecorderRig, tmp_path: Path) -> None:
    """Nobody has to say record-stop first."""
    rig.recorder.start()
    rig.recorder.start_recording(tmp_path / "take.mid")
    rig.log(*PLAYED)
    rig.recorder.stop()
    assert [path.name for path in tmp_path.iterdir()] == ["take.mid"]
    kinds = [event.kind for event in mido_reader.events((tmp_path / "take.mid").read_bytes())]
    assert kinds.count("Note_on_c") == kinds.count("Note_off_c") == 2
    assert rig.said[-1].startswith("saved ")


def test_a_recording_that_cannot_be_saved_keeps_no_other_from_it(
    rig: RecorderRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The takes of the evening are ended and saved, whatever becomes of the one that was asked for."""

    def fail(journal: Path, say: object) -> None:
        raise RuntimeError

    rig.recorder.record_into(tmp_path / "evening")
    rig.recorder.start_recording(tmp_path / "take.mid")
    rig.log(*PLAYED)
    monkeypatch.setattr(recorder, "save_and_tell", fail)
    with pytest.raises(RuntimeError):
        rig.recorder.stop()
    assert [path.suffix for path in (tmp_path / "evening").iterdir()] == [".mid"]


def test_the_thread_takes_what_is_logged(rig: RecorderRig, tmp_path: Path) -> None:
    """Twice a second it reaches the disk, without being asked: that is what a crash can't take."""
    rig.recorder.start()
    journal = rig.recorder.start_recording(tmp_path / "take.mid")
    rig.log(*PLAYED)
    wait_for(lambda: len(list(unpack(journal.read_bytes(), len(HEAD)))) >= 2 + len(PLAYED))


def test_in_silence_the_thread_rests_until_something_is_to_be_recorded(
    rig: RecorderRig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A computer at rest isn't woken; what no disk is to hold yet can wait for its next look."""
    monkeypatch.setattr(recorder, "_DRAIN_EVERY_S", 0.005)
    monkeypatch.setattr(recorder, "_REST_S", 3600)
    bell = rig.recorder._hurry = NotingEvent()
    heard: list[Record] = []
    rig.recorder.start()
    with rig.recorder.followed_by(heard.extend):
        rig.recorder.collect()
        wait_for(lambda: bell.waits_s == 3600)
        rig.log(*PLAYED)
        threading.Event().wait(0.1)
        assert PLAYED[-1] not in heard
    journal = rig.recorder.start_recording(tmp_path / "take.mid")
    rig.log(*PLAYED)
    wait_for(lambda: PLAYED[-1] in unpack(journal.read_bytes(), len(HEAD)))


def test_recording_all_the_time_saves_takes_and_what_was_orphan(rig: RecorderRig, tmp_path: Path) -> None:
    """The start recovers what a crash left; a pause ends a take."""
    orphan(tmp_path / "old.mid.journal", *PLAYED)
    rig.recorder.record_into(tmp_path)
    wait_for(lambda: len(rig.said) == 1)
    assert "from before" in rig.said[0]
    rig.log(*PLAYED)
    rig.everything()
    rig.now = 61 * SECOND
    rig.everything()
    wait_for(lambda: len(rig.said) == 2)
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".mid", ".mid"]
    assert rig.recorder.recording is None


def test_a_take_goes_on_as_long_as_somebody_plays(rig: RecorderRig, tmp_path: Path) -> None:
    """Each message that comes in keeps it from ending; what we send of our own doesn't."""
    rig.recorder.record_into(tmp_path)
    for rig.now in range(0, 200 * SECOND, 50 * SECOND):
        rig.log((IN, rig.now, 0, ON), (OUT, rig.now, 0, ON))
        rig.everything()
        assert rig.recorder.recording is not None
    for rig.now in (200 * SECOND, 211 * SECOND):
        rig.log((OUT, rig.now, 0, OFF))
        rig.everything()
    assert rig.recorder.recording is None


def test_a_folder_that_cannot_be_used_is_told_at_the_start(rig: RecorderRig, tmp_path: Path) -> None:
    """Not after the concert."""
    (tmp_path / "file").write_text("")
    with pytest.raises(MachineError, match="can't be written here"):
        rig.recorder.record_into(tmp_path / "file")


def test_memory_is_bounded_by_bytes_too() -> None:
    """However dense the music, the ring stays within its bound, and keeps the youngest."""
    rig = RecorderRig(limit_bytes=2000)
    for rig.now in range(0, 300 * MS, MS):
        rig.log(*((OUT, rig.now, number, bytes((0x90, rig.now % 127, number))) for number in range(10)))
        rig.recorder.last(0)
    kept = rig.everything()
    assert kept[-1][1] == 299 * MS
    assert 20 < len(kept) < 2000


KILLED = """
import os, signal, sys
from pathlib import Path
from router.recording.recorder import Recorder
from tests.support.journal_samples import PLAYED, wait_for
recorder = Recorder()
recorder.start()
recorder.record_into(Path(sys.argv[1]))
for record in PLAYED:
    recorder.log(record)
journal = recorder.recording
wait_for(lambda: b"\\x80\\x3c\\x40" in journal.read_bytes())
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_was_recorded_before_a_kill_is_saved_at_the_next_start(rig: RecorderRig, tmp_path: Path) -> None:
    """kill -9 in the midst of a take; the next daemon makes the .mid file of it."""
    killed = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path)], cwd=ROOT, check=False)
    assert killed.returncode == -signal.SIGKILL
    assert [path.suffix for path in tmp_path.iterdir()] == [".journal"]
    rig.recorder.record_into(tmp_path)
    wait_for(lambda: len(rig.said) == 1)
    (take,) = tmp_path.glob("*.mid")
    kinds = [event.kind for event in mido_reader.events(take.read_bytes())]
    assert kinds.count("Note_on_c") == kinds.count("Note_off_c") == 2


KILLED_WHILE_HELD = """
import os, signal, sys, time
from pathlib import Path
from router.recording.recorder import Recorder
from rules.journal.format import HEAD, RECORDED, unpack
from tests.support.journal_samples import NAMED, ON, wait_for
recorder = Recorder()
recorder.start()
journal = recorder.start_recording(Path(sys.argv[1]))
began = time.monotonic_ns()
recorder.log(NAMED)
recorder.log((3, began, 0, ON))
wait_for(lambda: sum(one[0] == RECORDED and one[1] > began for one in unpack(journal.read_bytes(), len(HEAD))) >= 2)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_note_held_when_the_recording_was_killed_lasts_about_until_then(tmp_path: Path) -> None:
    """kill -9 about two seconds after the only message."""
    target = tmp_path / "take.mid"
    killed = subprocess.run([sys.executable, "-c", KILLED_WHILE_HELD, str(target)], cwd=ROOT, check=False)
    assert killed.returncode == -signal.SIGKILL
    take = save(tmp_path / "take.mid.journal").take
    assert (take.held, take.seconds > 1.4) == (1, True)
