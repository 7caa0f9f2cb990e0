"""Ports on a sound server that dies, hangs, or comes back."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence

import pytest

from rules.errors import MachineError
from tests.support.fake_midi_system import FakeOutput
from tests.support.port_rig import KEYS, NOTE, RACK, TAKE, Rig


def failing(words: str) -> Callable[[], list[str]]:
    """A list of ports that can't be had."""

    def names() -> list[str]:
        raise MachineError(words)

    return names


def test_names_that_can_not_be_read_are_told_once_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is open plays on meanwhile."""
    rig = Rig()
    with monkeypatch.context() as broken:
        broken.setattr(rig.backend, "input_names", failing("the ports can't be listed"))
        assert rig.scan() == [("unlisted", "the ports can't be listed")]
        assert rig.scan() == []
        assert rig.passes()
    rig.hub.unplug(rig.stage)
    assert rig.scan()[0] == ("lost", 'input "keys": Pit Keyboard has gone')
    with monkeypatch.context() as broken:
        broken.setattr(rig.backend, "input_names", failing("the ports can't be listed"))
        assert rig.scan() == [("unlisted", "the ports can't be listed")]


def test_a_server_that_dies_is_missed_and_waited_for() -> None:
    """All ports are lost with it, nothing is touched, nothing freezes; when it is back, all are opened anew."""
    rig = Rig(KEYS, RACK, TAKE, server=True)
    assert rig.die() == [
        ("server lost", "fake doesn't answer any more; waiting for it"),
        ("lost", 'input "keys": lost with it'),
        ("lost", 'output "rack": lost with it'),
        ("lost", 'output "take": lost with it'),
    ]
    rig.ports.outputs["rack"].send(NOTE, rig.now)
    assert (rig.ports.inputs, rig.backend.losses) == ([], 1)
    assert {port["state"] for port in rig.ports.state()} == {"server lost"}
    rig.hub.revive()
    assert rig.scan() == [
        ("server back", "fake is back"),
        ("found", 'input "keys": Pit Keyboard is back'),
        ("found", 'output "rack": Rack is back'),
        ("found", 'output "take": other programs find it as "take" again'),
    ]
    assert rig.passes()


def test_nothing_is_opened_on_a_server_that_has_just_died() -> None:
    """Not yet missed, but it is asked before: new rules wait for it, and play once it is back."""
    rig = Rig(server=True)
    rig.hub.die()
    opened = rig.backend.opened
    assert rig.ports.want([KEYS, RACK, TAKE], rig.now) == []
    assert rig.backend.opened == opened
    assert rig.die()[0][0] == "server lost"
    rig.hub.revive()
    assert ("found", 'output "take": other programs find it as "take"') in rig.scan()


def test_rules_that_change_while_the_server_is_away() -> None:
    """They count when it is back."""
    rig = Rig(server=True)
    rig.die()
    assert rig.ports.want([KEYS], rig.now) == []
    rig.ports.drop_unwanted()
    rig.hub.revive()
    assert rig.scan() == [("server back", "fake is back"), ("found", 'input "keys": Pit Keyboard is back')]


def test_a_hiccup_of_the_server_is_told() -> None:
    """At most once a minute: what was played in that moment may be lost. Each hiccup is told once, not again later."""
    rig = Rig(server=True)
    loopback = rig.hub.find("pointsman:heartbeat")
    told: list[tuple[str, str]] = []
    for _ in range(40):
        rig.ports.pump(rig.now)
        for listener in loopback.listeners:
            listener.waiting.clear()
        told += rig.scan(0.2)
    assert told == [("dropping", "fake had a hiccup: what you played in that moment may be lost")]
    told = [line for _ in range(800) for line in rig.scan(0.2)]
    assert told == []


def test_a_server_that_fails_is_reported_and_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever its heartbeat raises ends nothing; when it takes beats again, everything is opened anew."""
    send = FakeOutput.send_message
    fails = False

    def beat(self: FakeOutput, message: Sequence[int]) -> None:
        if fails and self.virtual:
            raise RuntimeError("broken pipe")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", beat)
    rig = Rig(server=True)
    reported: list[str] = []
    rig.ports.report = lambda: reported.append(traceback.format_exc())
    fails = True
    said = [rig.scan(0.3) for _ in range(10)]
    fails = False
    assert any(("server lost", "fake doesn't answer any more; waiting for it") in told for told in said)
    assert all("broken pipe" in text for text in reported)
    assert len(reported) >= 5
    for _ in range(10):
        rig.scan(0.3)
    assert rig.passes()
