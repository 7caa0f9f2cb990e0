"""Ports and servers that come and go while the loop plays, and a loop that could not run."""

from __future__ import annotations

from collections.abc import Iterator
from typing import cast

import pytest

import rules.journal.format as journal
from rules.analysis.history import history_of
from rules.journal.replay import replay
from tests.support.fake_midi_system import FakeBackend, FakeInput, FakeOutput
from tests.support.live_rig import MS, OFF, ON, PEDAL, PEDAL_UP, PROGRAM, UP, UP_OFF, LiveRig
from tests.support.outgoing_records import went_out


def test_a_source_that_vanishes_lets_go(rig: LiveRig) -> None:
    """Its notes and pedals end as soon as it is missed; those of others go on; back again, it plays on."""

    def script() -> Iterator[float]:
        rig.keys.play(ON, PEDAL)
        rig.pads.play(b"\x91\x30\x64")
        yield 50
        rig.rack.messages.clear()
        yield from rig.replug(rig.keys)
        assert set(rig.rack.messages) == {OFF, PEDAL_UP}
        rig.keys.play(ON, OFF)
        yield 1
        assert rig.rack.messages == [ON, OFF]

    rig.goes(script())
    assert any('input "keys": Keys has gone' in line for line in rig.said)
    assert sum(kind == journal.LOST for kind, *_ in rig.records) == 1


