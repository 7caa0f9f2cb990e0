"""The loop of the daemon: what is played goes out, whatever else goes wrong."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import pytest

import rules.journal.format as journal
from router.midi.waiting import BUSY_PAUSE_NS, IDLE_PAUSE_NS
from rules.errors import MachineError
from rules.journal.replay import replay
from rules.program.switch_states import State
from tests.support.fake_midi_system import FakeOutput
from tests.support.live_rig import MS, OFF, ON, PEDAL, PEDAL_UP, PROGRAM, RULES, SWITCH, UP, UP_OFF, LiveRig, prepared


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


def test_who_writes_down_the_switches_hears_of_each_change(rig: LiveRig) -> None:
    """Of a command, a pedal, and new rules, which may have other switches."""
    told: list[Mapping[str, State]] = []
    other = RULES.replace("up = {", "higher = {").replace('when = "up"', 'when = "higher"')
    rig.live.switched = lambda: told.append(rig.live.switches)

    def script() -> Iterator[float]:
        yield 3_000
        assert told == []
        rig.live.turn("up", True)
        yield 300
        rig.pads.play(SWITCH)
        yield 5
        rig.live.swap(prepared(other, RULES))

    rig.goes(script())
    assert told == [{"up": True}, {"up": False}, {"higher": False}]


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


OWN = """
[clock]
bpm = 125
[ports]
keys = { input = "Keys*" }
rack = { output = "Rack*", clock = "own" }
[[rules]]
from = "keys"
to = "rack"
"""


def test_our_clock_ticks_and_is_logged() -> None:
    """From the beginning, in time, and through commands; the log knows what was asked, and the tempo."""
    rig = LiveRig(OWN)

    def script() -> Iterator[float]:
        yield 50
        assert rig.live.order_clock("start")["running"]
        yield 30
        assert rig.live.order_clock(250.0)["bpm"] == 250
        yield 30

    rig.goes(script())
    ticks = [time for kind, time, _, data in rig.records if kind == journal.OUT and data == b"\xf8"]
    assert [(time - ticks[0]) // MS for time in ticks[:5]] == [0, 20, 40, 60, 80]
    assert ticks[-1] - ticks[-2] == 10 * MS
    assert rig.rack.heard.count(b"\xf8") == len(ticks)
    assert [message for message in rig.rack.heard if message != b"\xf8"] == [b"\xfa", b"\xfc"]
    orders = [journal.order_in(data) for kind, _, _, data in rig.records if kind == journal.ORDER]
    assert orders == ["start", 250.0]
    tempos = [journal.tempo_in(data) for kind, _, _, data in rig.records if kind == journal.TEMPO]
    assert tempos == [(125.0, False), (125.0, True), (250.0, True)]


@pytest.mark.parametrize("then", [10_100, 100])
def test_after_a_stall_our_clock_sends_no_flood(then: float) -> None:
    """What it missed is left out, and the log says so; also where the daemon leaves at once."""
    rig = LiveRig(OWN)

    def script() -> Iterator[float]:
        yield 50
        rig.now += 10_000 * MS
        yield then

    rig.goes(script())
    assert 3 <= sum(message == b"\xf8" for message in rig.rack.heard) <= 12
    assert sum(kind == journal.SKIPPED for kind, *_ in rig.records) == 1
    sent = [(number, data, time) for kind, time, number, data in rig.records if kind == journal.OUT]
    assert replay(rig.records) == sent


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
    assert status["clock"] == {
        "from": None,
        "take": False,
        "bpm": 120,
        "running": False,
        "beats": None,
        "beats_a_bar": 4,
    }
    assert [(port["name"], port["state"], port["messages"]) for port in status["ports"]] == [
        ("keys", "open", 1),
        ("pads", "open", 0),
        ("rack", "open", 2),
    ]
    assert status["latency_us"]["p50"] is not None


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


def test_a_glance_tells_what_changes_while_music_plays(rig: LiveRig) -> None:
    """Switches, tempo, and how many messages each port has had; no more than `status` but for that."""
    told = []

    def script() -> Iterator[float]:
        rig.keys.play(ON, OFF)
        rig.pads.play(SWITCH)
        yield 5
        told.append((rig.live.glance(), rig.live.status()))

    rig.goes(script())
    ((glance, status),) = told
    assert glance["switches"] == {"up": True}
    assert glance["activity"] == {"keys": 2, "pads": 1, "rack": 3}
    assert {key: glance[key] for key in glance if key != "activity"}.items() <= status.items()


def test_what_sounds_is_told_to_a_watcher_that_begins(rig: LiveRig) -> None:
    """By port, channel and key; a note that is delayed doesn't sound yet."""
    told = []

    def script() -> Iterator[float]:
        rig.keys.play(ON, b"\x93\x40\x64")
        rig.pads.play(ON)
        yield 1
        told.append(rig.live.sounding())

    rig.goes(script())
    ((names, notes),) = told
    assert (names.players, names.ports) == (("keys", "pads"), ("rack",))
    assert [note[:3] for note in notes] == [(0, 0, 60), (0, 0, 64)]


SONGS = """
[ports]
keys = { input = "Keys*" }
pads = { input = "Pads*" }
rack = { output = "Rack*" }
[set_list]
next = { from = "pads", controller = "soft pedal", long = 300 }
[[songs]]
name = "Harbour"
[[songs]]
name = "Tide"
send = { rack = "program 1 5" }
"""


def test_a_pedal_that_is_held_goes_on_to_the_next_song() -> None:
    """The loop wakes for it, with nothing else to do; status and watchers know which song it is."""
    rig = LiveRig(SONGS)
    told = []

    def script() -> Iterator[float]:
        rig.pads.play(SWITCH)
        yield 290
        told.append(rig.live.status()["songs"])
        yield 20
        told.append(rig.live.glance()["songs"])

    rig.goes(script())
    assert told == [{"names": ["Harbour", "Tide"], "at": at, "wrap": False} for at in (0, 1)]
    assert rig.rack.heard == [bytes((0xC0, 4))]


def test_rules_without_songs_have_no_song(rig: LiveRig) -> None:
    """It is null, so that nobody looks for a first one."""
    told = []

    def script() -> Iterator[float]:
        yield 1
        told.append(rig.live.status()["songs"])

    rig.goes(script())
    assert told == [None]
