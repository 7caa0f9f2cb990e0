"""The arithmetic of `map`, against values worked out by hand (ruling 21)."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.steps.map import MapStep
from rules.steps.value_map import ValueMap


def mapping(source: str, to: str, **more: Any) -> ValueMap:
    """A map from one thing to another."""
    made = MapStep.model_validate({"from": source, "to": to, **more}).mapping
    assert isinstance(made, ValueMap)
    return made


@pytest.mark.parametrize(
    ("step", "came", "goes"),
    [
        (mapping("controller 1", "controller 11"), 100, 100),
        (mapping("controller 1", "controller 11", out="127..0"), 0, 127),
        (mapping("controller 1", "controller 11", out="127..0"), 64, 63),
        (mapping("controller 1", "controller 11", out="127..0"), 127, 0),
        (mapping("controller 1", "controller 11", **{"in": "64..127"}), 10, 0),  # clamped to `in`
        (mapping("controller 1", "controller 11", **{"in": "64.."}), 127, 127),
        (mapping("controller 1", "controller 11", **{"in": "64..127"}), 96, 65),  # 32 * 127/63 = 64.51
        (mapping("controller 1", "controller 11", out="20..21"), 63, 20),  # 20 + 63/127 = 20.496
        (mapping("controller 1", "controller 11", out="20..21"), 64, 21),  # 20 + 64/127 = 20.504
        (mapping("controller 1", "controller 11", **{"in": "5"}), 99, 0),  # a single value: the first of `out`
        (mapping("channel-pressure", "controller 1", out="0..1", **{"in": "0..2"}), 1, 1),  # 0.5, half up
        # a bend from a controller: its middle, 64, is the middle of the wheel, and each half has its own scale
        (mapping("controller 1", "pitch-bend"), 0, -8192),
        (mapping("controller 1", "pitch-bend"), 32, -4096),
        (mapping("controller 1", "pitch-bend"), 64, 0),
        (mapping("controller 1", "pitch-bend"), 96, 4161),  # 32 * 8191/63 = 4160.51
        (mapping("controller 1", "pitch-bend"), 127, 8191),
        (mapping("channel-pressure", "pitch-bend", out="0..8191"), 0, 0),
        (mapping("channel-pressure", "pitch-bend", out="0..8191"), 64, 4128),  # 64 * 8191/127 = 4127.75
        (mapping("channel-pressure", "pitch-bend", out="0..8191"), 127, 8191),
        (mapping("channel-pressure", "pitch-bend", out="0..-8192"), 127, -8192),
        # and back
        (mapping("pitch-bend", "controller 1"), -8192, 0),
        (mapping("pitch-bend", "controller 1"), -4096, 32),
        (mapping("pitch-bend", "controller 1"), 0, 64),
        (mapping("pitch-bend", "controller 1"), 4096, 96),  # 64 + 4096 * 63/8191 = 95.50
        (mapping("pitch-bend", "controller 1"), 8191, 127),
        # a bend turned round keeps its middle
        (mapping("pitch-bend", "pitch-bend", out="8191..-8192"), -8192, 8191),
        (mapping("pitch-bend", "pitch-bend", out="8191..-8192"), 0, 0),
        (mapping("pitch-bend", "pitch-bend", out="8191..-8192"), 8191, -8192),
        # half the bend
        (mapping("pitch-bend", "pitch-bend", out="-4096..4096"), -8192, -4096),
        (mapping("pitch-bend", "pitch-bend", out="-4096..4096"), 0, 0),
        (mapping("pitch-bend", "pitch-bend", out="-4096..4096"), 8191, 4096),
        # fourteen bits
        (mapping("channel-pressure", "controller 1", bits=14), 127, 16383),
        (mapping("channel-pressure", "controller 1", bits=14), 64, 8256),
        (mapping("channel-pressure", "controller 1", bits=14), 1, 129),
        (mapping("controller 1", "pitch-bend", bits=14), 0, -8192),
        (mapping("controller 1", "pitch-bend", bits=14), 8192, 0),
        (mapping("controller 1", "pitch-bend", bits=14), 16383, 8191),
        (mapping("controller 1", "controller 70", bits=14), 8192, 64),  # 8192 * 127/16383 = 63.5, half up
        (mapping("controller 1", "controller 2", bits=14, out="16383..0"), 1, 16382),
    ],
)
def test_values_go_along_a_straight_line(step: ValueMap, came: int, goes: int) -> None:
    """Rounded half up, clamped to `in`."""
    assert step.mapped(came) == goes


@pytest.mark.parametrize("other", ["controller 1", "channel-pressure", "key-pressure C4", "program", "pitch-bend"])
def test_the_middle_of_a_bend_stays(other: str) -> None:
    """A wheel at rest maps to the middle, and the middle maps to a wheel at rest."""
    middle = 0 if other == "pitch-bend" else 64
    assert mapping("pitch-bend", other).mapped(0) == middle
    assert mapping(other, "pitch-bend").mapped(middle) == 0


@given(
    st.sampled_from(["controller 1", "pitch-bend", "note", "channel-pressure"]),
    st.sampled_from(["controller 1", "pitch-bend", "note C3", "program", "key-pressure C3"]),
    st.sampled_from([7, 14]),
    st.data(),
)
def test_what_goes_out_lies_inside(source: str, to: str, bits: int, data: st.DataObject) -> None:
    """Whatever ranges a map has, what goes out lies inside `out`, and growing values never turn back."""
    if bits == 14 and "controller" not in f"{source} {to}":
        bits = 7
    plain = mapping(source, to, bits=bits)
    low, high = plain.source.span(bits)
    ends = sorted(data.draw(st.tuples(st.integers(low, high), st.integers(low, high))))
    first, last = (data.draw(st.integers(*plain.to.span(bits))) for _ in range(2))
    step = mapping(source, to, bits=bits, out=f"{first}..{last}", **{"in": f"{ends[0]}..{ends[1]}"})
    came = sorted(data.draw(st.lists(st.integers(low, high), max_size=8)))
    goes = [step.mapped(value) for value in came]
    assert all(min(first, last) <= value <= max(first, last) for value in goes)
    assert goes == sorted(goes, reverse=last < first)
    if ends[0] < ends[1]:
        assert (step.mapped(low), step.mapped(high)) == (first, last)