def test_a_source_that_vanishes_lets_go_even_if_it_can_not_be_closed(
    rig: LiveRig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A system may refuse to close what isn't there any more; back again, it plays on."""

    def refuse(self: FakeInput) -> None:
        raise RuntimeError("no such port")

    def script() -> Iterator[float]:
        rig.keys.play(ON, PEDAL)
        yield 50
        rig.rack.messages.clear()
        with monkeypatch.context() as broken:
            broken.setattr(FakeInput, "close", refuse)
            yield from rig.replug(rig.keys)
        assert set(rig.rack.messages) == {OFF, PEDAL_UP}
        rig.keys.play(ON, OFF)
        yield 1
        assert rig.rack.messages == [ON, OFF]

    rig.goes(script())
    assert rig.live.errors == 0


def test_an_output_that_returns_begins_in_silence(rig: LiveRig) -> None:
    """It is silenced on every channel, and gets what its device wants first; a held key isn't struck again."""

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        yield from rig.replug(rig.rack)
        heard = rig.rack.messages
        assert {b"\xb0\x7b\x00", b"\xbf\x78\x00", PEDAL_UP} <= set(heard)
        assert heard[-1] == PROGRAM
        assert ON not in heard
        rig.keys.play(OFF)
        yield 1
        assert rig.rack.messages == [OFF]

    rig.goes(script())


def test_a_server_that_dies_is_survived(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is played meanwhile is lost; when it is back, everything is opened anew and nothing hangs."""
    rig = LiveRig(server=True, hurry=10)

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        rig.hub.die()
        yield 5_000
        rig.hub.revive()
        yield 1_000
        rig.rack.messages.clear()
        rig.keys.play(ON, OFF)
        yield 1
        assert rig.rack.messages == [ON, OFF]

    rig.goes(script())
    assert any("fake doesn't answer" in line for line in rig.said)
    assert any("fake is back" in line for line in rig.said)
    assert rig.live.errors == 0


LOW, LOW_OFF = b"\x90\x20\x64", b"\x80\x20\x40"


@pytest.mark.parametrize("how", ["stopped", "asleep"])
def test_what_is_held_through_a_stall_ends(rig: LiveRig, how: str) -> None:
    """The process was stopped for ten seconds, or the computer slept: a note-off of that time is lost.

    What waits is heard first. It is said once, and counted; what is played after it sounds as ever.
    """

    def script() -> Iterator[float]:
        rig.keys.play(ON, PEDAL)
        yield 5
        rig.keys.play(LOW)  # it comes in the midst of the stall; its note-off is lost
        if how == "asleep":
            rig.asleep += 10_000 * MS
            yield 250
        else:
            rig.now += 10_000 * MS
            yield 10_001
        assert rig.rack.heard == [PROGRAM, ON, PEDAL, LOW, OFF, LOW_OFF, PEDAL_UP]
        rig.keys.play(UP)
        yield 600
        assert rig.rack.heard[-1] == UP
        rig.keys.play(UP_OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard[-2:] == [UP, UP_OFF]
    (told,) = (line for line in rig.said if "could not run" in line)
    assert told.startswith("the daemon could not run for 10.0 s: messages of that time may be lost.")
    assert rig.live.status()["stalls"] == 1
    assert replay(rig.records) == went_out(rig.records)
    words = [event.words for event in history_of(rig.records, 10**12).happened if hasattr(event, "words")]
    assert "input keys may have missed messages: its notes and pedals end" in words


def test_what_the_daemon_itself_does_for_long_is_no_stall(rig: LiveRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening ports may take seconds; inputs hear on meanwhile, and nothing is ended."""
    scan = rig.live.ports.scan
    delays = iter([3_000 * MS, 3_000 * MS])

    def slow(now: int) -> object:
        rig.now += next(delays, 0)
        return scan(now)

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 5
        monkeypatch.setattr(rig.live.ports, "scan", slow)
        yield 20_000
        assert rig.rack.heard == [PROGRAM, ON]

    rig.goes(script())
    assert rig.live.status()["stalls"] == 0


def test_a_pause_begins_when_a_port_that_returned_is_open(rig: LiveRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening one takes tens of milliseconds on JACK; where all instruments are back at once, a tenth of a second."""
    opened = rig.backend.open_output
    open_at: list[int] = []

    def open_slowly(name: str, label: str, named: bool = False) -> FakeOutput:
        rig.now += 150 * MS
        open_at.append(rig.now)
        return opened(name, label, named)

    def script() -> Iterator[float]:
        monkeypatch.setattr(rig.backend, "open_output", open_slowly)
        yield 300
        yield from rig.replug(rig.rack)

    rig.goes(script())
    times = [due for _, message, due in went_out(rig.records) if message == PROGRAM]
    assert times[1:] == open_at
    assert replay(rig.records) == went_out(rig.records)


def test_what_an_input_holds_that_ran_over_ends(rig: LiveRig) -> None:
    """Once the flood is over: a note-off may have been among what was lost. Other inputs hold on."""
    volume = b"\xb0\x07\x64"

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        rig.pads.play(LOW)
        yield 300
        for _ in range(3):
            rig.keys.play(*[volume] * 300)
            rig.losses += 100
            yield 250
            assert OFF not in rig.rack.heard
        yield 750
        assert rig.rack.heard.count(OFF) == 1
        assert LOW_OFF not in rig.rack.heard
        rig.keys.play(UP)
        yield 2_000
        assert rig.rack.heard[-1] == UP
        rig.keys.play(*[volume] * 900)  # all of it was taken
        yield 2_000
        assert UP_OFF not in rig.rack.heard

    rig.goes(script())
    told = [line for line in rig.said if "nothing hangs" in line]
    assert told == ['input "keys" got more than could be taken: what it holds ends, so that nothing hangs']
    assert replay(rig.records) == went_out(rig.records)


def test_what_all_inputs_hold_ends_when_the_system_lost_what_waited(rig: LiveRig) -> None:
    """They share one queue of the system: whose note-offs were in it isn't known. It is said once, and all play on."""
    backend = cast(FakeBackend, rig.live.ports.backend)

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        rig.pads.play(LOW)
        yield 300
        backend.overflows += 1
        yield 1_000
        assert rig.rack.heard == [PROGRAM, ON, LOW, OFF, LOW_OFF]
        rig.keys.play(UP)
        yield 2_000
        assert rig.rack.heard[-1] == UP

    rig.goes(script())
    assert rig.said.count("more came in at once than fake keeps, and what waited there is lost") == 1
    assert rig.said.count("what inputs held when messages got lost ends, so that nothing hangs") == 1
    assert replay(rig.records) == went_out(rig.records)
