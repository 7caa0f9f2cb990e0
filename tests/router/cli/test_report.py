"""`pointsman report`: what is in the file, what isn't, and that it can be played again."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from router.cli import daemon_report as command
from router.cli.daemon_report import ReportSettings, report
from router.midi.backend import Backend
from router.recording.report_file import journal_in, without_home
from rules.errors import MachineError
from rules.journal.format import HEAD, RULES, pack, rules_data, rules_in, unpack
from rules.journal.replay import replay
from tests.support.fake_clock import FakeClock
from tests.support.fake_daemon import STATUS
from tests.support.fake_midi_system import FakeBackend, Hub
from tests.support.journalled_session import MS, Performance
from tests.support.outgoing_records import went_out

ROOT = Path(__file__).parents[3]
ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 10))
HOME = Path("/home/ada lovage")


def performance() -> bytes:
    """A note with its end, and a note that is held; the rule file is in somebody's home folder."""
    played = Performance()
    for moment, message in ((1000, ON), (1500, OFF), (2000, bytes((0x90, 62, 100)))):
        played.now = moment * MS
        played.arrive(0, message)
    records = []
    for kind, time, number, data in played.log:
        if kind == RULES:
            texts = rules_in(data)
            comment = f"# see {HOME}/pit/notes.txt and /media/{HOME.name}/disk\n".encode()
            data = rules_data(((f"{HOME}/pit/rig.toml", comment + texts[0][1]), *texts[1:]))
        records.append((kind, time, number, data))
    return b"".join(map(pack, records))


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A report of that."""
    answers: Mapping[str, Any] = {
        "status": {**STATUS, "rules": {**STATUS["rules"], "files": [f"{HOME}/pit/rig.toml"]}},
        "last": {"journal": performance()},
    }
    monkeypatch.setattr(command, "ask_daemon", lambda name, verb, **_: answers[verb])
    monkeypatch.setattr(Path, "home", lambda: HOME)
    path = tmp_path / "report.json"
    hub = Hub()
    hub.plug("Pit Keyboard")

    def system(name: str | None, client: str) -> Backend:
        return FakeBackend(hub, client)

    assert report(ReportSettings(str(path)), FakeClock().clock, system) == 0
    return path


def test_it_holds_what_it_takes_to_play_it_again(written: Path) -> None:
    """The journal whole; rule files as text; versions, status, ports."""
    records = list(unpack(journal_in(written.read_bytes())))
    assert replay(records) == went_out(records)
    assert [data for kind, _, _, data in records if kind == 3] == [ON, OFF, bytes((0x90, 62, 100))]
    told = json.loads(written.read_bytes())
    assert told["rules"][0]["name"] == "~/pit/rig.toml"
    assert "[ports]" in told["rules"][0]["text"]
    assert told["status"]["held"] == 3
    assert told["ports"] == {"system": "fake", "inputs": ["Pit Keyboard 20:0"], "outputs": ["Pit Keyboard 20:0"]}
    assert set(told["versions"]) == {"pointsman", "python", "system"}


def test_the_name_of_the_home_folder_is_nowhere_in_it(written: Path) -> None:
    """Neither in status and rule files nor in the journal, nor where another disk is named after its user."""
    data = written.read_bytes()
    assert HOME.name.encode() not in data
    assert HOME.name.encode() not in journal_in(data)


@pytest.mark.parametrize(
    ("text", "clean"),
    [
        ("/home/ada/rig.toml", "~/rig.toml"),
        ("/home/ada", "~"),
        ("/home/adam/rig.toml", "/home/adam/rig.toml"),
        ("/media/ada/disk/x", "/media/~/disk/x"),
        ("adagio, canada/ada", "adagio, canada/ada"),
        ("ada", "ada"),
    ],
)
def test_only_folders_lose_their_names(text: str, clean: str) -> None:
    """A user may be called as something in the music."""
    assert without_home(text, Path("/home/ada")) == clean
    assert without_home(text, Path("/")) == text


def test_a_file_that_exists_is_not_replaced(written: Path) -> None:
    """Somebody may want to send that one."""
    before = written.read_bytes()
    with pytest.raises(MachineError, match="exists"):
        report(ReportSettings(str(written)), FakeClock().clock, lambda name, client: FakeBackend(Hub(), client))
    assert written.read_bytes() == before


def test_a_midi_system_that_fails_is_in_the_report(written: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It may be what the report is about."""

    def system(name: str | None, client: str) -> Backend:
        raise MachineError("there is none")

    path = written.with_name("other.json")
    capsys.readouterr()
    assert report(ReportSettings(str(path), json=True), FakeClock().clock, system) == 0
    assert json.loads(capsys.readouterr().out)["file"] == str(path)
    assert json.loads(path.read_bytes())["ports"] == {"error": "there is none"}


def replayed(path: Path) -> subprocess.CompletedProcess[str]:
    """What scripts/replay says of a file."""
    line = [sys.executable, str(ROOT / "scripts/replay"), str(path)]
    return subprocess.run(line, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("is_journal", [False, True])
def test_a_report_and_a_journal_can_be_replayed(written: Path, is_journal: bool) -> None:
    """Where each note went and what is held is printed, and that all is as it was."""
    if is_journal:
        written.write_bytes(HEAD + journal_in(written.read_bytes()))
    done = replayed(written)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert "        arrives at port rack: note-on 4 C4 100" in lines
    assert any(line.startswith("  note D4 on channel 1 of keys") for line in lines)
    assert lines[-2:] == [
        f"Replayed 3 messages that arrived, and {len(went_out(list(unpack(performance()))))} that went out.",
        "The engine sends the same as then.",
    ]


def test_the_first_difference_is_printed(written: Path) -> None:
    """The engine of then had sent another note."""
    records = list(unpack(journal_in(written.read_bytes())))
    changed = [
        (kind, time, number, data.replace(b"\x93\x3e", b"\x93\x40") if kind == 4 else data)
        for kind, time, number, data in records
    ]
    written.write_bytes(HEAD + b"".join(map(pack, changed)))
    done = replayed(written)
    assert done.returncode == 1
    assert done.stdout.splitlines()[-1].startswith("The engine sends something else than then: message ")


def test_other_files_are_refused(tmp_path: Path) -> None:
    """In words."""
    (tmp_path / "x.json").write_text('{"a": 1}')
    done = replayed(tmp_path / "x.json")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.endswith("x.json: it is neither a report of this version nor a journal\n")
