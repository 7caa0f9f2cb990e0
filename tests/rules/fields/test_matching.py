"""Which part of a form a condition takes: against the model's plain answer for each message."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.fields.conditions import Condition
from rules.fields.matching import counts_as_taken, split_any
from rules.midi.messages import LENGTH
from rules.program.byte_tables import ALL
from rules.program.forms import Form
from tests.model.asking import fits, selects
from tests.support.step_strategies import conditions

EDGES = [0, 1, 7, 30, 31, 59, 60, 61, 63, 64, 72, 100, 119, 120, 127]


def reaches(form: Form, first: int, second: int) -> bool:
    """Whether a message of data bytes takes a form."""
    return bool(form.gate_one >> first & 1 and form.gate_two >> second & 1)


def read(raw: Any) -> tuple[Condition, ...]:
    """Conditions as a rule file has them."""
    return tuple(Condition.model_validate(one) for one in raw)


@settings(max_examples=60)
@given(st.lists(conditions(), min_size=1, max_size=3).map(read), st.integers(0x80, 0xEF), st.booleans())
def test_a_split_takes_what_the_conditions_name(asked: tuple[Condition, ...], status: int, strictly: bool) -> None:
    """Each message lies in one piece, inside or outside, as the model says for `keep` and, strictly, for `drop`."""
    inside, outside = split_any(Form(status, gate_one=ALL, gate_two=ALL), asked, strictly=strictly)
    judge = selects if strictly else fits
    for first in EDGES:
        for second in EDGES if LENGTH[status] == 3 else [0]:
            message = bytes((status, first, second))[: LENGTH[status]]
            if status & 0xF0 == 0x90 and not second:  # a note-off: forms know it as one
                continue
            taken = any(judge(condition, message) for condition in asked)
            assert sum(reaches(piece, first, second) for piece in inside) == taken, message.hex(" ")
            assert sum(reaches(piece, first, second) for piece in outside) == (not taken), message.hex(" ")


def test_no_condition_takes_everything() -> None:
    """A rule without `match` asks nothing."""
    form = Form(0x90)
    assert split_any(form, ()) == ([form], [])


def test_clock_is_taken_by_its_name() -> None:
    """A condition on kinds tells clock from the transport beside it."""
    clock, start = Form(0xF8), Form(0xFA)
    asked = read([{"kind": "clock"}])
    assert split_any(clock, asked) == ([clock], [])
    assert split_any(start, asked) == ([], [start])


def test_pedals_count_as_taken_only_where_they_were_meant() -> None:
    """A split by notes takes pedals along but leaves them to `otherwise`; one by channel takes them away (ruling 5)."""
    pedal, note = Form(0xB0), Form(0x90)
    by_notes, by_channel, named = read([{"notes": "60.."}, {"channel": 1}, {"notes": "60..", "kind": "note"}])
    assert not counts_as_taken(pedal, by_notes)
    assert counts_as_taken(note, by_notes)
    assert counts_as_taken(pedal, by_channel)
    assert counts_as_taken(pedal, named)


def test_conditions_are_asked_of_what_goes_out() -> None:
    """A form that a step has moved is judged by its new key."""
    moved = Form(0x90, one=bytes((number + 12) % 128 for number in range(128)) + b"\xff" * 128)
    (high,), _ = split_any(moved, read([{"notes": 72}]))
    assert [first for first in range(128) if high.gate_one >> first & 1] == [60]
    assert high.lane().first(60, 100) == 72
