"""What an output may send now: wires, credit, rates, and the order of what waits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.ports.pacing import (
    MOST_WAITING,
    NANOSECONDS_A_BYTE,
    Credit,
    Limit,
    Pacer,
    Rate,
    Wire,
    ends_something,
    is_later_piece,
    is_needed,
    is_urgent,
)
from rules.timing.delays import NEVER

NOTE = b"\x90\x3c\x64"
OFF = b"\x80\x3c\x40"
CLOCK = b"\xf8"
SECOND = 1_000_000_000


def played(pacer: Pacer, now: int, until: int) -> list[tuple[int, bytes]]:
    """What goes out when one looks whenever it makes sense, and at what time."""
    sent = []
    while now <= until:
        while (message := pacer.take(now)) is not None:
            sent.append((now, message))
        now = pacer.next_time(now)
    return sent


def filled(limit: Limit, *messages: bytes, now: int = 0) -> Pacer:
    """A pacer where messages wait."""
    pacer = Pacer(limit)
    for message in messages:
        assert pacer.wait(message)
    return pacer


def test_a_wire_carries_a_note_on_in_960_microseconds() -> None:
    """MIDI 1.0 Detailed Specification 4.2.1, p. 1: 31,250 bits a second, so 320 us a byte; kept two bytes ahead."""
    sent = played(filled(Wire(), *[NOTE] * 4), 0, SECOND)
    assert [time // 1_000 for time, _ in sent] == [0, 320, 1_280, 2_240]


def test_an_idle_wire_takes_a_message_at_once() -> None:
    """What was sent long ago doesn't matter."""
    pacer = Pacer(Wire())
    assert pacer.pass_at_once(NOTE, 0)
    assert not pacer.pass_at_once(NOTE, 319_999)
    assert pacer.pass_at_once(NOTE, 320_000)
    assert pacer.pass_at_once(NOTE, SECOND)


def test_clock_goes_before_notes_that_wait() -> None:
    """Ruling 28: clock and transport overtake, in their own order, and a song position comes before its start."""
    position, go = b"\xf2\x10\x00", b"\xfb"
    pacer = filled(Wire(), NOTE, NOTE, OFF, position, go, CLOCK)
    assert [message for _, message in played(pacer, 0, SECOND)] == [position, go, CLOCK, NOTE, NOTE, OFF]
    busy = filled(Wire(), *[NOTE] * 3)
    assert busy.take(0) == NOTE
    assert busy.pass_at_once(CLOCK, 0)


