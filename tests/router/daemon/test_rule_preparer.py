"""Pipelines taken to parts and put together again: they play alike, and no part is large."""

from __future__ import annotations

import io
import pickle
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from router.daemon.rule_preparer import PartPickler, Preparer, Question
from rules.compiler.compiler import compile_rules
from rules.program.byte_tables import IDENTITY
from rules.program.parts import parts_of
from rules.program.pipeline import Pipeline
from rules.rulefile.reading import read_rules
from tests.support.handed_over import handed_over
from tests.support.performance_strategies import performances
from tests.support.playing import Stage, milliseconds
from tests.support.rule_strategies import rule_files, toml_of
from tests.support.subjects import EngineSubject

EVERYTHING = Path(__file__).parents[2] / "rules/rulefile/everything.toml"
LARGEST = 16 * 1024


def compiled(text: str) -> Pipeline:
    """The pipeline of a rule file."""
    return compile_rules(read_rules([("rules.toml", text.encode())]))


def sizes(pipeline: Pipeline) -> list[int]:
    """How many bytes each part takes."""
    stream = io.BytesIO()
    pickler = PartPickler(stream, pickle.HIGHEST_PROTOCOL)
    ends = [0]
    for part in parts_of(pipeline):
        pickler.dump(part)
        ends.append(stream.tell())
    return [end - begin for begin, end in pairwise(ends)]


def alike(one: object, other: object, without: Sequence[str]) -> bool:
    """Return whether two things are of one kind, and the same in all that they hold but for some names."""
    names = {name for kind in type(one).__mro__ for name in getattr(kind, "__slots__", ())} - {*without}
    return type(one) is type(other) and all(getattr(one, name) == getattr(other, name) for name in names)


@settings(
    max_examples=40,
    derandomize=True,
    database=None,
    phases=[Phase.generate, Phase.shrink],
    suppress_health_check=list(HealthCheck),
)
@given(st.data())
def test_what_was_handed_over_plays_alike(data: st.DataObject) -> None:
    """Whatever the rules say, and through reloads: what is held is known in the new tables too."""
    files = data.draw(rule_files())
    performance = data.draw(performances(files, most=60))
    rulesets = [read_rules([("rules.toml", toml_of(file).encode())]) for file in files]
    here, there = (
        Stage(EngineSubject(rulesets[0], milliseconds, passed_on), rulesets[0], list(rulesets[1:]))
        for passed_on in (lambda pipeline: pipeline, handed_over)
    )
    for stage in (here, there):
        for line in performance:
            stage.play(line)
        stage.finish()
    assert here.out == there.out


def test_every_setting_can_be_handed_over() -> None:
    """What any step or switch puts into a pipeline comes out of it again, each thing once."""
    ruleset = read_rules([("everything.toml", EVERYTHING.read_bytes())])
    before = compile_rules(ruleset)
    after = handed_over(before)
    assert after.nodes.keys() == before.nodes.keys()
    assert [type(node) for node in after.nodes.values()] == [type(node) for node in before.nodes.values()]
    assert after.actions == before.actions
    assert after.setups == before.setups
    for old, new in zip(before.tables, after.tables, strict=True):
        assert len(set(map(id, new.cells))) == len(set(map(id, old.cells)))
        lanes = [lane for cell in new.cells for lane in cell.lanes]
        assert {id(lane.one) for lane in lanes if lane.one == IDENTITY} <= {id(IDENTITY)}
        for one, other in zip(old.cells, new.cells, strict=True):
            assert alike(one, other, without=("lanes", "ons", "cells", "_by_word"))
            for lane, same in zip(one.lanes, other.lanes, strict=True):
                assert alike(lane, same, without=("node",))


@pytest.mark.parametrize("amount", [1, 60])
def test_no_part_is_large(amount: int) -> None:
    """However many rules there are, and however long their chains: nothing nests in a part."""
    steps = ", ".join(["{ delay = 5 }", "{ thin = 20 }"] * 30)
    rules = "".join(
        f'[[rules]]\nname = "{number}"\nfrom = "keys"\nmatch = {{ notes = {number} }}\n'
        f'steps = [{{ transpose = {number % 12} }}, {steps if number == 0 else ""}]\nto = "rack"\n'
        for number in range(amount)
    )
    found = sizes(compiled(f"[ports]\nkeys = {{ input = true }}\nrack = {{ output = true }}\n{rules}"))
    assert max(found) <= LARGEST


def test_a_mistake_of_ours_is_told_as_such() -> None:
    """With its traceback, for the log."""
    stream = io.BytesIO()
    broken: Any = None
    Preparer(stream).answer(Question(broken, (), ()))
    assert "TypeError" in pickle.loads(stream.getvalue())
