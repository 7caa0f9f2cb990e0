"""MIDI clock over real ports: an output to which two sources lead keeps the clock of one of them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.live.daemon import Daemon
from tests.live.peer import NOTE, OFF, Peer
from tests.live.server import until

PORTS = """
[ports]
keys = { input = "Keys:*" }
pads = { input = "Pads:*" }
rack = { output = "Rack:*" }
[[rules]]
from = "keys"
to = "rack"
[[rules]]
from = "pads"
"""
BY_ITSELF = PORTS + 'otherwise = true\nto = "rack"\n'
BY_ITS_NAME = PORTS.replace('"Rack:*"', '"Rack:*", clock = "keys"') + 'to = "rack"\n'
START, CLOCK, STOP = b"\xfa", b"\xf8", b"\xfc"
TICKS = 192
OTHER_NOTE, OTHER_OFF = b"\x92\x40\x50", b"\x82\x40\x40"


@pytest.mark.parametrize("rules", [BY_ITSELF, BY_ITS_NAME], ids=["otherwise", "named"])
def test_two_sources_into_one_output_keep_the_clock(
    daemon: Callable[..., Daemon], peer: Callable[..., Peer], rules: str
) -> None:
    """Of the first source, or of the one that is named: each tick once, between start and stop. Both are heard playing,
    and the clock of the other is not."""
    keys, pads, rack = peer("Keys", "out"), peer("Pads", "out"), peer("Rack", "in")
    router = daemon(rules)
    router.has_opened("keys", "pads", "rack")
    keys.play(START, *(part for _ in range(TICKS // 2) for part in (CLOCK, 0.002, CLOCK, NOTE, 0.002, OFF)), STOP)
    pads.play(START, *(part for _ in range(TICKS) for part in (CLOCK, OTHER_NOTE, 0.002, OTHER_OFF)), STOP)
    until(lambda: rack.heard.count(OTHER_OFF) >= TICKS and STOP in rack.heard, "the end of both performances")
    heard = [message for message in rack.heard if message[0] >= 0xF8]
    assert heard == [START, *[CLOCK] * TICKS, STOP]
    assert rack.heard.count(NOTE) == rack.heard.count(OFF) == TICKS // 2
    assert rack.heard.count(OTHER_NOTE) == TICKS


def test_our_clock_is_heard_and_obeys(daemon: Callable[..., Daemon], peer: Callable[..., Peer]) -> None:
    """It ticks by itself; a command starts it, a pad stops it."""
    keys, rack = peer("Keys", "out"), peer("Rack", "in")
    router = daemon("""
[clock]
bpm = 240
stop = { from = "keys", note = "C4" }
[ports]
keys = { input = "Keys:*" }
rack = { output = "Rack:*", clock = "own" }
[[rules]]
from = "keys"
to = "rack"
""")
    router.has_opened("keys", "rack")
    until(lambda: rack.heard.count(CLOCK) > TICKS // 8, "our clock")
    assert router.ask("clock", do="start")["clock"]["running"]
    until(lambda: START in rack.heard, "the start")
    keys.play(NOTE, OFF)
    until(lambda: STOP in rack.heard, "the stop")
    assert set(rack.heard) == {CLOCK, START, STOP}
