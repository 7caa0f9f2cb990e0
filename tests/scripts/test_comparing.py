"""How a soak finds what was lost on the way."""

from __future__ import annotations

import random

import pytest

from endurance.comparing import Faults, compared

CHANCE = random.Random(4)
SENT = [bytes((0x90, CHANCE.randrange(128), 1)) for _ in range(500)]


@pytest.mark.parametrize(
    ("heard", "faults"),
    [
        (SENT, Faults(0, 0, 0)),
        (SENT[:100] + SENT[107:], Faults(7, 0, 1)),
        (SENT[:100] + SENT[96:], Faults(0, 4, 1)),
        (SENT[:100] + SENT[101:300] + SENT[305:], Faults(6, 0, 2)),
        (SENT[:100] + SENT[101:300] + SENT[290:], Faults(1, 10, 2)),
        (SENT[3:], Faults(3, 0, 1)),
        (SENT[:-3], Faults(3, 0, 1)),
        ([], Faults(500, 0, 1)),
        (SENT[250:] + SENT[:250], Faults(250, 250, 2)),
    ],
)
def test_periods_that_were_dropped_or_repeated_are_counted(heard: list[bytes], faults: Faults) -> None:
    """How many messages, and in how many places; what is in another order counts as lost and extra."""
    assert compared(SENT, heard) == faults
