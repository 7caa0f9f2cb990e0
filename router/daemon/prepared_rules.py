"""Rule files made ready to be played: read, compiled, and proved by the tests that they carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from router.files.rule_files import RuleTexts, read_rule_files
from router.text.formatting import count
from rules.analysis.rule_tests import run_tests
from rules.compiler.compiler import compile_reading, compile_rules
from rules.errors import Problem, RuleFileError
from rules.midi.notation import STANDARD
from rules.program.pipeline import Pipeline
from rules.rulefile.differences import rule_changes
from rules.rulefile.reading import Reading, read_rule_set, read_rules
from rules.rulefile.ruleset import RuleSet

_COUNTED: Final = (("rules", "rule"), ("ports", "port"), ("devices", "device"), ("songs", "song"))
"""Besides switches: of those, songs make one that nobody wrote."""
_NOTHING_CHANGED: Final = "the rules are the same as before"
_SAME_BEHAVIOUR: Final = "nothing plays differently"
_MOST_COMPARED: Final = 1_000  # rules; the next reload waits for the comparison of this one
_TOO_MANY: Final = "these are too many rules to compare here: `pointsman compare` does it"


@dataclass(frozen=True, slots=True)
class Prepared:
    """Rules ready to be played. `texts` are the files as read, `words` say what they hold, or what changed.

    A `ruleset` that another process has prepared has no rules: what plays are the tables.
    """

    texts: RuleTexts
    ruleset: RuleSet
    pipeline: Pipeline
    words: tuple[str, ...]


def prepare(arguments: Sequence[str], before: Prepared | None = None) -> Prepared:
    """Return what the files and folders of `arguments` hold, ready to be played after `before`, if that plays now.

    Returns `before` itself where no file has changed. Raises RuleFileError for what is wrong in them, failed tests
    and broken promises included; MachineError for files that can't be read, UsageError for a MIDI file among them.
    """
    return prepare_texts(read_rule_files(arguments), before)


def prepare_texts(texts: RuleTexts, before: Prepared | None = None) -> Prepared:
    """Return the same as `prepare`, for files that have been read."""
    if before is None:
        return prepare_after(texts, None, ())
    return before if texts == before.texts else prepare_after(texts, before.ruleset, before.pipeline.ports)


def prepare_after(texts: RuleTexts, before: RuleSet | None, ports: Sequence[str]) -> Prepared:
    """Return what files hold, ready to be played after the rules `before`, whose outputs are `ports` by number."""
    reading = read_rule_set(texts)
    ruleset = reading.ruleset
    pipeline = compile_reading(reading, ports)
    make_cells(pipeline)
    faults = [fault for test in run_tests(reading, pipeline) for fault in test.faults]
    faults += _broken_promises(reading, pipeline)
    if faults:
        raise RuleFileError(faults)
    words = _contents(ruleset) if before is None else rule_changes(before, ruleset) or (_NOTHING_CHANGED,)
    reading.forget_files()
    return Prepared(texts, ruleset, pipeline, words)


def _broken_promises(reading: Reading, pipeline: Pipeline) -> list[Problem]:
    if not reading.promises:
        return []
    from rules.comparison.promises import judge_promises  # most rule files promise nothing, and start sooner without it

    return [result.problem for result in judge_promises(reading, pipeline) if result.verdict == "refuted"]


def behaviour_changes(before: RuleTexts, now: RuleTexts) -> tuple[str, ...]:
    """Return what plays differently with new rule files, in at most ten lines. It may take seconds."""
    from rules.comparison.rule_comparison import compare_rules

    old, new = read_rules(before), read_rule_set(now)
    if len(old.rules) + len(new.ruleset.rules) > _MOST_COMPARED:
        return (_TOO_MANY,)
    naming = next((place.source.naming for place in new.ports.values()), STANDARD)
    sides = (old, compile_rules(old)), (new.ruleset, compile_rules(new.ruleset))
    return tuple(compare_rules(*sides, naming).in_short()) or (_SAME_BEHAVIOUR,)


def make_cells(pipeline: Pipeline) -> None:
    """Make the lists of cells, which the loop would make else in the midst of music."""
    for table in pipeline.tables:
        _ = table.cells


def _contents(ruleset: RuleSet) -> tuple[str, ...]:
    counts = [(len(getattr(ruleset, kind)), one, kind) for kind, one in _COUNTED]
    counts.append((len(ruleset.switches) - bool(ruleset.songs), "switch", "switches"))
    return (", ".join(count(amount, one, kind) for amount, one, kind in counts if amount or kind == "rules"),)
