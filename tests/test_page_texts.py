"""Blocks of text on the pages, written by hand: the program prints them on a computer with the ports that they show."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from router.cli import history
from router.cli.gesture_report import LearnSettings, learn
from router.cli.incoming_report import ListenSettings, listen
from router.cli.main import main
from router.cli.note_player import SoundcheckSettings, soundcheck
from rules.journal.format import WALL, Names, Record, pack, wall_data
from rules.midi.notation import parse_whole_message
from tests.support.fake_midi_system import FakeBackend, Hub
from tests.support.journalled_session import MS, Performance
from tests.support.pages import BLOCKS, SAVED, printed, save_everything
from tests.support.timed_actions import TimedActions


def block(page: str, begin: str = "") -> str:
    """The block of text of a page that begins so; the only one if nothing is said."""
    (text,) = [one.text for one in BLOCKS if (one.page, one.language) == (page, "text") and one.text.startswith(begin)]
    return text


def test_listen(capsys: pytest.CaptureFixture[str]) -> None:
    """Notes, a pedal and a clock."""
    hub = Hub()
    keyboard = hub.plug("Pit Keyboard:MIDI 1", receives=False)
    actions = TimedActions(step=0.001)
    actions.play(1, keyboard, "note-on 1 C4 100")
    actions.play(1.1042, keyboard, "controller 1 sustain 127")
    for beat in range(100):
        actions.play(2 + beat * 60 / 125 / 24, keyboard, "clock")
    listen(ListenSettings(), FakeBackend(hub), actions.time.clock)
    shown = block("listen")
    printed_now = capsys.readouterr().out
    assert timed(printed_now)[: len(timed(shown))] == timed(shown)


def timed(text: str) -> list[str]:
    """The lines, without the times since the one before, which depend on when the program looks."""
    return [re.sub(r"  \+[0-9.]+ m?s", "", line) for line in text.splitlines()]


def test_learn_in_the_readme(capsys: pytest.CaptureFixture[str]) -> None:
    """The invitation, and what a key did; the lines for a rule file follow."""
    hub = Hub()
    keyboard = hub.plug("Pit Keyboard:MIDI 1", receives=False)
    actions = TimedActions(step=0.001)
    actions.play(1, keyboard, "note-on 1 C4 72")
    actions.play(1.2, keyboard, "note-off 1 C4 64")
    learn(LearnSettings((), None, False), FakeBackend(hub), actions.time.clock)
    shown = block("README", "$ pointsman learn\n").splitlines()[1:]
    assert capsys.readouterr().out.splitlines()[: len(shown)] == shown


def test_soundcheck(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A rig of which one port is missing."""
    rig = """
        ports = { rack1 = { output = "Pit Interface 1" }, rack2 = { output = "Pit Interface 2" } }
        [devices]
        organ = { port = "rack1", channel = 4 }
        kit = { port = "rack1", channel = 10 }
        bass = { port = "rack2", channel = 2 }
    """
    (tmp_path / "pit.toml").write_text(rig)
    hub = Hub()
    hub.plug("Pit Interface 1", sends=False)
    soundcheck(SoundcheckSettings((str(tmp_path / "pit.toml"),)), FakeBackend(hub), lambda: lambda: True)
    assert block("soundcheck") in capsys.readouterr().out


def test_undo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two recordings that were rewritten in place get back what they were."""
    save_everything(tmp_path)
    monkeypatch.chdir(tmp_path)
    printed("pointsman rewrite examples/repair-takes.toml takes/ --in-place")
    date = r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d"
    undone = printed("pointsman rewrite --undo takes/")
    assert re.sub(date, "DATE", undone) == re.sub(date, "DATE", block("rewrite", "2 files"))


def test_trace_last(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A note that is held, and a switch that was set by command."""
    names = Names(("keyboard", "pads"), ("cable_a", "cable_b"))
    performance = Performance((("pit.toml", SAVED["pit.toml"].encode()),), names)
    performance.now = 7_123 * MS
    performance.arrive(0, parse_whole_message("note-on 1 C4 100"))
    performance.now = 9_410 * MS
    performance.turn("giant", True)
    eight_in_the_evening = time.mktime((2026, 11, 25, 20, 14, 0, 0, 0, -1))
    wall: Record = (WALL, 0, 0, wall_data(eight_in_the_evening))
    data = b"".join(map(pack, [performance.log[0], wall, *performance.log[1:]]))
    monkeypatch.setattr(history, "ask_daemon", lambda name, verb, patience_s: {"journal": data})
    assert main(["trace", "--last"]) == 0
    assert capsys.readouterr().out == block("trace", "20:14:07")


def test_every_text_is_tried() -> None:
    """Here or elsewhere: ports, programs and a take in tests/test_pages.py, learn and status with their commands."""
    texts = [one.page for one in BLOCKS if one.language == "text"]
    picture, ports, learning = (block("README", begin) for begin in (" ", "$ pointsman ports", "$ pointsman learn"))
    assert len({picture, ports, learning}) == texts.count("README")
    once = ["learn", "listen", "ports", "rewrite", "run", "soundcheck", "status", "trace", "trace"]
    assert sorted(texts) == sorted([*["README"] * 3, *once, "python", "python"])
