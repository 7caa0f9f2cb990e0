"""Panic and the end of a run, where a slow wire has far too much to carry."""

from __future__ import annotations

from collections.abc import Iterator

from rules.analysis.history import OtherEvent, history_of
from rules.journal.format import WALL, Record, wall_data
from rules.journal.replay import replay
from tests.support.live_rig import OFF, ON, PEDAL, PEDAL_UP, PROGRAM, RULES, SILENCE, VOLUME, LiveRig
from tests.support.outgoing_records import went_out

SLOW = RULES.replace('"Rack*"', '"Rack*", connection = "din"')
EXPRESSION = b"\xb1\x0b\x50"
SYSEX = b"\xf0\x7d" + bytes(16_381) + b"\xf7"
"""Takes 5.2 s on a DIN wire."""


def flood(rig: LiveRig) -> Iterator[float]:
    """A chord is held, and far more has come since than the wire carries: four seconds of it wait."""
    yield 1_000
    rig.keys.play(ON, PEDAL)
    yield 10
    for _ in range(100):
        rig.pads.play(*[EXPRESSION] * 40)
        yield 1
    rig.keys.play(b"\x90\x40\x64", b"\x90\x43\x64", b"\x80\x43\x40")
    yield 50
    rig.rack.messages.clear()


def test_panic_comes_before_all_that_waits_for_a_slow_wire() -> None:
    """No note begins any more, and each channel hears of it at once; what is dropped is told."""
    rig = LiveRig(SLOW)

    def script() -> Iterator[float]:
        yield from flood(rig)
        rig.live.panic()
        yield 110
        heard = rig.rack.messages
        assert [message for message in heard if message not in SILENCE] == [OFF, b"\x80\x40\x40"]
        assert set(SILENCE) <= set(heard)
        rig.keys.play(ON, OFF)
        yield 10
        assert rig.rack.messages == [ON, OFF]
        told.append(rig.live.status()["ports"][2])

    told: list[dict[str, int]] = []
    rig.goes(script())
    assert told[0]["lost"] == 0
    assert told[0]["dropped"] > 3_000
    words = f'output "rack": dropped {told[0]["dropped"]:,} messages that waited, so that silence comes first'
    assert words in rig.said
    assert replay(rig.records) == went_out(rig.records)


def test_leaving_doesn_t_wait_for_what_ends_nothing() -> None:
    """Notes and pedals end before the last note-offs could have had their turn; nothing is left behind."""
    rig = LiveRig(SLOW)
    rig.goes(flood(rig))
    assert rig.rack.heard == [OFF, b"\x80\x40\x40", PEDAL_UP]
    assert rig.live.ports.outputs["rack"].lost == 0
    assert replay(rig.records) == went_out(rig.records)


def test_leaving_waits_for_a_long_sysex_on_a_slow_wire() -> None:
    """The wire carries it to its end, and then the note-off; one that only waits is never begun."""
    rig = LiveRig(SLOW)
    rig.backend.sysex_limit = None

    def script() -> Iterator[float]:
        yield 1_000
        rig.keys.play(ON)
        yield 10
        rig.keys.play(SYSEX, SYSEX)
        yield 10

    rig.goes(script())
    assert [message[:2] for message in rig.rack.heard[-3:]] == [ON[:2], SYSEX[:2], OFF[:2]]


def test_silence_after_a_crash_goes_before_what_devices_want_first() -> None:
    """It would undo a bend or a pedal among that. On a slow wire all of it waits, and nothing is dropped."""
    wants = SLOW.replace('"program 17"', '"program 17", "controller volume 100", "controller pan 64"')
    rig = LiveRig(wants)

    def script() -> Iterator[float]:
        assert rig.live.ports.outputs["rack"].waits
        yield 300

    rig.goes(script(), in_silence=True)
    assert rig.rack.heard == [*SILENCE, PROGRAM, VOLUME, b"\xb0\x0a\x40"]
    assert replay(rig.records) == went_out(rig.records)
    (rules, *rest) = rig.records
    noted: Record = (WALL, rules[1], 0, wall_data(1.7e9))  # by a thread of its own, wherever it falls
    assert replay([rules, noted, *rest]) == went_out(rig.records)
    (began, *_) = history_of(rig.records, 1_000_000_000_000).happened
    assert isinstance(began, OtherEvent)
    assert [message for _, message in began.outcomes] == rig.rack.heard
