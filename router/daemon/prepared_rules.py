"""Rule files made ready to be played: read, compiled, and proved by the tests that they carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from router.files.rule_files import RuleTexts, read_rule_files
from router.text.formatting import count
from rules.analysis.rule_tests import run_tests
from rules.compiler.compiler import compile_rules
from rules.errors import Problem, RuleFileError
from rules.midi.notation import STANDARD, Naming
from rules.program.pipeline import Pipeline
from rules.rulefile.differences import rule_changes
from rules.rulefile.reading import Reading, read_rule_set
from rules.rulefile.ruleset import RuleSet

_COUNTED: Final = (("rules", "rule"), ("ports", "port"), ("devices", "device"), ("switches", "switch"))
_NOTHING_CHANGED: Final = "the rules are the same as before"
_SAME_BEHAVIOUR: Final = "nothing plays differently"


@dataclass(frozen=True, slots=True)
class Prepared:
    """Rules ready to be played. `texts` are the files as read, `words` say what they hold, or what changed.

    `naming` is how the files count notes and programs.
    """

    texts: RuleTexts
    ruleset: RuleSet
    pipeline: Pipeline
    words: tuple[str, ...]
    naming: Naming = STANDARD


def prepare(arguments: Sequence[str], before: Prepared | None = None) -> Prepared:
    """Return what the files and folders of `arguments` hold, ready to be played after `before`, if that plays now.

    Returns `before` itself where no file has changed. Raises RuleFileError for what is wrong in them, failed tests
    and broken promises included; MachineError for files that can't be read, UsageError for a MIDI file among them.
    """
    return prepare_texts(read_rule_files(arguments), before)


def prepare_texts(texts: RuleTexts, before: Prepared | None = None) -> Prepared:
    """Return the same as `prepare`, for files that have been read."""
    if before is not None and texts == before.texts:
        return before
    reading = read_rule_set(texts)
    ruleset = reading.ruleset
    pipeline = compile_rules(ruleset, before.pipeline.ports if before is not None else ())
    for table in pipeline.tables:
        _ = table.cells  # made here, or else by the loop in the midst of music
    faults = [fault for test in run_tests(reading, pipeline) for fault in test.faults]
    faults += _broken_promises(reading, pipeline)
    if faults:
        raise RuleFileError(faults)
    words = _contents(ruleset) if before is None else rule_changes(before.ruleset, ruleset) or (_NOTHING_CHANGED,)
    naming = next((place.source.naming for place in reading.ports.values()), STANDARD)
    reading.forget_files()
    return Prepared(texts, ruleset, pipeline, words, naming)


def _broken_promises(reading: Reading, pipeline: Pipeline) -> list[Problem]:
    if not reading.promises:
        return []
    from rules.analysis.promises import judge_promises  # most rule files promise nothing, and start sooner without it

    return [result.problem for result in judge_promises(reading, pipeline) if result.verdict == "refuted"]


def behaviour_changes(before: Prepared, now: Prepared) -> list[str]:
    """Return what plays differently with new rules, in at most ten lines. It may take a second."""
    from rules.analysis.rule_comparison import compare_rules

    sides = (before.ruleset, before.pipeline), (now.ruleset, now.pipeline)
    return compare_rules(*sides, now.naming).in_short() or [_SAME_BEHAVIOUR]


def _contents(ruleset: RuleSet) -> tuple[str, ...]:
    counts = [(len(getattr(ruleset, kind)), one, kind) for kind, one in _COUNTED]
    return (", ".join(count(amount, one, kind) for amount, one, kind in counts if amount or kind == "rules"),)
