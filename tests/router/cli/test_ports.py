"""`pointsman ports`: what the computer has, and what rule files mean by it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from router.cli.port_list import PortsSettings, ports
from rules.ports.patterns import Found, find_port
from tests.support.fake_midi_system import FakeBackend, Hub

RULES = """
[ports]
keys = { input = "Pit Key*" }
pads = { input = "Pad Box" }
rack = { output = "Rack*" }
take = { output = true, virtual = true }
"""


@pytest.fixture
def backend() -> FakeBackend:
    """A computer with a keyboard and two equal modules; and a port of our own."""
    hub = Hub()
    hub.plug("Pit Keyboard:MIDI 1", receives=False)
    for _ in range(2):
        hub.plug("Rack", sends=False)
    hub.plug("pointsman:keys")
    return FakeBackend(hub)


@pytest.fixture
def rules(tmp_path: Path) -> str:
    """A rule file."""
    (tmp_path / "pit.toml").write_text(RULES)
    return str(tmp_path / "pit.toml")


def test_everything_the_computer_has(backend: FakeBackend, capsys: pytest.CaptureFixture[str]) -> None:
    """Both directions, with what to write for each; ours are left out."""
    assert ports(PortsSettings(), backend) == 0
    assert capsys.readouterr().out.splitlines() == [
        "inputs (fake):",
        "  port                 in the rule file",
        '  Pit Keyboard:MIDI 1  "Pit Keyboard"',
        "",
        "outputs (fake):",
        "  port  in the rule file",
        '  Rack  "Rack #1"',
        '  Rack  "Rack #2"',
    ]


def test_ports_of_a_running_daemon_are_not_proposed(capsys: pytest.CaptureFixture[str]) -> None:
    """Neither its outputs as inputs nor the other way round. A rule file may mean its virtual ports all the same."""
    hub = Hub()
    for name in (
        "pointsman rack:rack",
        "pointsman-listen:listen",
        "pointsman take-01:take",
        "Rack of pointsman:MIDI 1",
    ):
        hub.plug(name)
    backend = FakeBackend(hub)
    backend.client = "pointsman-ports"
    assert ports(PortsSettings(json=True), backend) == 0
    told = json.loads(capsys.readouterr().out)
    for direction in ("inputs", "outputs"):
        assert [port["name"] for port in told[direction]] == ["Rack of pointsman:MIDI 1"]


def test_long_names_leave_room_for_what_to_write(capsys: pytest.CaptureFixture[str]) -> None:
    """Lines fit 80 columns; what is to be written is whole."""
    hub = Hub()
    hub.plug("Pit Interface of the left side of the stage:Pit Interface MIDI 1", sends=False)
    ports(PortsSettings(), FakeBackend(hub))
    *_, line = capsys.readouterr().out.splitlines()
    assert line == '  Pit Interface ...terface MIDI 1  "Pit Interface of the left side of the stage"'
    assert len(line) == 80


def test_what_is_to_be_written_means_the_port(backend: FakeBackend, capsys: pytest.CaptureFixture[str]) -> None:
    """For every port of the data."""
    ports(PortsSettings(json=True), backend)
    told = json.loads(capsys.readouterr().out)
    assert (told["command"], told["ok"], told["system"]) == ("ports", True, "fake")
    outputs = [port["full_name"] for port in told["outputs"]]
    assert [find_port(port["pattern"], outputs) for port in told["outputs"]] == [Found(0), Found(1)]
    assert told["inputs"][0]["name"] == "Pit Keyboard:MIDI 1"


def test_a_computer_without_ports(capsys: pytest.CaptureFixture[str]) -> None:
    """Says so."""
    assert ports(PortsSettings(), FakeBackend(Hub())) == 0
    assert capsys.readouterr().out.splitlines() == [
        "inputs (fake): none",
        "",
        "outputs (fake): none",
    ]


def test_what_the_ports_of_a_rule_file_mean(
    backend: FakeBackend, rules: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Found, missing, several, or made by us; exit code 1 unless each means exactly one."""
    assert ports(PortsSettings((rules,)), backend) == 1
    assert capsys.readouterr().out.splitlines() == [
        "port       the computer's",
        "keys  in   Pit Keyboard:MIDI 1",
        'pads  in   missing: there is no port named "Pad Box"',
        'rack  out  "Rack*" means Rack or Rack: write more, or #2 after it',
        'take  out  other programs find it as "take"',
    ]


def test_a_rig_that_is_complete(backend: FakeBackend, rules: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 0, and the same as data."""
    Path(rules).write_text(RULES.replace("Rack*", "Rack #2"))
    backend.hub.plug("Pad Box")
    assert ports(PortsSettings((rules,), json=True), backend) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["ok"] is True
    assert [(port["name"], port["state"], port["computer_port"]) for port in told["ports"]] == [
        ("keys", "found", "Pit Keyboard:MIDI 1"),
        ("pads", "found", "Pad Box"),
        ("rack", "found", "Rack"),
        ("take", "virtual", None),
    ]
