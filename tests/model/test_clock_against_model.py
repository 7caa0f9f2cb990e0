"""Our clock in a session against the slow one: the same messages, at the same nanosecond."""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate, islice

from hypothesis import given
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.midi.notation import format_message, parse_whole_message
from rules.rulefile.reading import read_rules
from tests.model.clockwork import MS, Order, sent

BPM = 120.0
RULES = b'[clock]\nbpm = 120\n[ports]\ndrums = { output = true, clock = "own" }\n'
RULESET = read_rules([("rules.toml", RULES)])
PIPELINE = compile_rules(RULESET)
FOLLOWING = read_rules([("rules.toml", RULES.replace(b"[ports]", b'follow = "seq"\n[ports]\nseq = { input = true }'))])
FOLLOWING_PIPELINE = compile_rules(FOLLOWING)

ORDERS: st.SearchStrategy[Order] = st.one_of(
    st.sampled_from(["tap", "tap", "tap", "start", "continue", "stop"]),
    st.sampled_from([10.0, 60.0, 90.0, 97.3, 133.25, 240.0, 1_000.0]),
)
WAITS = st.one_of(
    st.integers(1, 3_000).map(lambda ms: ms * MS + 7), st.sampled_from([500 * MS, 480 * MS]), st.integers(1, 2 * MS)
)


@given(st.lists(st.tuples(WAITS, ORDERS), max_size=25))
def test_it_sends_the_same(steps: list[tuple[int, Order]]) -> None:
    """Whatever is asked of it: tempos, taps, starts and stops, close to clock messages and far from them."""
    session, out, now = Session(RULESET, PIPELINE), list[Sent](), 0
    session.start(now, out)
    orders: list[tuple[int, Order]] = []
    for wait, order in steps:
        now += wait
        orders.append((now, order))
        session.order_clock(order, now, out)
    end = now + 100 * MS
    session.advance(end, out)
    _are_alike(out, sent(orders, BPM, end))


SOON = st.integers(1, 2 * MS)
CLOSE = st.lists(st.tuples(st.integers(1, 600 * MS) | SOON, ORDERS), max_size=8)
MOVES = st.sampled_from(["start", "continue", "stop", "song-position 4"])


@given(CLOSE, SOON, st.none() | st.tuples(MOVES, SOON), st.integers(5 * MS, 40 * MS), CLOSE)
def test_it_gives_way_to_another_clock_the_same(
    before: list[tuple[int, Order]],
    wait: int,
    move: tuple[str, int] | None,
    interval: int,
    after: list[tuple[int, Order]],
) -> None:
    """Where the clock that it follows begins right behind an order, with or without moving the song first."""
    orders = _timed(before, 0)
    now = (orders[-1][0] if orders else 0) + wait
    other = []
    if move is not None:
        other = [(now, move[0])]
        now += move[1]
    later = _timed(after, now)
    end = (later[-1][0] if later else now) + 1
    other += [(time, "clock") for time in range(now, end + 1, interval)]
    session, out = Session(FOLLOWING, FOLLOWING_PIPELINE), list[Sent]()
    session.start(0, out)
    events = [(time, 1, place, order) for place, (time, order) in enumerate(orders + later)]
    events += [(time, 0, place, message) for place, (time, message) in enumerate(other)]
    for time, is_order, _, what in sorted(events, key=lambda event: event[:3]):
        if is_order:
            session.order_clock(what, time, out)
        else:
            session.arrive(0, parse_whole_message(str(what)), time, out)
    session.advance(end, out)
    _are_alike(out, sent(orders + later, BPM, end, other))


def _timed(steps: list[tuple[int, Order]], begin: int) -> list[tuple[int, Order]]:
    """Waits made times."""
    times = accumulate((wait for wait, _ in steps), initial=begin)
    return [(time, order) for time, (_, order) in zip(islice(times, 1, None), steps, strict=True)]


def _are_alike(out: list[Sent], expected: list[tuple[Fraction, str]]) -> None:
    """The same messages, each within a nanosecond of its exact time."""
    told = [(due, format_message(message)) for _, message, due, _ in out]
    assert [words for _, words in told] == [words for _, words in expected]
    assert all(abs(due - time) <= 1 for (due, _), (time, _) in zip(told, expected, strict=True))
