"""The command `play`: which takes, as what, from where, and what is said of it."""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

import router.cli.rules_played_here as played_here_module
from router.cli.main import main
from router.cli.rules_played_here import play_here
from router.cli.take_feeder import TakeFeeder
from router.cli.take_session import PlaySettings, TakeSession, found_takes
from router.daemon.realtime import Realtime
from router.files.clock import SYSTEM_CLOCK
from rules.errors import MachineError, PointsmanError
from rules.playback.take_stream import Part, PlayableTake
from tests.support.fake_clock import FakeClock
from tests.support.fake_midi_system import FakeBackend, Hub
from tests.support.live_rig import silent
from tests.support.played_files import OFF, ON, file_bytes, take_of, track_of

RULES = """
[ports]
keys = { input = "Keys*" }
pads = { input = "Pads*" }
rack = { output = "Rack*", clock = "pads" }
[[rules]]
from = "keys"
to = "rack"
[[rules]]
from = "pads"
steps = [{ transpose = 12 }]
to = "rack"
"""
STATE = {
    "at": 0, "room": 100, "paused": False, "over": False, "pending": False, "orders": [], "turn": 1,
    "bar": 1, "seconds": 0.0, "played": 0, "nowhere": 0,
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the takes are: two tracks, 20 ms long."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rules.toml").write_text(RULES)
    events = [(0, ON), (2, OFF)]
    (tmp_path / "a.mid").write_bytes(file_bytes(track_of(events, 4, "Tune"), track_of([(1, ON), (3, OFF)], 4, "Drums")))
    return tmp_path


@pytest.fixture(autouse=True)
def _in_no_hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    """The interpreter of the tests stays as it is, and gets no realtime: later tests would play with it."""
    monkeypatch.setattr(played_here_module, "prefer_latency", lambda: None)
    monkeypatch.setattr(played_here_module, "take_realtime", Realtime)


class Rig:
    """The ports of the computer, for `--rules`."""

    def __init__(self) -> None:
        hub = Hub()
        self.rack = hub.plug("Rack", sends=False)
        self.pads = hub.plug("Pads", receives=False)
        self.backend = FakeBackend(hub)

    def play(self, files: Sequence[Path], **settings: Any) -> int:
        """Play without a daemon."""
        wanted = PlaySettings(tuple(map(str, files)), rules=("rules.toml",), **settings)
        return play_here(wanted, files, SYSTEM_CLOCK, self.backend)

    @property
    def heard(self) -> list[bytes]:
        """The notes that the rack got."""
        return [message for message in self.rack.heard if message[0] < 0xF0 and message[0] & 0xF0 in (0x80, 0x90)]


