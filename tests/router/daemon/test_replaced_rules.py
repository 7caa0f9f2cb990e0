"""Old rules go at once and piece by piece, but not before the notes that were struck under them."""

import gc
from collections.abc import Iterator
from dataclasses import replace

import pytest

from router.daemon.prepared_rules import Prepared, prepare_texts
from router.daemon.replaced_rules import ReplacedRules
from rules.engine.session import Session
from rules.program.tables import Cell
from tests.support.handed_over import handed_over

BEFORE = """
[ports]
keys = { input = "K*", steps = [{ thin = { ms = 5 } }] }
rack = { output = "R*" }
[switches]
up = { from = "keys", note = 1 }
[[rules]]
name = "a"
from = "keys"
to = "rack"
when = "up"
chase = ["sustain"]
steps = [{ delay = { ms = 5 }, when = "up" }, { transpose = 1 }]
[[rules]]
name = "b"
from = "keys"
to = "rack"
"""
AFTER = BEFORE.replace("transpose = 1", "transpose = 2")


def prepared(text: str, before: Prepared | None = None) -> Prepared:
    """The rules of one file."""
    return prepare_texts((("rig.toml", text.encode()),), before)


def living() -> int:
    """How many cells there are."""
    return sum(isinstance(thing, Cell) for thing in gc.get_objects())


@pytest.fixture
def uncollected() -> Iterator[None]:
    """The garbage collector sleeps: what goes, goes by itself."""
    prepared(BEFORE)
    prepared(AFTER)
    gc.collect()
    gc.disable()
    yield
    gc.enable()


@pytest.mark.usefixtures("uncollected")
def test_rules_that_were_replaced_are_gone_at_once() -> None:
    """Nothing of old rules waits for the garbage collector, whose full rounds would be heard."""
    before = prepared(BEFORE)
    session = Session(before.ruleset, before.pipeline)
    only_one = living()
    after = prepared(AFTER, before)
    assert living() > only_one
    session.replace(after.ruleset, after.pipeline, 0, [])
    retired = ReplacedRules()
    retired.add(before)
    del before
    retired.part()
    assert len(retired) == 0
    assert living() == only_one


@pytest.mark.usefixtures("uncollected")
def test_rules_that_another_process_prepared_are_gone_at_once() -> None:
    """Nor does anything wait that took part in handing them over."""
    before = prepared(BEFORE)
    none_of_them = living()
    retired = ReplacedRules()
    retired.add(replace(before, pipeline=handed_over(before.pipeline)))
    assert living() > none_of_them
    retired.part()
    assert len(retired) == 0
    assert living() == none_of_them


@pytest.mark.usefixtures("uncollected")
def test_rules_outlive_their_notes() -> None:
    """While a note sounds that old rules know of, whoever plays must not be the one who lets go of them."""
    before = prepared(BEFORE)
    session = Session(before.ruleset, before.pipeline)
    session.arrive(session.players["keys"], bytes((0x90, 60, 100)), 0, [])
    after = prepared(AFTER, before)
    session.replace(after.ruleset, after.pipeline, 1, [])
    retired = ReplacedRules()
    retired.add(before)
    del before
    retired.part()
    assert len(retired) > 0
    session.arrive(session.players["keys"], bytes((0x80, 60, 64)), 2, [])
    retired.part()
    assert len(retired) == 0


def test_rules_in_force_stay() -> None:
    """What is handed over too early stays whole."""
    playing = prepared(BEFORE)
    retired = ReplacedRules()
    retired.add(playing)
    retired.part()
    assert len(retired) > 0
    assert all(len(row) == 128 for table in playing.pipeline.tables for row in table.rows)


def test_letting_go_is_done_in_small_pieces() -> None:
    """Whoever does it can rest after each: a table goes a row at a time."""
    rests: list[None] = []
    retired = ReplacedRules()
    retired.add(prepare_texts((("rig.toml", BEFORE.encode()),)))
    retired.part(lambda: rests.append(None))
    assert len(rests) > 128
