"""Spans of time as percentiles."""

from hypothesis import given
from hypothesis import strategies as st

from router.daemon.latency import Latency


def test_nothing_counted_has_no_percentile() -> None:
    """Before the first message nobody knows."""
    assert Latency().percentiles((0.5, 0.99)) == [None, None]


@given(st.lists(st.integers(0, 4_000_000), min_size=1), st.sampled_from([0.5, 0.99, 0.999, 1.0]))
def test_a_percentile_is_never_too_good_and_at_most_a_step_too_bad(spans: list[int], share: float) -> None:
    """At least that share of the messages kept to what is told, and the true value is within 1.024 microseconds."""
    latency = Latency()
    for span in spans:
        latency.note(span)
    told, *rest = latency.percentiles((share, 1.0))
    assert rest == latency.percentiles((1.0,))
    assert told is not None
    assert sum(span / 1_000 <= told for span in spans) >= share * len(spans)
    below = sum(span / 1_000 < told - 1.024 for span in spans)
    assert below < share * len(spans)


def test_what_took_very_long_counts_as_the_longest() -> None:
    """A second in a debugger doesn't break the histogram."""
    latency = Latency()
    latency.note(10**9)
    assert latency.percentiles((1.0,)) == [4_096 * 1.024]
