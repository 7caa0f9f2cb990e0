"""Our clock in a session against the slow one: the same messages, at the same nanosecond."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.midi.notation import format_message
from rules.rulefile.reading import read_rules
from tests.model.clockwork import MS, Order, sent

BPM = 120.0
RULES = b'[clock]\nbpm = 120\n[ports]\ndrums = { output = true, clock = "own" }\n'
RULESET = read_rules([("rules.toml", RULES)])
PIPELINE = compile_rules(RULESET)

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
    told = [(due, format_message(message)) for _, message, due, _ in out]
    expected = sent(orders, BPM, end)
    assert [words for _, words in told] == [words for _, words in expected]
    assert all(abs(due - time) <= 1 for (due, _), (time, _) in zip(told, expected, strict=True))
