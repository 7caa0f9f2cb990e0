"""Parity: the journal of a performance, played again, gives the identical messages, ports and times."""

from hypothesis import example, given
from hypothesis import strategies as st

from rules.journal.format import IN, STATE, WALL, Record, pack, unpack
from rules.journal.replay import replay
from tests.support.journalled_session import CLOCKED, FIRST, MS, SECOND, Performance
from tests.support.outgoing_records import went_out

ORDERS: list[str | float] = ["tap", "tap", "start", 100.5, "stop", "continue"]
KEYS = st.tuples(st.sampled_from([0x90, 0x90, 0x80, 0xB0, 0xE0]), st.sampled_from([24, 60, 62, 64, 67]))
MESSAGES = st.tuples(KEYS, st.sampled_from([0, 1, 64, 100, 127])).map(lambda drawn: bytes((*drawn[0], drawn[1])))
SYSTEM = st.sampled_from([b"\xf8", b"\xf8", b"\xf8", b"\xfa", b"\xfc", b"\xfe", b"\xf0\x01\xf7"])
STEPS = st.one_of(
    st.tuples(st.just("arrive"), st.integers(0, 1), MESSAGES),
    st.tuples(st.just("arrive"), st.integers(0, 1), MESSAGES | SYSTEM),
    st.just(("advance",)),
    st.tuples(st.just("play_take"), MESSAGES),
    st.just(("end_take",)),
    st.tuples(st.just("lose"), st.integers(0, 1)),
    st.tuples(st.just("come_back"), st.sampled_from(["rack", "box"])),
    st.tuples(st.just("turn"), st.just("up"), st.booleans()),
    st.tuples(st.just("turn"), st.just("song"), st.sampled_from(["verse", "chorus"])),
    st.tuples(st.just("panic"), st.just(False)),
    st.tuples(st.just("replace"), st.sampled_from([FIRST, SECOND, CLOCKED])),
    st.tuples(st.just("order"), st.sampled_from(["start", "continue", "stop", "tap", 77.0])),
    st.tuples(st.just("stand_still"), st.sampled_from([MS, 1_500 * MS])),
)
SENSED_WHILE_ONE_IS_DUE = [(0, ("arrive", 1, b"\x90\x18\x00")), (20 * MS, ("arrive", 0, b"\xfe"))]
WAITS = st.sampled_from([0, 1, 3 * MS, 20 * MS, 21 * MS, 170 * MS, 600 * MS])


@example(SENSED_WHILE_ONE_IS_DUE, False)
@given(st.lists(st.tuples(WAITS, STEPS), max_size=40), st.booleans())
def test_the_journal_of_a_performance_gives_it_again(steps: list[tuple[int, tuple]], leaves: bool) -> None:  # type: ignore[type-arg]
    """Notes, pedals, delays, echoes, clock, active sensing, takes, ports that come and go, switches, panic, rules."""
    performance = Performance()
    for wait, (verb, *arguments) in steps:
        performance.now += wait
        getattr(performance, verb)(*arguments)
    if leaves:
        performance.leave()
    else:
        performance.advance()  # as the loop does after everything that arrives
    written = b"".join(map(pack, performance.log))
    assert replay(unpack(written)) == went_out(performance.log)


def test_a_clock_of_our_own_ticks_again() -> None:
    """Orders, taps, another clock that stops, and a computer that stands still."""
    performance = Performance()
    performance.replace(CLOCKED)
    for number, order in enumerate(ORDERS):
        performance.now += (300 + number) * MS
        performance.order(order)
    for _ in range(40):
        performance.now += 7 * MS
        performance.arrive(1, b"\xf8")
    performance.now += 900 * MS
    performance.advance()
    performance.stand_still(3_000 * MS)
    performance.now += 100 * MS
    performance.leave()
    sent = went_out(performance.log)
    assert sum(message == b"\xf8" for _, message, _ in sent) > 150
    assert replay(performance.log) == sent


def test_every_key_of_a_panic_is_played_again() -> None:
    """The 2,048 note-offs as well."""
    performance = Performance()
    performance.panic(True)
    assert len(went_out(performance.log)) > 2048
    assert replay(performance.log) == went_out(performance.log)


def test_what_was_due_by_the_last_record_goes_out() -> None:
    """A journal that a crash has ended tells all that happened until then."""
    performance = Performance()
    performance.arrive(1, bytes((0x90, 60, 100)))
    performance.now += 9 * MS
    performance.advance()
    assert went_out(performance.log)[-1] == (0, bytes((0x90, 60, 100)), 5 + 7 * MS)
    assert replay(performance.log) == went_out(performance.log)


def test_records_that_only_tell_are_no_events() -> None:
    """Names, switches and the time on the wall; and nothing at all happens without rules."""
    told: list[Record] = [(WALL, 9, 0, b"1.5"), (STATE, 9, 0, b"{}")]
    performance = Performance()
    assert replay([*performance.log, *told]) == went_out(performance.log)
    assert replay([(IN, 0, 0, bytes((0x90, 60, 100)))]) == []
