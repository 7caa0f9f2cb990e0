"""Active sensing (ruling 27). A sender is heard at least every 300 ms: MIDI 1.0 Detailed Specification 4.2.1, p. 32."""

from rules.timing.active_sensing import PATIENCE_NS, Sensing
from rules.timing.delays import NEVER


def test_nobody_is_lost_who_promised_nothing() -> None:
    """A source that never sent FE may be silent for ever."""
    sensing = Sensing()
    sensing.hear(0, 5)
    assert sensing.due == NEVER


def test_a_source_is_lost_half_a_second_after_it_was_heard_last() -> None:
    """Any message counts as a sign of life, and looking in between loses nobody."""
    sensing = Sensing()
    sensing.promise(0, 0)
    sensing.hear(0, 400_000_000)
    assert sensing.due == PATIENCE_NS
    assert sensing.lost() == []
    assert sensing.due == 400_000_000 + PATIENCE_NS
    assert sensing.lost() == [0]
    assert sensing.due == NEVER


def test_each_source_is_lost_by_itself() -> None:
    """One that still speaks stays."""
    sensing = Sensing()
    sensing.promise(0, 0)
    sensing.promise(1, 100)
    assert sensing.lost() == [0]
    assert sensing.lost() == [1]


def test_a_source_whose_port_has_gone_promises_nothing() -> None:
    """It was lost already."""
    sensing = Sensing()
    sensing.promise(0, 0)
    sensing.forget(0)
    assert sensing.lost() == []
    assert sensing.due == NEVER
