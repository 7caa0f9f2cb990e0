"""The process that prepares rules while the daemon plays, so that reading and compiling never hold up the music.

It shares no interpreter with the loop, and goes behind it where the processor is scarce. It gets questions on standard
input and answers on standard output, in pickles. `router/daemon/preparing_process.py` is the other end.
"""

from __future__ import annotations

import os
import pickle
import sys
import traceback
from dataclasses import dataclass
from typing import Any, BinaryIO, Final

from router.daemon.interpreter import collect_seldom
from router.daemon.prepared_rules import Prepared, behaviour_changes, prepare_after
from router.files.rule_files import RuleTexts
from rules.errors import PointsmanError
from rules.program.parts import how_made, parts_of
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet

_LESS_RIGHT: Final = 10  # nice(2)


@dataclass(frozen=True, slots=True)
class Question:
    """Rule files to be prepared. `before` are those that play now, `ports` the outputs of their pipeline by number."""

    texts: RuleTexts
    before: RuleTexts
    ports: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ready:
    """Rules are ready: `words` say what changed, `ruleset` has no rules.

    So many `parts` follow, the last of which is the pipeline.
    """

    words: tuple[str, ...]
    ruleset: RuleSet
    parts: int


@dataclass(frozen=True, slots=True)
class ComparisonQuestion:
    """Rule files that have been replaced, and those that play now: what plays differently?"""

    before: RuleTexts
    now: RuleTexts


Answer = Ready | PointsmanError | str
"""What the other end reads first; a text is the traceback of a mistake of ours."""


class PartPickler(pickle.Pickler):
    """Writes parts one after the other; each refers to those before it."""

    def reducer_override(self, thing: object) -> Any:
        """Return how a thing is made again."""
        return how_made(thing) or NotImplemented


class Preparer:
    """Answers questions, and keeps the rules of the last one: they are likely to be those that play next time."""

    def __init__(self, out: BinaryIO) -> None:
        self._out = out
        self._last: tuple[RuleTexts, RuleSet] | None = None

    def answer(self, question: Question) -> None:
        """Prepare rules, and write the answer."""
        try:
            prepared = self._prepared(question)
        except PointsmanError as error:
            self._write([error])
        except Exception:
            self._write([traceback.format_exc()])
        else:
            parts = list(parts_of(prepared.pipeline))
            held = prepared.ruleset
            played = RuleSet(ports=held.ports, devices=held.devices, switches=held.switches, clock=held.clock)
            self._write([Ready(prepared.words, played, len(parts)), *parts])

    def compare(self, question: ComparisonQuestion) -> None:
        """Compare rules, and write the lines for the log; a text alone is the traceback of a mistake of ours."""
        try:
            self._write([behaviour_changes(question.before, question.now)])
        except Exception:
            self._write([traceback.format_exc()])

    def _prepared(self, question: Question) -> Prepared:
        if self._last is None or self._last[0] != question.before:
            self._last = question.before, read_rules(question.before)
        prepared = prepare_after(question.texts, self._last[1], question.ports)
        self._last = question.texts, prepared.ruleset
        return prepared

    def _write(self, answer: list[object]) -> None:
        pickler = PartPickler(self._out, pickle.HIGHEST_PROTOCOL)
        for part in answer:
            pickler.dump(part)
        self._out.flush()


def main() -> None:
    """Answer until the other end is closed."""
    os.nice(_LESS_RIGHT)
    collect_seldom()
    preparer = Preparer(sys.stdout.buffer)
    while True:
        try:
            question = pickle.load(sys.stdin.buffer)
        except EOFError:  # the daemon has ended
            return
        if isinstance(question, ComparisonQuestion):
            preparer.compare(question)
        else:
            preparer.answer(question)
