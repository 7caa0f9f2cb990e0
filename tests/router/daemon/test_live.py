"""The loop of the daemon, in a time that a test makes: what comes through, what happens when something goes wrong."""

from __future__ import annotations

import random
import threading
from collections.abc import Iterator, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import rules.journal.format as journal
from router.files.clock import SYSTEM_CLOCK
from router.midi.poll_loop import BUSY_PAUSE_NS, IDLE_PAUSE_NS
from rules.analysis.history import history_of
from rules.errors import MachineError
from rules.journal.replay import replay
from rules.midi.neutral import panic_messages
from tests.support.fake_midi_system import FakeInput, FakeOutput
from tests.support.live_rig import HIGHER, MS, RULES, LiveRig, prepared, silent
from tests.support.outgoing_records import went_out

ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
UP, UP_OFF = b"\x90\x48\x64", b"\x80\x48\x40"
PEDAL, PEDAL_UP = b"\xb0\x40\x7f", b"\xb0\x40\x00"
PROGRAM = b"\xc0\x10"
VOLUME = b"\xb0\x07\x64"
SILENCE = [message for channel in range(16) for message in panic_messages(channel)]
SWITCH = b"\xb0\x43\x7f"


@pytest.fixture
def rig() -> LiveRig:
    """The loop with the usual rules."""
    return LiveRig()


def test_what_is_played_goes_out(rig: LiveRig) -> None:
    """At once, after what the device wants first; a delayed message when it is due, not a nanosecond before."""
    heard: list[tuple[int, list[bytes]]] = []

    def script() -> Iterator[float]:
        rig.keys.play(ON, OFF)
        yield 1
        heard.append((0, rig.rack.messages))
        rig.pads.play(ON)
        yield 39
        heard.append((39, rig.rack.messages))
        yield 2
        heard.append((41, rig.rack.messages))

    rig.goes(script())
    assert heard == [(0, [PROGRAM, ON, OFF]), (39, []), (41, [ON])]
    (came,) = (time for kind, time, player, _ in rig.records if kind == journal.IN and player == 1)
    assert [time for kind, time, _, data in rig.records if kind == journal.OUT and data == ON][1] == came + 40 * MS


def test_it_looks_often_while_music_plays_and_seldom_in_silence(rig: LiveRig) -> None:
    """Three seconds after the last message it rests; the next one wakes it."""

    def script() -> Iterator[float]:
        yield 5
        rig.keys.play(PEDAL)
        yield 2_900
        rig.slept.append(-1)
        yield 500

    rig.goes(script())
    mark = rig.slept.index(-1)
    assert rig.slept[0] == IDLE_PAUSE_NS
    assert max(rig.slept[10:mark]) == BUSY_PAUSE_NS
    assert rig.slept[-2] == IDLE_PAUSE_NS


