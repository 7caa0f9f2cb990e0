"""One output: what goes at once, what waits, and what is counted as lost or refused."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence

import pytest

from router.midi.heartbeat import Heartbeat
from router.midi.output_port import OutputPort
from rules.ports.pacing import MOST_WAITING
from rules.ports.patterns import Wanted
from rules.timing.delays import NEVER
from tests.support.fake_midi_system import Device, FakeBackend, FakeInput, FakeOutput, Hub

NOTE = b"\x90\x3c\x64"
OFF = b"\x80\x3c\x40"
PEDAL = b"\xb0\x40\x7f"
SECOND = 1_000_000_000


class Bench:
    """An output to a device, on a system with or without a server that acknowledges."""

    def __init__(self, wire: str = "usb", server: bool = False) -> None:
        self.hub = Hub()
        self.device: Device = self.hub.plug("Rack")
        self.backend = FakeBackend(self.hub, server=server)
        self.line: deque[OutputPort] = deque()
        self.output_port = OutputPort(
            Wanted("rack", "out", "Rack", connection="din" if wire == "din" else "usb"), self.line
        )
        loop = self.backend.loopback()
        self.heartbeat = None if loop is None else Heartbeat(*loop)

    def connect(self) -> OutputPort:
        """Open the port."""
        self.output_port.connect(FakeOutput(self.device), "Rack", self.backend, self.heartbeat)
        if self.heartbeat is not None:
            self.heartbeat.beat(0)
            self.heartbeat.beat(1)
        return self.output_port

    def pumped(self, now: int = 0, until: int = 10 * SECOND) -> Iterator[int]:
        """Pump whenever it makes sense; the times."""
        while now <= until and self.output_port.waits:
            yield now
            now = self.output_port.pump(now)


@pytest.mark.parametrize("server", [False, True])
def test_short_messages_go_at_once_and_in_order(server: bool) -> None:
    """As many as the system takes; all are counted."""
    bench = Bench(server=server)
    output_port = bench.connect()
    sent = [bytes((0x90, at >> 7, at & 127)) for at in range(900)]
    for message in sent:
        output_port.send(message, 0)
    assert bench.device.heard == sent
    assert (output_port.messages, output_port.lost, output_port.waits) == (900, 0, False)


def test_without_a_port_everything_is_lost_and_counted() -> None:
    """Before it is there, and after it has gone."""
    bench = Bench()
    bench.output_port.send(NOTE, 0)
    bench.connect().send(NOTE, 0)
    bench.output_port.disconnect("missing")
    bench.output_port.send(OFF, 0)
    assert bench.device.heard == [NOTE]
    assert (bench.output_port.messages, bench.output_port.lost, bench.output_port.state) == (1, 2, "missing")


def test_what_the_system_refuses_is_lost_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """By its own words, and what comes next goes as ever."""
    send = FakeOutput.send_message

    def unwilling(self: FakeOutput, message: Sequence[int]) -> None:
        if message == PEDAL:
            raise OSError("the cable burns")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", unwilling)
    bench = Bench()
    output_port = bench.connect()
    for message in (PEDAL, NOTE, PEDAL, OFF):
        output_port.send(message, 0)
    assert bench.device.heard == [NOTE, OFF]
    assert (output_port.messages, output_port.lost) == (2, 2)
    output_port.lost += 3  # too much came at once, besides
    told = output_port.complaint(SECOND, "JACK")
    assert told == "2 messages dropped: JACK says: the cable burns; 3 messages dropped: far more than it can carry"


def test_a_port_that_refuses_to_be_closed_is_closed_for_us(monkeypatch: pytest.MonkeyPatch) -> None:
    """What vanishes may not take it well: whatever closing it raises, nothing is sent there any more."""

    def refuse(self: FakeOutput) -> None:
        raise RuntimeError("no such port")

    monkeypatch.setattr(FakeOutput, "close", refuse)
    bench = Bench(server=True)
    output_port = bench.connect()
    output_port.disconnect("missing")
    output_port.send(NOTE, 0)
    assert (output_port.is_open, output_port.state, output_port.lost, bench.device.heard) == (False, "missing", 1, [])


def test_nothing_goes_over_a_new_connection_before_the_server_has_answered() -> None:
    """It would be lost. It waits for the next beat, and that comes soon."""
    bench = Bench(server=True)
    heartbeat = bench.heartbeat
    assert heartbeat is not None
    bench.output_port.connect(FakeOutput(bench.device), "Rack", bench.backend, heartbeat)
    bench.output_port.send(NOTE, 0)
    assert (bench.device.heard, heartbeat.hurry, list(bench.line)) == ([], True, [bench.output_port])
    heartbeat.beat(0)
    heartbeat.beat(1)
    bench.output_port.pump(2)
    assert bench.device.heard == [NOTE]


def test_a_server_that_says_nothing_gets_no_more_than_its_buffers_hold() -> None:
    """The rest waits for the heartbeat, and follows it in order; what is short leads to a beat soon."""
    bench = Bench(server=True)
    output_port, heartbeat = bench.connect(), bench.heartbeat
    assert heartbeat is not None
    sent = [bytes((0x90, at >> 7, at & 127)) for at in range(3_000)]
    for message in sent:
        output_port.send(message, 0)
    assert len(bench.device.heard) == 1_024
    assert heartbeat.hurry
    assert output_port.pump(SECOND) == NEVER
    for at in range(1, 4):
        heartbeat.beat(at * SECOND)
        heartbeat.beat(at * SECOND + 1_000)
        output_port.pump(at * SECOND + 2_000)
    assert bench.device.heard == sent
    assert output_port.messages == 3_000


def test_a_message_that_the_system_refuses_costs_no_other_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is counted as lost, and told with what the system said; what waits behind it goes its way."""
    send = FakeOutput.send_message

    def broken(self: FakeOutput, message: Sequence[int]) -> None:
        if bytes(message) == PEDAL:
            raise RuntimeError("error sending the message")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", broken)
    bench = Bench("din")
    output_port = bench.connect()
    for message in (NOTE, PEDAL, OFF):
        output_port.send(message, 0)
    output_port.pump(SECOND)
    output_port.pump(2 * SECOND)
    assert bench.device.heard == [NOTE, OFF]
    assert (output_port.messages, output_port.lost, output_port.waits) == (2, 1, False)
    assert output_port.complaint(SECOND, "WinMM") == "1 message dropped: WinMM says: error sending the message"


