"""What a table of conditions names, by itself (rulings 1, 2, 5)."""

from __future__ import annotations

from typing import Any

import pytest

from rules.fields.conditions import CHANNEL_KINDS, KINDS, SIGNAL_KINDS, Condition
from rules.midi.messages import KIND_OF_STATUS, TRANSPORT


def condition(table: dict[str, Any]) -> Condition:
    """A table as in a rule file."""
    return Condition.model_validate(table)


@pytest.mark.parametrize(
    ("table", "kinds"),
    [
        ({"notes": "C3"}, None),
        ({"velocity": "64.."}, None),
        ({"channel": 3}, None),
        ({"kind": "note"}, {"note"}),
        ({"kind": ["note", "sysex"]}, {"note", "sysex"}),
        ({"kind": ["notes", "cc", "aftertouch"]}, {"note", "controller", "channel-pressure"}),
        ({"kind": "program-change"}, {"program"}),
        ({"kind": "poly-aftertouch"}, {"key-pressure"}),
        ({"controller": 7}, {"controller", "channel-mode"}),
        ({"controller": 123}, {"controller", "channel-mode"}),
        ({"value": "64.."}, {"controller", "channel-mode"}),
        ({"program": 1}, {"program"}),
        ({"kind": "channel-pressure", "value": 3}, {"channel-pressure"}),
    ],
)
def test_some_conditions_name_their_kind(table: dict[str, Any], kinds: set[str] | None) -> None:
    """`controller`, `value` and `program` do, notes and velocity name none (ruling 2)."""
    assert condition(table).kinds == (None if kinds is None else frozenset(kinds))


@pytest.mark.parametrize(
    ("table", "about_notes"),
    [({"notes": "C3"}, True), ({"velocity": 3}, True), ({"channel": 3}, False), ({"controller": 3}, False)],
)
def test_about_notes(table: dict[str, Any], about_notes: bool) -> None:
    """A condition on notes or velocity is known as one (ruling 5)."""
    assert condition(table).about_notes is about_notes


@pytest.mark.parametrize(
    ("table", "value"),
    [
        ({"value": 64}, (64, 64)),
        ({"value": "..64"}, (0, 64)),
        ({"value": "64.."}, (64, 127)),
        ({"value": ".."}, (0, 127)),
        ({"kind": "pitch-bend", "value": "..-1"}, (-8192, -1)),
        ({"kind": "pitch-bend", "value": "0.."}, (0, 8191)),
        ({"kind": ["channel-pressure", "key-pressure"], "value": "0.."}, (0, 127)),
    ],
)
def test_a_range_left_open_goes_to_the_end_of_what_its_kind_counts(
    table: dict[str, Any], value: tuple[int, int]
) -> None:
    """Bends from -8192 to 8191, all else from 0 to 127."""
    assert condition(table).value == value


def test_clock_and_transport_are_the_signals() -> None:
    """The kinds that rules don't route are those of the messages that go by port (ruling 26)."""
    assert {KIND_OF_STATUS[status] for status in TRANSPORT} == SIGNAL_KINDS
    assert CHANNEL_KINDS.isdisjoint(SIGNAL_KINDS)
    assert KINDS.difference(CHANNEL_KINDS, SIGNAL_KINDS) == {"sysex"}