def test_a_pedal_begins_each_take(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Pressed again and again: the first press begins the first take, a later one the next, or what follows it."""
    (folder / "rules.toml").write_text(
        RULES
        + '[switches]\ngo = { from = "pads", note = "C2", mode = "momentary" }\n'
        + '[[on_switch]]\nwhen = "go"\ndo = "take next"\n'
    )
    rig = Rig()
    over = threading.Event()

    def press() -> None:
        while not over.wait(0.05):
            rig.pads.play(b"\x90\x24\x64", b"\x80\x24\x40")

    pressing = threading.Thread(target=press)
    pressing.start()
    try:
        assert rig.play([folder / "a.mid"] * 3, source="keys", waits=True, json=True) == 0
    finally:
        over.set()
        pressing.join()
    told = json.loads(capsys.readouterr().out)
    assert [take["file"] for take in told["takes"]] == [str(folder / "a.mid")] * 3
    assert rig.heard[0] == ON
    assert silent(rig.rack.heard)


class Answers:
    """A link that answers what a test has laid out; `asked` are the questions."""

    def __init__(self, *answers: Mapping[str, Any]) -> None:
        self.answers = list(answers)
        self.asked: list[dict[str, Any]] = []

    def ask(self, **arguments: Any) -> Mapping[str, Any]:
        """The next answer; the last one again and again."""
        self.asked.append(arguments)
        return {**STATE, **(self.answers.pop(0) if len(self.answers) > 1 else self.answers[0])}


def test_rules_are_played_without_a_daemon(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Single tracks as other inputs; the summary names messages, and nothing sounds in the end."""
    rig = Rig()
    assert rig.play([folder / "a.mid"], source="keys", tracks=("Drums=pads",)) == 0
    up = bytes((0x90, 72, 100)), bytes((0x80, 72, 64))
    assert rig.heard == [ON, up[0], OFF, up[1]]
    assert silent(rig.rack.heard)
    assert f"{folder / 'a.mid'}: 7 messages played as keys" in capsys.readouterr().out


def test_a_mistake_of_the_one_who_feeds_is_reported(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In words. What sounds ends, and neither exit code nor data are those of takes that were played."""

    def fails(*_: object) -> None:
        raise ZeroDivisionError("a bar of no length")

    monkeypatch.setattr(TakeFeeder, "play", fails)
    rig = Rig()
    assert rig.play([folder / "a.mid"], source="keys", json=True) == 1
    said = capsys.readouterr()
    assert not json.loads(said.out)["ok"]
    assert "Internal error. Please report: Traceback (most recent call last):\n" in said.err
    assert "ZeroDivisionError: a bar of no length\n" in said.err
    assert silent(rig.rack.heard)


def test_the_summary_as_data(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An object for each take."""
    assert Rig().play([folder / "a.mid"] * 2, source="keys", json=True, sends_clock=False) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["command"], told["ok"]) == ("play", True)
    assert [(take["as"], take["messages"], take["nowhere"]) for take in told["takes"]] == [(["keys"], 4, 0)] * 2


def test_the_clock_goes_to_the_port_that_wants_it(folder: Path) -> None:
    """As pads it is the clock of the rack; not with --no-clock."""
    for sends_clock in (True, False):
        rig = Rig()
        rig.play([folder / "a.mid"], source="pads", sends_clock=sends_clock)
        assert (b"\xfa" in rig.rack.heard, b"\xfc" in rig.rack.heard) == (sends_clock, sends_clock)


def test_one_of_several_that_cannot_be_played_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The others play, and the exit code is 1; a single one is an error."""
    (folder / "b.mid").write_bytes(b"no MIDI")
    rig = Rig()
    assert rig.play([folder / "b.mid", folder / "a.mid"], source="keys") == 1
    assert f"{folder / 'b.mid'}: " in capsys.readouterr().err
    assert rig.heard
    with pytest.raises(MachineError, match=r"b\.mid"):
        rig.play([folder / "b.mid"], source="keys")


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({}, "Choose one: --as keys, --as pads"),
        ({"source": "kyes"}, '--as: there is no input port named "kyes": the inputs are keys, pads - did you'),
        ({"source": "keys", "tracks": ("Drums",)}, '--track "Drums": write it as in'),
        ({"source": "keys", "tracks": ("Drums=rack",)}, '--track: there is no input port named "rack"'),
        ({"source": "keys", "tracks": ("Bass=pads",)}, 'has no track "Bass": write one of #1 "Tune", #2 "Drums"'),
        ({"source": "keys", "from_bar": 9}, "a.mid: there is no bar 9: it ends in bar 1"),
    ],
)
def test_what_cannot_be_played_is_said(folder: Path, settings: dict[str, Any], said: str) -> None:
    """Before anything is played."""
    link = Answers({"inputs": ["keys", "pads"]})
    session = TakeSession(PlaySettings(("a.mid",), **settings), [folder / "a.mid"], link, SYSTEM_CLOCK)
    with pytest.raises(PointsmanError, match=said):
        session.play_all()
    assert all("begin" not in asked for asked in link.asked)


@pytest.mark.parametrize(
    "settings",
    [{}, {"source": "kyes"}, {"source": "keys", "tracks": ("Bass=pads",)}, {"source": "keys", "from_bar": 9}],
)
def test_without_a_daemon_nothing_is_opened_for_what_cannot_be_played(folder: Path, settings: dict[str, Any]) -> None:
    """So no device gets what it wants first, and none that others use is disturbed."""
    rig = Rig()
    with pytest.raises(PointsmanError):
        rig.play([folder / "a.mid"], **settings)
    assert (rig.backend.opened, rig.rack.heard) == (0, [])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["a.mid", "--from-bar", "0"], "isn't a bar: write 1 or more"),
        (["a.mid", "--loop", "4..3"], "isn't a range of bars"),
        (["a.mid", "--loop", "a.mid"], "write the first and the last, as in 17..24"),
        (["--as", "keys"], "the following arguments are required: TAKE"),
    ],
)
def test_options_say_what_they_want(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """With the form to write."""
    assert main(["play", *arguments]) == 2
    assert said in capsys.readouterr().err


def test_without_a_daemon_or_rules_it_says_so(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And what to begin with, or what to add."""
    folder.chmod(0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    assert main(["play", "a.mid", "--as", "keys"]) == 2
    assert capsys.readouterr().err == (
        'pointsman play: there is no daemon named "pointsman": begin with pointsman run RULES. '
        "To play without a daemon, add --rules RULES\n"
    )
    assert main(["play", "missing.mid", "--as", "keys"]) == 2
    assert "missing.mid: the file can't be read" in capsys.readouterr().err


def test_a_folder_is_played_by_name(folder: Path) -> None:
    """Rule files in it are no takes."""
    (folder / "0.mid").write_bytes((folder / "a.mid").read_bytes())
    assert [path.name for path in found_takes([str(folder)])] == ["0.mid", "a.mid"]


def feeder(link: Answers, order: str = "") -> TakeFeeder:
    """Who feeds; once an order is typed."""
    orders = [order]
    return TakeFeeder(link, lambda state: orders.pop() if orders else "", FakeClock().clock)


def playable() -> PlayableTake:
    """Two notes a minute apart."""
    return PlayableTake(take_of([(0, ON), (96 * 120, OFF)], end=96 * 120), [0], by_clock=False, sends_clock=False)


def test_only_a_second_and_a_half_is_sent_ahead() -> None:
    """What comes later waits until the take is there; each question says up to where all is known."""
    link = Answers({}, {"at": 0}, {"at": 10}, {"orders": ["take end"]})
    assert feeder(link).play(playable(), Part()).order == "take end"
    fed = [asked for asked in link.asked if "feed" in asked]
    assert [message for _, source, *message in fed[0]["feed"] if source is not None] == [[ON.hex()]]
    assert (fed[0]["until"], fed[0]["turn"], fed[0]["last"]) == (1_500_000_000, 1, False)
    assert link.asked[-1] == {"wait_ms": 100}


def test_what_is_typed_goes_to_the_daemon() -> None:
    """And the take that follows is the one who asked's business."""
    link = Answers({}, {}, {"orders": ["take next"], "played": 5})
    played = feeder(link, "take next").play(playable(), Part())
    assert (played.order, played.messages) == ("take next", 5)
    assert {"order": "take next"} in link.asked


def test_where_the_clock_starts_again_all_is_sent_again() -> None:
    """From the beginning, in the new turn."""
    link = Answers({}, {"at": 0}, {"orders": ["take again"], "turn": 2}, {"orders": ["take end"]})
    feeder(link).play(playable(), Part())
    fed = [(asked["turn"], asked["feed"][1][2]) for asked in link.asked if asked.get("feed")]
    assert fed == [(1, ON.hex()), (2, ON.hex())]


def test_the_command_stays_for_the_last_echoes() -> None:
    """Until nothing is pending any more."""
    link = Answers({"over": True, "pending": True}, {"over": True, "pending": True}, {"over": True, "played": 2})
    assert feeder(link).play(playable(), Part()).messages == 2
    assert len(link.asked) == 3


def test_it_waits_for_a_pedal_before_a_take() -> None:
    """Then it feeds."""
    link = Answers({}, {}, {"orders": ["take next"]})
    assert feeder(link).wait() == "take next"


def test_a_clock_that_starts_while_it_waits_is_no_pedal() -> None:
    """The take that waits doesn't begin with it."""
    link = Answers({}, {"orders": ["take again"]}, {"orders": ["take again", "take next"]})
    assert feeder(link).wait() == "take next"


def test_a_take_that_was_given_up_is_an_error() -> None:
    """The command was stopped for too long."""
    with pytest.raises(MachineError, match="heard nothing of this command for too long"):
        feeder(Answers({"abandoned": True})).play(playable(), Part())


def test_a_long_sysex_is_sent_in_pieces() -> None:
    """No question is longer than the daemon reads."""
    long = b"\xf0" + bytes(20_000) + b"\xf7"
    take = PlayableTake(take_of([(0, long)], end=1), [0], by_clock=False, sends_clock=False)
    link = Answers({}, {}, {}, {}, {"over": True})
    feeder(link).play(take, Part())
    pieces = [entry for asked in link.asked for entry in asked.get("feed", []) if entry[1] is not None]
    assert bytes.fromhex("".join(entry[2] for entry in pieces)) == long
    assert [entry[3:] for entry in pieces] == [[1]] * (len(pieces) - 1) + [[]]
    assert max(len(json.dumps(asked)) for asked in link.asked) < 20_000


def test_what_was_played_before_ctrl_c_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of the take that it ended."""

    class Interrupted(Answers):
        def ask(self, **arguments: Any) -> Mapping[str, Any]:
            if len(self.asked) == 5:
                raise KeyboardInterrupt
            return super().ask(**arguments)

    link = Interrupted({"inputs": ["keys"], "played": 3, "nowhere": 1})
    session = TakeSession(PlaySettings(("a.mid",)), [folder / "a.mid"], link, SYSTEM_CLOCK)
    with pytest.raises(KeyboardInterrupt):
        session.play_all()
    session.tell()
    assert capsys.readouterr().out == f"{folder / 'a.mid'}: 3 messages played as keys; 1 message matched no rule\n"
