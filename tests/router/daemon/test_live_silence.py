"""Whatever is played, nothing is left sounding."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.journal.replay import replay
from tests.support.fake_midi_system import FakeInput
from tests.support.live_rig import HIGHER, OFF, ON, RULES, LiveRig, silent
from tests.support.outgoing_records import went_out


def perform(rig: LiveRig, chance: random.Random, events: int) -> Iterator[float]:
    """Two hands and feet at random; new rules, switches and pulled cables among them."""
    for _ in range(events):
        device = chance.choice((rig.keys, rig.pads))
        kind = chance.choice((0x90, 0x90, 0x80, 0x80, 0xB0, 0xE0, 0xD0))
        channel = chance.randrange(2)
        key = chance.choice((48, 60, 60, 62, 72)) if kind < 0xB0 else chance.choice((1, 64, 66, 67, 69, 123))
        value = chance.choice((0, 1, 63, 64, 100, 127))
        device.play(bytes((kind | channel, value)) if kind == 0xD0 else bytes((kind | channel, key, value)))
        if chance.random() < 0.02:
            rig.swap(chance.choice((RULES, HIGHER)))
        if chance.random() < 0.02:
            rig.live.turn("up", chance.choice((True, False)))
        if chance.random() < 0.002:
            yield from rig.replug(chance.choice((rig.keys, rig.pads, rig.rack)))
        if chance.random() < 0.001:
            rig.live.panic()
        if chance.random() < 0.5:
            yield chance.choice((0.1, 1, 5))


def outputs(rig: LiveRig) -> list[bytes]:
    """All that was sent to the rack, connected or not."""
    return [message for _, message, _ in went_out(rig.records)]


@settings(max_examples=15)
@given(st.integers(0, 2**32))
def test_nothing_is_left_sounding(seed: int) -> None:
    """Each note-on gets its note-off, each pedal its release; and the journal gives the same again."""
    rig = LiveRig(hurry=10)
    rig.goes(perform(rig, random.Random(seed), 500))
    assert rig.live.errors == 0, rig.said
    assert silent(outputs(rig))
    assert silent(rig.rack.heard)
    assert replay(rig.records) == went_out(rig.records)


def test_nothing_is_left_sounding_after_a_long_night() -> None:
    """Ten thousand events in one run."""
    rig = LiveRig(hurry=10)
    rig.goes(perform(rig, random.Random(1), 10_000))
    assert rig.live.errors == 0, rig.said
    assert len(outputs(rig)) > 5_000
    assert silent(outputs(rig))
    assert silent(rig.rack.heard)


def test_a_key_struck_while_its_input_is_opened_anew_plays_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """On JACK a silent input is: it might be stuck. The loop takes many messages in a turn."""
    rig = LiveRig()
    rig.backend.sysex_sticks = True
    opened = rig.backend.open_input
    struck = [0]

    def open_slowly(name: str, label: str, named: bool = False) -> FakeInput:
        port = opened(name, label, named)
        if label == "keys" and rig.rack.heard:
            rig.keys.play(ON, OFF)
            struck[0] += 1
        return port

    def script() -> Iterator[float]:
        rig.keys.play(ON, OFF)
        yield 200_000
        rig.live.panic()
        yield 2_000

    monkeypatch.setattr(rig.backend, "open_input", open_slowly)
    rig.goes(script())
    assert struck[0] > 1
    assert rig.rack.heard.count(ON) == 1 + struck[0]
    assert silent(rig.rack.heard)
    assert rig.live.errors == 0