def test_a_wire_is_fed_at_its_pace() -> None:
    """A chord of ten takes 9.6 ms, less the two bytes that we are ahead; the load says so."""
    bench = Bench("din")
    output_port = bench.connect()
    for _ in range(10):
        output_port.send(NOTE, 0)
    times = list(bench.pumped())
    assert times[-1] == 9 * 960_000 - 640_000
    assert bench.device.heard == [NOTE] * 10
    assert output_port.load(SECOND - 1) == pytest.approx(0.0096)
    assert Bench().connect().load(0) is None


def test_what_waits_when_the_port_goes_is_lost() -> None:
    """And counted; the next port begins with nothing."""
    bench = Bench("din")
    output_port = bench.connect()
    for _ in range(10):
        output_port.send(NOTE, 0)
    output_port.disconnect("missing")
    assert (output_port.messages, output_port.lost, output_port.waits) == (1, 9, False)
    bench.connect().send(OFF, 0)
    assert bench.device.heard == [NOTE, OFF]


def test_what_makes_way_for_silence_is_counted_apart() -> None:
    """It is no fault of anybody, so nobody complains; the note that has begun ends next."""
    bench = Bench("din")
    output_port = bench.connect()
    for message in (NOTE, NOTE, OFF, b"\xf0" + bytes(900) + b"\xf7", OFF):
        output_port.send(message, 0)
    assert output_port.make_way() == 3
    assert (output_port.dropped, output_port.lost, output_port.complaint(99 * SECOND, "fake")) == (3, 0, "")
    assert list(bench.pumped())[-1] == 320_000
    assert bench.device.heard == [NOTE, OFF]


def test_the_time_that_a_slow_wire_needs() -> None:
    """For what it carries and for what waits; other outputs need none."""
    bench = Bench("din")
    output_port = bench.connect()
    for _ in range(10):
        output_port.send(NOTE, 0)
    assert output_port.wire_time(0) == 9_600_000
    assert output_port.wire_time(960_000) == 8_640_000
    assert Bench().connect().wire_time(0) == 0


