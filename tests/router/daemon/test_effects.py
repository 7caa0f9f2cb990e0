"""What pads and pedals ask for: panic in the loop, recordings and reloads in a thread that may wait for the disk."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

import rules.journal.format as journal
from router.daemon import daemon as run_module
from router.daemon.control_server import ControlServer
from router.daemon.daemon import Daemon
from router.daemon.effects import Effects
from router.daemon.prepared_rules import prepare
from router.daemon.realtime import Realtime
from router.daemon.run_settings import RunSettings
from router.midi.port_manager import PortManager
from router.recording.recorder import Recorder
from rules.journal.replay import replay
from tests.support.fake_midi_system import FakeBackend, Hub
from tests.support.live_rig import RULES, LiveRig
from tests.support.outgoing_records import went_out

ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
PEDAL, PEDAL_UP = b"\xb0\x43\x7f", b"\xb0\x43\x00"
ALL_NOTES_OFF = b"\xb0\x7b\x00"
PANIC = RULES + '[[on_switch]]\nwhen = "up"\ndo = "panic"\nsend = { rack = "program 1 5" }\n'


def test_a_pedal_asks_for_panic() -> None:
    """What sounds ends, after what the same action sends. The journal says so, and plays again alike."""
    rig = LiveRig(PANIC)
    heard: list[bytes] = []

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        rig.rack.messages.clear()
        rig.pads.play(PEDAL)
        yield 2
        heard.extend(rig.rack.messages)
        rig.pads.play(PEDAL_UP)
        yield 2
        assert not rig.rack.messages[len(heard) :]

    rig.goes(script())
    assert heard[:2] == [b"\xc0\x04", OFF]
    assert ALL_NOTES_OFF in heard
    assert 'a switch asks for "panic"' in rig.said
    assert [kind for kind, *_ in rig.records].count(journal.PANIC) == 1
    assert replay(rig.records) == went_out(rig.records)


def test_a_command_asks_as_a_pedal_does() -> None:
    """The switch is turned by hand, and again: each time everything is silenced."""
    rig = LiveRig(PANIC)

    def script() -> Iterator[float]:
        rig.live.turn("up", True)
        yield 1
        rig.live.turn("up", True)
        yield 1

    rig.goes(script())
    assert [kind for kind, *_ in rig.records].count(journal.PANIC) == 2


def test_what_is_true_at_the_start_asks_for_nothing() -> None:
    """A panic, a recording or a reload is asked for by somebody."""
    rig = LiveRig(PANIC.replace('when = "up"\ndo', 'when = "not up"\ndo'))

    def script() -> Iterator[float]:
        yield 1

    rig.goes(script())
    assert b"\xc0\x04" in [data for kind, _, _, data in rig.records if kind == journal.OUT]
    assert journal.PANIC not in [kind for kind, *_ in rig.records]


RECORDED = """
[ports]
keys = { input = "Keys*" }
rack = { output = "Rack*" }
[switches]
tape = { from = "keys", controller = 67 }
[[on_switch]]
when = "tape"
do = "record on"
[[on_switch]]
when = "not tape"
do = ["record off", "reload"]
[[rules]]
from = "keys"
to = "rack"
"""


def test_a_pedal_records_a_take_and_reloads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, as_a_terminal_starts_us: None
) -> None:
    """The take is in the folder of --record, or in the folder for data; where it is is said."""
    monkeypatch.setattr(run_module, "prefer_latency", lambda: None)
    monkeypatch.setattr(run_module, "take_realtime", Realtime)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "rules.toml").write_text(RECORDED)
    hub = Hub()
    keys, rack = hub.plug("Keys", receives=False), hub.plug("Rack", sends=False)
    settings = RunSettings((str(tmp_path / "rules.toml"),), name="club")
    said: list[str] = []
    looks: list[int] = []

    def look() -> list[str]:
        looks.append(0)
        if len(looks) == 1:
            keys.play(PEDAL)
        elif len(looks) == 3:
            keys.play(ON, OFF)
        elif len(looks) == 5:
            keys.play(PEDAL_UP, PEDAL)
        elif len(looks) == 9:
            signal.raise_signal(signal.SIGTERM)
        return []

    daemon = Daemon(settings, prepare(settings.rules), said.append, look)
    daemon.play(PortManager(FakeBackend(hub)), ControlServer("club", {}))
    assert rack.heard == [ON, OFF]
    takes = sorted(path.suffix for path in (tmp_path / "data" / "pointsman" / "takes").iterdir())
    assert takes == [".mid"]
    words = "\n".join(said)
    assert words.index('a switch asks for "record on"') < words.index("recording into")
    assert "no rule file has changed" in words


def test_what_cannot_be_done_is_said(tmp_path: Path) -> None:
    """Nothing is recorded that could end; a file is in the way of the folder. The next thing is done all the same."""
    said: list[str] = []
    reloads: list[int] = []
    (tmp_path / "takes").write_text("in the way")
    effects = Effects(Recorder(said.append), lambda: reloads.append(1), said.append, tmp_path / "takes" / "tonight")
    effects.start()
    for effect in ("record off", "record on", "reload"):
        effects.ask(effect)
    effects.stop()
    assert said[0].startswith("record off: nothing is being recorded")
    assert said[1].startswith("record on: ")
    assert reloads == [1]
