"""Conditions on switches: where a value ends, and how one is written again."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from rules.fields.when import Term, When, parse_when, written_states, written_value
from rules.program.switch_states import State


def terms(text: str) -> list[list[tuple[str, str | None, bool]]]:
    """Return the parts of a condition: switch, value, and whether it is negated."""
    return [[(term.switch, term.value, term.negated) for term in part] for part in parse_when(text).alternatives]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("song = Don't stop", [[("song", "Don't stop", False)]]),
        ("song = 7/8 jam and not up", [[("song", "7/8 jam", False), ("up", None, True)]]),
        ("not song = Don't stop or song=7/8 jam", [[("song", "Don't stop", True)], [("song", "7/8 jam", False)]]),
        ("song = 'Rock and Roll' and up", [[("song", "Rock and Roll", False), ("up", None, False)]]),
        ('song = "now or never"or up', None),
        ('song = "now or never" or up', [[("song", "now or never", False)], [("up", None, False)]]),
        ('song = "\'n sync"', [[("song", "'n sync", False)]]),
        ("song = Band on = the run", [[("song", "Band on = the run", False)]]),
        ("song = Andante or key = -2..2", [[("song", "Andante", False)], [("key", "-2..2", False)]]),
        ("song = Do not go", [[("song", "Do not go", False)]]),
        ("big song = a\n  and up", [[("big song", "a", False), ("up", None, False)]]),
        ("song = ", None),
        ("song = 'x", None),
        ("song = x and", None),
        ("song = or", None),
        ("up and", None),
        ("and up", None),
        ("not not up", None),
        ("", None),
    ],
)
def test_a_value_runs_to_the_next_joining_word(
    text: str, wanted: list[list[tuple[str, str | None, bool]]] | None
) -> None:
    """In quotes of either kind it may have such a word in it."""
    if wanted is None:
        with pytest.raises(PydanticCustomError, match="is not a condition on switches"):
            parse_when(text)
    else:
        assert terms(text) == wanted


VALUES = st.one_of(
    st.lists(st.sampled_from(["and", "or", "not", "Don't", "7/8", "=", "a.b", "ändern"]), min_size=1, max_size=4).map(
        " ".join
    ),
    st.text(min_size=1).filter(lambda text: text.isprintable() and text == text.strip()),
).filter(lambda text: not ('"' in text and "'" in text))


@given(st.lists(st.lists(st.tuples(VALUES, st.booleans()), min_size=1, max_size=3), min_size=1, max_size=3))
def test_every_value_can_be_written_and_read(parts: list[list[tuple[str, bool]]]) -> None:
    """A condition in words is read as the same condition."""
    when = When(tuple(tuple(Term("song", value, negated) for value, negated in part) for part in parts))
    assert parse_when(str(when)) == when


@given(st.dictionaries(st.sampled_from(["up", "song", "key"]), VALUES | st.booleans() | st.integers(-999, 999)))
def test_states_in_words_are_a_condition_that_they_meet(states: dict[str, State]) -> None:
    """What an example says can be pasted into a rule file."""
    if states:
        when = parse_when(written_states(states.items()))
        assert when.holds(states)
        assert [term.switch for term in when.terms] == list(states)


def test_quotes_only_where_they_are_needed() -> None:
    """As a person writes it."""
    values = ["Don't stop", "Rock and Roll", "'n sync", 'say "yes" or no', "Android"]
    assert list(map(written_value, values)) == [
        "Don't stop",
        '"Rock and Roll"',
        '"\'n sync"',
        "'say \"yes\" or no'",
        "Android",
    ]