def test_the_load_of_a_wire() -> None:
    """A hundred notes in a second keep the wire busy for 96 ms; a second later, and two, that is over."""
    wire = Wire()
    for at in range(100):
        wire.spend(NOTE, at * SECOND // 100)
    assert wire.load(SECOND - 1) == pytest.approx(0.096)
    assert wire.load(SECOND + SECOND // 2) == pytest.approx(0.048)
    assert wire.load(3 * SECOND) == 0
    for at in range(2_000):
        wire.spend(NOTE, 5 * SECOND + at)
    assert wire.load(6 * SECOND - 1) == 1


def test_a_wire_tells_how_long_it_will_be_busy() -> None:
    """With what it was given, and what waits for it."""
    wire = Wire()
    assert wire.time_for(0, 0) == 0
    wire.spend(NOTE, 0)
    assert wire.time_for(10, 500_000) == 460_000 + 10 * NANOSECONDS_A_BYTE
    assert wire.time_for(0, SECOND) == 0


def test_credit_ends_until_it_is_acknowledged() -> None:
    """A thousand short messages may be on their way; then nothing goes until the server has carried some."""
    credit = Credit()
    pacer = filled(credit, *[NOTE] * 3_000)
    assert len(played(pacer, 0, SECOND)) == 1_024
    assert pacer.next_time(SECOND) == NEVER
    assert credit.is_short
    credit.acknowledge(credit.spent // 2)
    assert len(played(pacer, SECOND, SECOND)) == 512
    credit.acknowledge(credit.spent)
    assert not credit.is_short
    assert len(played(pacer, SECOND, SECOND)) == 1_024


def test_a_sysex_longer_than_the_credit_goes_alone() -> None:
    """It waits until nothing else is on its way, and nothing follows until it has arrived."""
    credit, long = Credit(), b"\xf0" + bytes(16_377) + b"\xf7"
    pacer = filled(credit, NOTE, long, OFF)
    assert [message for _, message in played(pacer, 0, 0)] == [NOTE]
    credit.acknowledge(credit.spent)
    assert [message for _, message in played(pacer, 0, 0)] == [long]
    credit.acknowledge(credit.spent)
    assert [message for _, message in played(pacer, 0, 0)] == [OFF]


def test_a_credit_may_begin_short() -> None:
    """A new connection carries nothing before the server has answered once."""
    credit = Credit(begin_short=True)
    pacer = filled(credit, NOTE)
    assert pacer.take(0) is None
    assert credit.is_short
    credit.acknowledge(credit.spent)
    assert pacer.take(0) == NOTE


def test_a_late_acknowledgement_takes_nothing_back() -> None:
    """Acknowledgements may come twice and out of order."""
    credit = Credit()
    credit.spend(NOTE, 0)
    credit.acknowledge(12)
    credit.acknowledge(0)
    assert credit.when(b"\xf0" + bytes(20_000) + b"\xf7", 5) == 5


def test_a_rate_lets_a_burst_through_and_then_its_pace() -> None:
    """A hundred at once, the rest at 10,000 a second."""
    sent = played(filled(Rate(100, 10_000), *[NOTE] * 300), 0, SECOND)
    assert [time for time, _ in sent].count(0) == 100
    assert sent[-1][0] == 200 * 100_000


def test_a_long_sysex_takes_the_room_of_many_notes() -> None:
    """28 bytes of it each; one that is longer than the whole room goes when everything else was read."""
    long = b"\xf0" + bytes(5_570) + b"\xf7"
    sent = played(filled(Rate(150, 10_000), NOTE, long, NOTE), 0, SECOND)
    assert [time for time, _ in sent] == [0, 100_000, 100_000 + (199 - 149) * 100_000]


@pytest.mark.parametrize(
    ("limit", "count"), [(Wire(), 0), (Credit(), 1_024), (Rate(150, 10_000), 150)], ids=["wire", "credit", "rate"]
)
def test_some_are_allowed_in_advance(limit: Limit, count: int) -> None:
    """As many as may go at once, and they count: nothing is left then. On a wire each one is looked at."""
    pacer = Pacer(limit)
    assert pacer.allow(2_000, SECOND) == count
    assert pacer.allow(2_000, SECOND) == 0
    assert pacer.pass_at_once(NOTE, SECOND) == (count == 0)


def test_nothing_is_allowed_past_what_waits() -> None:
    """Without limits as many as are asked for; behind others none."""
    pacer = Pacer()
    assert pacer.allow(10, 0) == 10
    pacer.wait(NOTE)
    assert pacer.allow(10, 0) == 0


def test_what_nobody_misses_is_dropped_first() -> None:
    """Far behind, note-ons and bends are refused, note-offs still wait; in the end nothing is taken."""
    pacer = filled(Wire(), *[NOTE] * (MOST_WAITING // 2))
    assert not pacer.wait(NOTE)
    assert all(pacer.wait(OFF) for _ in range(MOST_WAITING // 2))
    assert not pacer.wait(OFF)
    assert pacer.clear() == MOST_WAITING
    assert (len(pacer), pacer.next_time(0)) == (0, NEVER)


@pytest.mark.parametrize(
    ("message", "needed"),
    [
        (OFF, True),
        (b"\x90\x3c\x00", True),
        (NOTE, False),
        (b"\xb0\x40\x00", True),
        (b"\xb0\x7b\x00", True),
        (b"\xb0\x07\x40", False),
        (b"\xe0\x00\x40", False),
        (b"\xc0\x05", False),
        (b"\xf0\x7d\xf7", False),
        (b"\xfc", True),
    ],
)
def test_what_is_needed(message: bytes, needed: bool) -> None:
    """Whatever ends a sound."""
    assert is_needed(message) == needed


@pytest.mark.parametrize(
    ("message", "ends"),
    [
        (b"\x80\x3c\x40", True),
        (b"\x90\x3c\x00", True),
        (b"\x90\x3c\x01", False),
        (b"\xb0\x40\x7f", False),
        (b"\xb0\x40\x3f", True),
        (b"\xb0\x01\x01", False),
        (b"\xb0\x01\x00", True),
        (b"\xb0\x7b\x00", True),
        (b"\xb0\x07\x00", False),
        (b"\xe0\x00\x41", False),
        (b"\xe0\x00\x40", True),
        (b"\xd0\x05", False),
        (b"\xd0\x00", True),
        (b"\xa0\x3c\x00", True),
        (b"\xc0\x05", False),
        (b"\xf0\x7d\xf7", False),
        (b"\xfc", True),
    ],
)
def test_what_ends_something(message: bytes, ends: bool) -> None:
    """Note-offs, pedals that are let go and not pressed, values that come back to rest, mode messages, transport."""
    assert ends_something(message) == ends


def test_what_ends_nothing_makes_way() -> None:
    """A note that has begun is ended; one that waits never begins, so its note-off isn't needed either."""
    begun, other = b"\x80\x30\x40", b"\x81\x3c\x40"
    pacer = filled(Wire(), NOTE, b"\xb0\x0b\x50", other, b"\xf0\x7d\xf7", OFF, CLOCK, begun, b"\xb0\x40\x7f")
    assert pacer.bytes_waiting == 22
    assert pacer.make_way() == 5
    assert pacer.make_way() == 0
    assert [message for _, message in played(pacer, 0, SECOND)] == [CLOCK, other, begun]


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(1, 6)), max_size=40), st.integers(0, 40))
def test_after_making_way_every_note_that_began_still_ends(notes: list[tuple[int, int]], sent: int) -> None:
    """Keys struck again before they were let go included: as many note-offs go out as note-ons went."""
    ons = [(at, bytes((0x90, key, 100))) for at, (key, _) in enumerate(notes)]
    offs = [(at + length, bytes((0x80, key, 64))) for at, (key, length) in enumerate(notes)]
    line = [message for _, message in sorted([*ons, *offs], key=lambda one: one[0])]
    pacer = filled(Wire(), *line[sent:])
    pacer.make_way()
    heard = [*line[:sent], *(message for _, message in played(pacer, 0, 60 * SECOND))]
    for key in range(3):
        assert heard.count(bytes((0x90, key, 100))) == heard.count(bytes((0x80, key, 64)))


short = st.sampled_from([NOTE, OFF, CLOCK, b"\xfa", b"\xc0\x05", b"\xf0\x7d\x01\xf7", b"\xf2\x00\x00"])
steps = st.lists(st.tuples(st.integers(0, 3_000_000), st.lists(short, max_size=12)), max_size=20)


@given(steps, st.booleans())
def test_everything_comes_out_once_and_in_order(steps: list[tuple[int, list[bytes]]], on_a_wire: bool) -> None:
    """Numbered messages: the urgent ones in their order, the others in theirs, none lost, none twice."""
    pacer = Pacer(Wire() if on_a_wire else Rate(20, 5_000))
    now, came, sent = 0, list[bytes](), list[bytes]()
    for wait, messages in steps:
        now += wait
        while (message := pacer.take(now)) is not None:
            sent.append(message)
        for message in messages:
            came.append(message)
            if pacer.pass_at_once(message, now):
                sent.append(message)
            else:
                pacer.wait(message)
    sent += [message for _, message in played(pacer, now, now + 60 * SECOND)]
    for urgent in (True, False):
        assert [one for one in sent if is_urgent(one) == urgent] == [one for one in came if is_urgent(one) == urgent]


@given(steps)
def test_a_wire_is_never_asked_for_more_than_it_carries(steps: list[tuple[int, list[bytes]]]) -> None:
    """Without urgent ones: whatever was sent by a time needs no longer than that time, and what we are ahead."""
    pacer = Pacer(Wire())
    now, carried, begun = 0, 0, 0
    for wait, messages in steps:
        for message in messages:
            if not is_urgent(message):
                pacer.wait(message)
        for time, message in played(pacer, now, now + wait):
            begun = max(time, carried)
            assert begun - time <= Wire.AHEAD
            carried = begun + len(message) * NANOSECONDS_A_BYTE
        now += wait


@given(st.lists(st.sampled_from(["send", "acknowledge"]), max_size=200), st.integers(1, 4_000))
def test_never_more_on_its_way_than_the_credit(steps: list[str], length: int) -> None:
    """Unless a single message is longer than all of it."""
    credit, message = Credit(), b"\xf0" + bytes(length) + b"\xf7"
    acknowledged = 0
    for step in steps:
        if step == "acknowledge":
            acknowledged = credit.spent
            credit.acknowledge(acknowledged)
        elif credit.when(message, 0) == 0:
            credit.spend(message, 0)
        assert credit.spent - acknowledged <= Credit.ROOM


class Pieces:
    """A limit that takes one piece of `piece` bytes at a time, a millisecond each."""

    def __init__(self, piece: int) -> None:
        self.piece: int | None = piece
        self._free = 0

    def when(self, message: bytes, now: int) -> int:
        """Once the one before is taken."""
        assert message[0] != 0xF0 or self.piece is None or len(message) <= self.piece
        return max(now, self._free)

    def spend(self, message: bytes, now: int, times: int = 1) -> None:
        """It takes its time."""
        self._free = max(self._free, now) + 1_000_000 * times

    def room(self, now: int) -> int:
        """Each message is looked at."""
        return 0


LONG = b"\xf0" + bytes(range(20)) + b"\xf7"


@given(
    st.lists(st.sampled_from([NOTE, OFF, CLOCK, LONG, b"\xf0\x01\xf7", b"\xf2\x01\x02"]), max_size=12),
    st.integers(1, 30),
)
def test_a_long_sysex_goes_in_pieces_with_nothing_but_real_time_between(messages: list[bytes], piece: int) -> None:
    """All of it, in order; other messages wait for its end."""
    sent = [message for _, message in played(filled(Pieces(piece), *messages), 0, SECOND)]
    within, whole = b"", []
    for message in sent:
        if within and message[0] < 0xF8:
            assert is_later_piece(message)
        if message[0] == 0xF0 or is_later_piece(message):
            within += message
            assert len(message) <= piece
        else:
            whole.append(message)
        if within.endswith(b"\xf7"):
            whole.append(within)
            within = b""
    assert not within
    assert sorted(whole) == sorted(messages)
    assert [one for one in whole if not is_urgent(one)] == [one for one in messages if not is_urgent(one)]


def test_a_sysex_that_has_begun_ends_when_silence_comes_first() -> None:
    """Its end goes out, so that the device hears what follows; one that has not begun is dropped like others."""
    pacer = filled(Pieces(8), LONG, LONG, OFF)
    assert pacer.take(0) == LONG[:8]
    assert pacer.bytes_waiting == 2 * len(LONG) - 8 + len(OFF)
    assert pacer.make_way() == 2
    assert [message for _, message in played(pacer, 0, SECOND)] == [b"\xf7", OFF]
    waiting = filled(Pieces(8), NOTE, LONG)
    assert waiting.take(0) == NOTE
    assert waiting.take(0) is None
    assert (waiting.make_way(), len(waiting)) == (1, 0)
    assert not waiting.break_off()


def test_a_long_sysex_is_never_sent_whole_at_once() -> None:
    """It has to wait, and goes out at the next look; where no limit wants pieces, it may go."""
    pacer = Pacer(Pieces(8))
    assert not pacer.pass_at_once(LONG, 0)
    assert pacer.pass_at_once(b"\xf0\x01\xf7", 0)
    assert Pacer(Wire()).pass_at_once(LONG, 0)
    pacer.wait(LONG)
    assert pacer.take(SECOND) == LONG[:8]
    assert not pacer.pass_at_once(CLOCK, 2 * SECOND)
    assert pacer.clear() == 1
