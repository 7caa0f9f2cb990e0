"""Work in short turns: rests come after so much work, not after each piece."""

from __future__ import annotations

from router.daemon.short_turns import ShortTurns
from tests.support.fake_clock import FakeClock


def test_a_thread_rests_after_a_tenth_of_a_millisecond() -> None:
    """Small pieces are done together; what took longer is followed by a rest at once."""
    time = FakeClock()
    rest = ShortTurns(time.clock)
    for took_ns, rests in [(40_000, 0), (40_000, 0), (40_000, 1), (99_000, 1), (1_000, 2), (5_000_000, 3)]:
        time.now += took_ns
        rest()
        assert len(time.slept) == rests
