"""Words of other habits: each leads to a word that there is."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from rules.fields.table_model import TableModel
from rules.rulefile import other_words
from rules.rulefile.error_texts import allowed_keys
from rules.rulefile.other_words import key_meant, value_meant, wrapped
from rules.steps.registry import all_steps

RULE = allowed_keys(("rules", 0))


def tables(model: type[TableModel] = TableModel) -> Iterator[type[TableModel]]:
    """Every table of a rule file."""
    all_steps()
    for table in model.__subclasses__():
        yield table
        yield from tables(table)


def test_every_word_leads_to_a_key_that_there_is() -> None:
    """None to itself; no value that is allowed somewhere has another meaning."""
    keys = {field.alias or name for table in tables() for name, field in table.model_fields.items()}
    for word, meant in other_words._KEYS.items():
        assert word not in meant
        assert set(meant) <= keys, word
    assert not set(other_words._VALUES) & set(other_words._VALUES.values())


@pytest.mark.parametrize(
    ("word", "known", "meant"),
    [
        ("start", ["port", "setup"], "setup"),
        ("Start", ["values", "initial"], "initial"),
        ("start", ["ms", "beats"], None),
        ("colour", RULE, None),
        ("catch_up", RULE, "chase"),
    ],
)
def test_the_first_key_that_the_table_knows_is_meant(word: str, known: list[str], meant: str | None) -> None:
    """One word may mean different keys in different tables."""
    assert key_meant(word, known) == meant


def test_a_value_is_meant_where_it_is_allowed() -> None:
    """`hold` is a mode, but no form of connection."""
    assert value_meant("hold", ["momentary", "toggle"]) == "momentary"
    assert value_meant("hold", ["din", "usb"]) is None


def test_conditions_and_steps_belong_into_tables_of_their_own() -> None:
    """A velocity is either."""
    assert wrapped("notes", RULE) == ("match = { notes = ... }",)
    assert wrapped("echo", RULE) == ("steps = [{ echo = ... }]",)
    assert len(wrapped("velocity", RULE)) == 2
    assert wrapped("to", RULE) == ()
    assert wrapped("notes", ["ms"]) == ()
