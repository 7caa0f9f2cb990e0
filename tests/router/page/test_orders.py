"""What a browser may ask for, and what comes of recordings."""

from __future__ import annotations

from pathlib import Path

import pytest

from router.page.orders import OPEN_TO_ALL
from rules.journal.format import pack
from tests.support.journal_samples import PLAYED, orphan, packed
from tests.support.journalled_session import Performance
from tests.support.page_rig import PageRig
from tests.support.watched_daemon import WatchedDaemon


def test_all_may_silence_and_look_and_nothing_else() -> None:
    """What is open to all stays short."""
    assert {"panic", "through"} == OPEN_TO_ALL


def test_the_last_minutes_become_a_take(control: PageRig, daemon: WatchedDaemon, tmp_path: Path) -> None:
    """In the user's folder for takes; no file is overwritten."""
    files = []
    with control.browser() as browser:
        for played in (PLAYED, PLAYED[:3]):
            daemon.journal = packed(*played)
            files.append(Path(browser.order(do="save", minutes=5)["data"]["file"]))
    assert files[0] != files[1]
    assert all(file.parent == tmp_path / "pointsman" / "takes" for file in files)
    assert all(file.read_bytes().startswith(b"MThd") for file in files)
    assert daemon.asked == [("last", {"seconds": 300})] * 2


def test_where_nobody_played_nothing_is_saved(control: PageRig, tmp_path: Path) -> None:
    """It says so."""
    with control.browser() as browser:
        answer = browser.order(do="save", minutes=2)
    assert answer["error"] == "nobody played in the last 2 minutes"
    assert not list(tmp_path.rglob("*.mid"))


def test_a_recording_begins_and_ends(control: PageRig, daemon: WatchedDaemon, tmp_path: Path) -> None:
    """The daemon writes the journal; the page makes the take of it."""
    with control.browser() as browser:
        begun = browser.order(do="record", on=True)
        assert begun["data"]["file"] == "/nowhere/take.mid"
        ((verb, asked),) = daemon.asked
        assert verb == "record"
        assert Path(asked["path"]).parent == tmp_path / "pointsman" / "takes"
        daemon.recorded = str(orphan(tmp_path / "take.mid.journal", *PLAYED))
        ended = browser.order(do="record", on=False)
    assert ended["data"] == {"file": str(tmp_path / "take.mid")}
    assert (tmp_path / "take.mid").read_bytes().startswith(b"MThd")
    assert not (tmp_path / "take.mid.journal").exists()


def test_a_disk_that_refuses_is_said(control: PageRig, tmp_path: Path) -> None:
    """In words."""
    (tmp_path / "pointsman").write_text("in the way")
    with control.browser() as browser:
        answer = browser.order(do="record", on=True)
    assert "the folder for recordings can't be made" in answer["error"]


def test_everybody_may_ask_which_way_messages_took(page: PageRig, daemon: WatchedDaemon) -> None:
    """Also on a page that only shows."""
    performance = Performance()
    performance.arrive(0, b"\x90\x3c\x64")
    daemon.journal = b"".join(map(pack, performance.log))
    with page.browser() as browser:
        (one,) = browser.order(do="through", **{"from": "keys", "to": "organ"})["data"]["messages"]
        assert one["arrived"] == "from keys: note-on 1 C4 100"
        assert browser.order(do="through", rule="late")["data"] == {"messages": []}


@pytest.mark.parametrize(
    ("order", "asked"),
    [
        ({"do": "tap"}, ("tap", {})),
        ({"do": "clock", "command": "start"}, ("clock", {"do": "start"})),
        ({"do": "clock", "bpm": 96.5}, ("clock", {"bpm": 96.5})),
        ({"do": "take", "command": "pause"}, ("take", {"do": "pause"})),
        ({"do": "former rules"}, ("former-rules", {})),
    ],
    ids=str,
)
def test_an_order_becomes_a_question(
    control: PageRig, daemon: WatchedDaemon, order: dict[str, object], asked: tuple[str, dict[str, object]]
) -> None:
    """Of the words that the daemon knows."""
    with control.browser() as browser:
        assert browser.order(**order)["ok"]
    assert daemon.asked == [asked]


SONGS = {"names": ["Harbour Lights", "Tide", "Ebb"], "at": 1, "wrap": False}


@pytest.mark.parametrize(("to", "name"), [("next", "Ebb"), ("previous", "Harbour Lights"), ("Tide", "Tide")])
def test_a_song_is_a_switch_that_is_turned(control: PageRig, daemon: WatchedDaemon, to: str, name: str) -> None:
    """By its name, or as the next or the previous one."""
    daemon.state["songs"] = SONGS
    with control.browser() as browser:
        assert browser.order(do="song", to=to)["ok"]
    assert daemon.asked == [("switch", {"name": "song", "value": name})]


def test_at_the_end_of_the_set_list_there_is_no_next_song(control: PageRig, daemon: WatchedDaemon) -> None:
    """It says so. Without songs it says that."""
    daemon.state["songs"] = {**SONGS, "at": 2}
    with control.browser() as browser:
        assert browser.order(do="song", to="next")["error"] == '"Ebb" is the last song'
        daemon.state["songs"] = None
        assert browser.order(do="song", to="next")["error"] == "these rules have no songs"
    assert daemon.asked == []


def test_a_mistake_of_ours_is_answered_and_told(
    page: PageRig, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The page goes on."""

    def broken(*_: object) -> None:
        raise ZeroDivisionError("what a day")

    monkeypatch.setattr("router.page.passages.passages", broken)
    with page.browser() as browser:
        answer = browser.order(do="through", rule="late")
        assert answer["error"] == "internal error: see the terminal of the page"
        assert browser.order(do="panic")["ok"]
    assert "ZeroDivisionError: what a day" in capsys.readouterr().err