def test_a_mistake_of_ours_costs_one_message(rig: LiveRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is counted and told; the next message comes through, and the performance ends in silence."""
    arrive = rig.live.session.arrive

    def broken(player: int, message: bytes, now: int, out: list[object]) -> None:
        if message == PEDAL:
            raise ZeroDivisionError("what a day")
        arrive(player, message, now, out)  # type: ignore[arg-type]

    monkeypatch.setattr(rig.live.session, "arrive", broken)

    def script() -> Iterator[float]:
        rig.keys.play(ON, PEDAL, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF]
    assert rig.live.errors == 1
    assert "ZeroDivisionError: what a day" in "".join(rig.said)


def test_mistakes_don_t_fill_the_log(rig: LiveRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """All are counted, ten are told."""

    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(rig.live.session, "arrive", broken)

    def script() -> Iterator[float]:
        rig.keys.play(*[PEDAL] * 25)
        yield 1

    rig.goes(script())
    assert rig.live.errors == 25
    assert sum("Internal error" in line for line in rig.said) == 10


def test_an_output_that_fails_harms_no_other_message(rig: LiveRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever sending raises is counted, and the loop goes on."""

    def script() -> Iterator[float]:
        output_port = rig.live.ports.outputs["rack"]
        send = type(output_port).send
        failing = iter([True, False, False])

        def broken(self: object, message: bytes, now: int) -> None:
            if next(failing, False):
                raise OSError("the cable burns")
            send(self, message, now)  # type: ignore[arg-type]

        monkeypatch.setattr(type(output_port), "send", broken)
        rig.keys.play(PEDAL, ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard[:3] == [PROGRAM, ON, OFF]
    assert rig.live.errors == 1


def test_an_output_that_fails_on_a_slow_wire_harms_no_other_message(monkeypatch: pytest.MonkeyPatch) -> None:
    """What has to wait is no different: the message is counted and told, and the performance goes on to its end."""
    send = FakeOutput.send_message
    failing = iter([True])

    def broken(self: FakeOutput, message: Sequence[int]) -> None:
        if bytes(message) == PEDAL and next(failing, False):
            raise OSError("the cable burns")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", broken)
    rig = LiveRig(RULES.replace('"Rack*"', '"Rack*", connection = "din"'))

    def script() -> Iterator[float]:
        rig.keys.play(ON, PEDAL, OFF)
        yield 300

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF, PEDAL_UP]
    assert (rig.live.errors, rig.live.ports.outputs["rack"].lost) == (0, 1)
    assert 'output "rack": 1 message dropped: fake says: the cable burns' in rig.said


def test_ports_that_can_t_be_listed_stop_nothing(rig: LiveRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """A MIDI system that fails while we look around is counted; what plays goes on."""

    def broken(now: int) -> None:
        raise OSError("no list")

    monkeypatch.setattr(rig.live.ports, "scan", broken)

    def script() -> Iterator[float]:
        yield 600
        rig.keys.play(ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF]
    assert rig.live.errors >= 2


def test_bytes_that_are_no_message_are_counted(rig: LiveRig) -> None:
    """They go nowhere; `status` shows them at their port."""
    told = []

    def script() -> Iterator[float]:
        rig.keys.play(b"\x90\x3c", b"\x90\xff\x01", b"\xf4", b"", ON, OFF)
        yield 1
        told.append(rig.live.status())

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF]
    (keys,) = (port for port in told[0]["ports"] if port["name"] == "keys")
    assert (keys["messages"], keys["lost"]) == (6, 4)
    assert told[0]["errors"] == 0


def test_a_sysex_in_pieces_is_made_whole(rig: LiveRig) -> None:
    """A system may cut it where a clock came in between: it comes whole at its end."""

    def script() -> Iterator[float]:
        rig.keys.play(b"\xf0\x7d\x01\xf8", b"\x02\xf7", ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, b"\xf0\x7d\x01\x02\xf7", ON, OFF]


def test_notes_survive_new_rules(rig: LiveRig) -> None:
    """What was struck under the old rules ends as it began; what is struck now goes by the new ones."""

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        rig.swap(HIGHER)
        yield 1
        rig.keys.play(OFF, ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF, b"\x90\x54\x64", b"\x80\x54\x40"]


def test_new_rules_open_and_close_ports(rig: LiveRig) -> None:
    """A port that stays is not opened again; at one that goes, what sounds is ended before it closes."""
    box = rig.hub.plug("Box", sends=False)

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        opened = rig.backend.opened
        rig.swap(RULES.replace('"Rack*"', '"Box*"').replace("rack", "box"))
        assert rig.backend.opened == opened + 1
        yield 1
        assert rig.rack.messages == [PROGRAM, ON, b"\x80\x3c\x40"]
        rig.keys.play(ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == []
    assert box.heard == [PROGRAM, ON, OFF]


def test_a_name_that_moves_to_another_port_begins_anew_there(rig: LiveRig) -> None:
    """The old port is silenced; the new one gets what its device wants first, and what is played from then on."""
    box = rig.hub.plug("Box", sends=False)

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 1
        rig.swap(RULES.replace('"Rack*"', '"Box*"'))
        yield 1
        rig.keys.play(OFF, ON, OFF)
        yield 1

    rig.goes(script())
    assert silent(rig.rack.heard)
    assert box.heard[-4:] == [PROGRAM, OFF, ON, OFF]


def test_an_output_whose_pattern_is_mended_begins_as_its_device_wants() -> None:
    """Nothing reached it under the old rules: it is silenced, and gets all that the new ones want, once each."""
    mistyped = RULES.replace('"Rack*"', '"Rcak*"')
    mended = RULES.replace('"program 17"', '"program 17", "controller volume 100"')
    rig = LiveRig(mistyped)

    def script() -> Iterator[float]:
        assert rig.rack.messages == []
        rig.live.swap(prepared(mended, mistyped))
        assert rig.rack.heard[:-2] == SILENCE
        assert rig.rack.messages[-2:] == [PROGRAM, VOLUME]
        yield 300
        rig.keys.play(ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [ON, OFF]
    assert replay(rig.records) == went_out(rig.records)


def test_a_journal_from_the_start_is_told_for_certain(rig: LiveRig) -> None:
    """Also what the devices were sent first is known to come from the rules."""

    def script() -> Iterator[float]:
        rig.keys.play(ON, OFF)
        yield 1

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, ON, OFF]
    assert history_of(rig.records, 30_000 * MS).is_certain


def test_an_output_that_is_plugged_in_just_before_new_rules_returns(rig: LiveRig) -> None:
    """They find it before we have looked around: it begins in silence all the same, as its device wants it."""

    def script() -> Iterator[float]:
        rig.hub.unplug(rig.rack)
        yield 300
        rig.rack = rig.hub.plug("Rack", sends=False)
        rig.swap(HIGHER)
        yield 300
        assert rig.rack.messages == [*SILENCE, PROGRAM]

    rig.goes(script())
    assert sum(kind == journal.BACK for kind, *_ in rig.records) == 1
    assert replay(rig.records) == went_out(rig.records)


def test_an_output_that_is_new_with_the_rules_is_sent_what_its_device_wants_once(rig: LiveRig) -> None:
    """Nobody knows it yet, so nothing is silenced there; the one that stays is sent nothing again."""
    box = rig.hub.plug("Box", sends=False)
    more = RULES.replace(
        "[devices]", 'box = { output = "Box*" }\n[devices]\nbass = { port = "box", setup = ["controller volume 100"] }'
    )

    def script() -> Iterator[float]:
        rig.swap(more)
        yield 300

    rig.goes(script())
    assert (box.heard, rig.rack.heard) == ([VOLUME], [PROGRAM])


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


def test_leaving_ends_everything(rig: LiveRig) -> None:
    """Notes, pedals, and a note that was delayed: it never begins."""

    def script() -> Iterator[float]:
        rig.keys.play(ON, PEDAL)
        rig.pads.play(b"\x91\x30\x64")
        yield 1

    rig.goes(script())
    assert rig.rack.heard[:3] == [PROGRAM, ON, PEDAL]
    assert set(rig.rack.heard[3:]) == {OFF, PEDAL_UP}
    assert rig.backend.closed
    assert rig.records[-3][0] == journal.LEFT


def test_leaving_closes_whatever_goes_wrong(rig: LiveRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing that fails at the end keeps what comes after it from being done."""

    def broken(*_: object) -> None:
        raise OSError("the cable burns")

    monkeypatch.setattr(rig.live.session, "leave", broken)
    monkeypatch.setattr(rig.live.ports, "flush", broken)
    rig.goes([])
    assert rig.backend.closed
    assert rig.live.errors == 2
    with pytest.raises(MachineError, match="about to end"):
        rig.live.do(lambda: 1)


def test_switches_turn_on_command_and_by_pedal(rig: LiveRig) -> None:
    """Both ways; who asks from outside sees it a moment later."""

    def script() -> Iterator[float]:
        rig.live.turn("up", True)
        rig.keys.play(ON, OFF)
        yield 300
        assert rig.live.switches == {"up": True}
        rig.pads.play(SWITCH)
        rig.keys.play(ON, OFF)
        yield 1
        with pytest.raises(KeyError):
            rig.live.turn("down", True)

    rig.goes(script())
    assert rig.rack.heard[1:3] == [UP, UP_OFF]
    assert rig.live.session.switches == {"up": False}
    assert sum(kind == journal.TURN for kind, *_ in rig.records) == 1


def test_panic_silences_everything(rig: LiveRig) -> None:
    """What is held ends, every channel is told, and key by key if so asked."""

    def script() -> Iterator[float]:
        rig.keys.play(ON, PEDAL)
        yield 1
        rig.rack.messages.clear()
        rig.live.panic()
        heard = rig.rack.messages
        assert OFF in heard
        assert {b"\xb5\x7b\x00", b"\xb5\x40\x00", b"\xb5\x78\x00"} <= set(heard)
        rig.live.panic(every_key=True)
        assert sum(message[0] & 0xF0 == 0x80 for message in rig.rack.messages) == 2_048
        yield 1

    rig.goes(script())


# -- a slow wire ------------------------------------------------------------------------------------------------------

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


def test_silence_after_a_crash_leaves_what_devices_want_first() -> None:
    """It waits for a slow wire at that moment; a panic would have dropped it."""
    wants = SLOW.replace('"program 17"', '"program 17", "controller volume 100", "controller pan 64"')
    rig = LiveRig(wants)

    def script() -> Iterator[float]:
        assert rig.live.ports.outputs["rack"].waits
        rig.live.silence()
        yield 300

    rig.goes(script())
    assert rig.rack.heard == [PROGRAM, VOLUME, b"\xb0\x0a\x40", *SILENCE]


def test_status_tells_how_it_stands(rig: LiveRig) -> None:
    """Ports, held notes, switches, tempo, latency."""
    told = []

    def script() -> Iterator[float]:
        rig.keys.play(ON)
        yield 2_500
        told.append(rig.live.status())

    rig.goes(script())
    (status,) = told
    assert (status["running_s"], status["held"], status["switches"], status["errors"]) == (2, 1, {"up": False}, 0)
    assert status["tempo"] == {"bpm": 120, "from": None}
    assert [(port["name"], port["state"], port["messages"]) for port in status["ports"]] == [
        ("keys", "open", 1),
        ("pads", "open", 0),
        ("rack", "open", 2),
    ]
    assert status["latency_us"]["p50"] is not None


# -- from other threads -----------------------------------------------------------------------------------------------


def test_the_loop_answers_other_threads() -> None:
    """Results and exceptions come back to who asked."""
    rig = LiveRig(clock=SYSTEM_CLOCK)
    rig.live.begin()
    thread = threading.Thread(target=rig.live.run)
    thread.start()
    try:
        assert rig.live.do(lambda: 6 * 7) == 42
        assert rig.live.do(rig.live.status)["held"] == 0
        with pytest.raises(KeyError, match="nonsense"):
            rig.live.do(lambda: rig.live.turn("nonsense", True))
    finally:
        rig.live.stop()
        thread.join()


def test_who_asks_a_loop_that_doesn_t_run_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits for ever."""
    monkeypatch.setattr("router.daemon.requests._PATIENCE_S", 0.01)
    with pytest.raises(MachineError, match="too busy to answer"):
        LiveRig().live.do(lambda: 1)


def test_who_asks_a_loop_that_has_ended_is_told_at_once() -> None:
    """A reload that comes too late doesn't hold up the end."""
    rig = LiveRig()
    rig.goes([])
    with pytest.raises(MachineError, match="about to end"):
        rig.live.do(lambda: 1)


# -- always -----------------------------------------------------------------------------------------------------------


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
    assert rig.live.stalls == 1
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
    assert rig.live.stalls == 0


def test_what_went_nowhere_is_counted_by_port(rig: LiveRig) -> None:
    """No rule, switch or clock took it; the last one is kept. What is delayed or turns a switch isn't among it."""

    def script() -> Iterator[float]:
        rig.pads.play(SWITCH)  # sets a switch, and is not passed on
        rig.pads.play(ON, b"\xfe", b"\xf8", b"\xb0\x07\x05")  # delayed, and clock
        yield 1
        rig.keys.play(b"\x91\x40\x64", b"\x81\x40\x40", ON)
        yield 1

    rig = LiveRig(RULES.replace('from = "keys"\nsteps', 'from = "keys"\nmatch = { channel = 1 }\nsteps'))
    rig.goes(script())
    ports = {port["name"]: port for port in rig.live.status()["ports"]}
    assert [(ports[name]["nowhere"], ports[name]["nowhere_last"]) for name in ("keys", "pads", "rack")] == [
        (2, "81 40 40"),
        (0, None),
        (0, None),
    ]