def test_another_wire_goes_on_with_what_waits() -> None:
    """On reload `wire` may change while the port stays open: nothing is lost or overtaken."""
    bench = Bench("din")
    output_port = bench.connect()
    for _ in range(3):
        output_port.send(NOTE, 0)
    output_port.rewire(Wanted("rack", "out", "Rack"))
    output_port.send(OFF, 0)
    output_port.pump(0)
    assert bench.device.heard == [NOTE, NOTE, NOTE, OFF]
    assert output_port.load(0) is None
    output_port.rewire(Wanted("rack", "out", "Rack", connection="din"))
    output_port.send(NOTE, 0)
    output_port.send(NOTE, 0)
    assert output_port.waits
    assert output_port.load(0) is not None


def test_what_was_allowed_without_a_wire_is_not_allowed_with_one() -> None:
    """A cable of 5 pins that is named in new rules gets one message at a time, from the first one on."""
    output_port = Bench().connect()
    output_port.send(NOTE, 0)
    output_port.rewire(Wanted("rack", "out", "Rack", connection="din"))
    for _ in range(3):
        output_port.send(NOTE, 0)
    assert output_port.waits
    assert output_port.wire_time(0) == 2_880_000


def test_sysex_beyond_the_limit_is_refused_in_words() -> None:
    """Once in ten seconds, with the number of bytes; what fits passes."""
    bench = Bench()
    output_port = bench.connect()
    fits, big = b"\xf0" + bytes(998) + b"\xf7", b"\xf0" + bytes(1_499) + b"\xf7"
    for message in (fits, big, big):
        output_port.send(message, 0)
    assert bench.device.heard == [fits]
    assert (output_port.refused, output_port.lost) == (2, 0)
    assert output_port.complaint(0, "fake") == "2 sysex refused, of up to 1,501 bytes; fake carries 1,000"
    output_port.send(big, 0)
    assert output_port.complaint(SECOND, "fake") == ""
    assert output_port.complaint(11 * SECOND, "fake") == "1 sysex refused, of up to 1,501 bytes; fake carries 1,000"
    assert output_port.complaint(99 * SECOND, "fake") == ""


