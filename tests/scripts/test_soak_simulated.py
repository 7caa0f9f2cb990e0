"""Simulated evenings end in silence; and scripts/endurance/soak_simulated.py would notice if they didn't."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

from endurance import soak_simulated
from endurance.soak_simulated import Evening
from tests.support.fake_midi_system import FakeOutput


@pytest.mark.parametrize("cables", [False, True])
def test_an_evening_ends_in_silence(cables: bool) -> None:
    """Three seconds of it, with new rules and, in one of them, pulled cables."""
    evening = Evening(random.Random(2), cables, 3_000)
    assert evening.wrong == []
    assert evening.counts["reloads"] > 2
    assert evening.counts["messages heard"] > evening.counts["messages played"] > 1_000


@pytest.mark.parametrize(
    ("status", "wrong"),
    [(0x80, ["something sounds on at Rack", "something sounds on at Box"]), (0xE0, [])],
)
def test_lost_messages_are_noticed(monkeypatch: pytest.MonkeyPatch, status: int, wrong: Sequence[str]) -> None:
    """Note-offs by what sounds on, all others by what went through as it came."""
    send = FakeOutput.send_message

    def sends(output: FakeOutput, message: Sequence[int]) -> None:
        if message[0] & 0xF0 != status:
            send(output, message)

    monkeypatch.setattr(FakeOutput, "send_message", sends)
    found = Evening(random.Random(2), False, 1_000).wrong
    assert found[:-1] == wrong
    assert "went through" in found[-1]


def test_an_evening_with_a_violation_is_counted(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is printed, and the exit code is not 0."""
    monkeypatch.setattr(soak_simulated, "silent", lambda messages: False)
    monkeypatch.setattr(soak_simulated, "EVENING_MS", 100.0)
    assert soak_simulated.main(["0"]) == 1
    assert "evening 1: something sounds on at Rack" in capsys.readouterr().out
