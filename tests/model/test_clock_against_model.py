"""Our clock in a session against the slow one: the same messages, at the same nanosecond."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.midi.notation import format_message, parse_whole_message
from rules.program.pipeline import Pipeline
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet
from tests.model import Out
from tests.model.live import Live
from tests.model.own_clock import Order
from tests.model.taps import MS

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


class Pair:
    """Both clocks, and what they have sent."""

    def __init__(self, ruleset: RuleSet, pipeline: Pipeline) -> None:
        self.now = 0
        self._session, self._sent = Session(ruleset, pipeline), list[Sent]()
        self._live, self._out = Live(ruleset), Out()
        self._session.start(0, self._sent)
        self._live.begin(0, self._out)

    def order(self, wait: int, order: Order) -> None:
        """Ask both for something, so much later."""
        self.now += wait
        self._session.order_clock(order, self.now, self._sent)
        self._live.order(order, self.now, self._out)

    def hear(self, wait: int, words: str) -> None:
        """Let something come from the source that they follow, so much later."""
        self.now += wait
        message = parse_whole_message(words)
        self._session.arrive(0, message, self.now, self._sent)
        self._live.arrive("seq", message, self.now, self._out)

    def are_alike(self) -> bool:
        """Whether the same messages went out, each within a nanosecond of its exact time."""
        self.now += 100 * MS
        self._session.advance(self.now, self._sent)
        self._live.advance(self.now, self._out)
        told = [(due, format_message(message), player) for _, message, due, player in self._sent]
        exact = [(due, format_message(message), player) for _, message, due, player in self._out]
        assert [each[1:] for each in told] == [each[1:] for each in exact]
        return all(abs(due - time) <= 1 for (due, *_), (time, *_) in zip(told, exact, strict=True))


@given(st.lists(st.tuples(WAITS, ORDERS), max_size=25))
def test_it_sends_the_same(steps: list[tuple[int, Order]]) -> None:
    """Whatever is asked of it: tempos, taps, starts and stops, close to clock messages and far from them."""
    pair = Pair(RULESET, PIPELINE)
    for wait, order in steps:
        pair.order(wait, order)
    assert pair.are_alike()


SOON = st.integers(1, 2 * MS)
CLOSE = st.lists(st.tuples(st.integers(1, 600 * MS) | SOON, ORDERS), max_size=8)
HEARD = st.sampled_from(["clock", "clock", "clock", "start", "continue", "stop", "song-position 4", "mtc 0"])


@given(CLOSE, st.lists(st.tuples(SOON, HEARD), min_size=1, max_size=8), st.integers(5 * MS, 40 * MS), CLOSE)
def test_it_gives_way_to_another_clock_the_same(
    before: list[tuple[int, Order]], close: list[tuple[int, str]], interval: int, after: list[tuple[int, Order]]
) -> None:
    """Where the clock that it follows begins right behind an order, runs for a while, and stops again."""
    pair = Pair(FOLLOWING, FOLLOWING_PIPELINE)
    for wait, order in before:
        pair.order(wait, order)
    for wait, words in [*close, *[(interval, "clock")] * 12]:
        pair.hear(wait, words)
    for wait, order in after:
        pair.order(wait, order)
    assert pair.are_alike()