def test_far_too_much_is_dropped_and_told() -> None:
    """What no wire can carry: note-ons go first, and the output says how many."""
    bench = Bench("din")
    output_port = bench.connect()
    for _ in range(MOST_WAITING // 2 + 11):
        output_port.send(NOTE, 0)
    assert output_port.complaint(0, "fake") == "10 messages dropped: far more than it can carry"
    output_port.disconnect("missing")
    assert output_port.complaint(99 * SECOND, "fake") == ""
    bench.connect()
    assert output_port.complaint(999 * SECOND, "fake") == ""


def test_the_state_as_plain_values() -> None:
    """For the command `status`."""
    bench = Bench("din")
    bench.connect().send(NOTE, 0)
    assert bench.output_port.state_at(0) == {
        "name": "rack",
        "direction": "out",
        "state": "open",
        "computer_port": "Rack",
        "messages": 1,
        "lost": 0,
        "refused": 0,
        "dropped": 0,
        "load": 0.001,
        "nowhere": 0,
        "nowhere_last": None,
    }


class TestHeartbeat:
    """Messages to ourselves, which show that a server lives and has carried what was sent before."""

    def setup_method(self) -> None:
        """A server that answers at once, until it dies."""
        self.hub = Hub()
        backend = FakeBackend(self.hub, server=True)
        loop = backend.loopback()
        assert loop is not None
        self.input: FakeInput = loop[0]
        self.output: FakeOutput = loop[1]
        self.heartbeat = Heartbeat(*loop)

    def test_ten_beats_a_second_when_nobody_is_in_a_hurry(self) -> None:
        """More only when somebody asks."""
        for at in range(0, SECOND, 1_000_000):
            self.heartbeat.beat(at)
        assert len(self.output.device.heard) == 10
        self.heartbeat.hurry = True
        self.heartbeat.beat(SECOND - 1)
        assert len(self.output.device.heard) == 11
        assert self.heartbeat.next_time == SECOND - 1 + 100_000_000

    def test_a_living_server_is_never_missed(self) -> None:
        """Even where nobody looked for an hour, as when the computer slept."""
        self.heartbeat.beat(0)
        assert not self.heartbeat.is_lost(3_600 * SECOND)
        self.heartbeat.beat(3_600 * SECOND)
        assert not self.heartbeat.is_lost(3_600 * SECOND)
        assert self.heartbeat.ask()

    def test_a_dead_one_is_missed_after_a_second(self) -> None:
        """Not sooner, and not for a single beat."""
        self.heartbeat.beat(0)
        self.hub.die()
        times = range(100_000_000, 3 * SECOND, 100_000_000)
        lost = []
        for at in times:
            self.heartbeat.beat(at)
            lost.append(self.heartbeat.is_lost(at))
        assert lost.index(True) == 11
        assert not self.heartbeat.ask()
        assert not self.heartbeat.is_settled

    def test_a_dead_one_is_not_flooded(self) -> None:
        """A buffer that nobody empties would hold up everything once it is full."""
        self.hub.die()
        for at in range(5_000):
            self.heartbeat.hurry = True
            self.heartbeat.beat(at * 1_000_000)
        assert len(self.output.device.heard) < 1_100

    def test_a_beat_that_is_swallowed_is_counted(self) -> None:
        """A later one answers for it."""
        self.heartbeat.beat(0)
        self.input.waiting.clear()
        self.heartbeat.beat(SECOND)
        self.heartbeat.beat(SECOND + 1)
        assert (self.heartbeat.skipped, self.heartbeat.is_settled) == (1, True)

    def test_what_others_send_to_the_loopback_is_no_answer(self) -> None:
        """Anybody may connect to it."""
        self.hub.die()
        self.heartbeat.beat(0)
        self.input.waiting += [b"\xb0\x7f\x7f", b"\xf8", b"\x90\x00\x01"]
        self.heartbeat.beat(1)
        assert not self.heartbeat.is_settled

    @pytest.mark.parametrize("broken", ["_send", "_receive"])
    def test_a_server_that_fails_is_missed(self, monkeypatch: pytest.MonkeyPatch, broken: str) -> None:
        """Whether it takes no beat or gives none back: whoever goes on asking learns that it is lost."""

        def fail(*_: object) -> None:
            raise RuntimeError("broken pipe")

        monkeypatch.setattr(self.heartbeat, broken, fail)
        for at in range(6):
            with pytest.raises(RuntimeError):
                self.heartbeat.beat(at * SECOND)
        assert self.heartbeat.is_lost(6 * SECOND)


class Piecewise(FakeOutput):
    """An output that takes a long sysex in pieces of eight bytes, and refuses what `refuses` says."""

    def __init__(self, device: Device) -> None:
        super().__init__(device)
        self.limit = EightBytes()
        self.refuses: list[bytes] = []

    def send_message(self, message: Sequence[int]) -> None:
        """Send, or refuse."""
        if bytes(message) in self.refuses:
            raise OSError("no room")
        super().send_message(message)


class EightBytes:
    """A limit that allows all, in pieces."""

    piece: int | None = 8

    def when(self, message: bytes, now: int) -> int:
        """At once."""
        return now

    def spend(self, message: bytes, now: int, times: int = 1) -> None:
        """It costs nothing."""

    def room(self, now: int) -> int:
        """Each one is looked at."""
        return 0


SYSEX = b"\xf0" + bytes(range(20)) + b"\xf7"


def test_a_sysex_in_pieces_counts_once() -> None:
    """It goes out at the next look, and all that came after it."""
    bench = Bench()
    bench.output_port.connect(Piecewise(bench.device), "Rack", bench.backend, None)
    for message in (NOTE, SYSEX, OFF):
        bench.output_port.send(message, 0)
    bench.output_port.pump(0)
    assert bench.device.messages == [NOTE, SYSEX[:8], SYSEX[8:16], SYSEX[16:], OFF]
    assert (bench.output_port.messages, bench.output_port.lost, bench.output_port.waits) == (3, 0, False)


def test_a_sysex_of_which_a_piece_is_refused_ends_there() -> None:
    """Half a sysex with a gap in it would be worse: it is counted as lost, and what follows goes out."""
    bench = Bench()
    raw = Piecewise(bench.device)
    bench.output_port.connect(raw, "Rack", bench.backend, None)
    raw.refuses = [SYSEX[8:16]]
    for message in (SYSEX, OFF):
        bench.output_port.send(message, 0)
    bench.output_port.pump(0)
    assert bench.device.messages == [SYSEX[:8], b"\xf7", OFF]
    assert bench.output_port.lost == 1
    raw.refuses = [SYSEX[:8]]
    bench.output_port.send(SYSEX, 0)
    bench.output_port.pump(0)
    assert (bench.device.messages, bench.output_port.lost) == ([b"\xf7"], 2)  # an end alone means nothing to a device
