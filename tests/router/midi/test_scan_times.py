"""When ports are looked for."""

from __future__ import annotations

from router.midi.scan_times import EARLIER_NS, SCAN_EVERY_NS, UPKEEP_EVERY_NS, ScanTimes
from tests.support.fake_midi_system import FakeBackend, Hub


def test_where_nothing_tells_ports_are_looked_for_again_and_again() -> None:
    """At once, and four times a second."""
    scans = ScanTimes(FakeBackend(Hub()))
    assert [scans.is_due(now) for now in (5, 6, 5 + SCAN_EVERY_NS)] == [True, False, True]
    assert scans.next == 5 + 2 * SCAN_EVERY_NS


def test_where_the_system_announces_ports_they_are_looked_for_then() -> None:
    """What was announced is looked for once; and once a second all else that has to be looked after."""
    backend = FakeBackend(Hub())
    backend.descriptor = 0
    scans = ScanTimes(backend)
    assert scans.is_due(5)
    backend.ports_changed = True
    assert [scans.is_due(now) for now in (6, 7, 5 + UPKEEP_EVERY_NS, 6 + UPKEEP_EVERY_NS)] == [True, False, False, True]


def test_right_after_messages_a_loop_may_look_earlier() -> None:
    """So that the next message need not wait for it."""
    scans = ScanTimes(FakeBackend(Hub()))
    assert scans.is_due(0)
    early = SCAN_EVERY_NS - EARLIER_NS
    assert [scans.is_due(early - 1, True), scans.is_due(early), scans.is_due(early, True)] == [False, False, True]
    assert scans.next == early + SCAN_EVERY_NS
