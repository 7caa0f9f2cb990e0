"""The daemon's end of the process that prepares rules: asks it, and takes in what it made, part by part."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any, Final

from router.daemon.prepared_rules import Prepared, make_cells, prepare_texts
from router.daemon.rule_preparer import Answer, ComparisonQuestion, Question
from router.daemon.short_turns import ShortTurns
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.rule_files import RuleTexts
from rules.errors import MachineError, PointsmanError
from rules.rulefile.reading import read_rules

_COMMAND: Final = (sys.executable, "-c", "from router.daemon.rule_preparer import main; main()")
_UNUSABLE: Final = (OSError, EOFError, ValueError, pickle.UnpicklingError)
"""What is raised where the process has ended; a ValueError where `stop` closes a pipe just before it is used."""

_NOT_COMPARED: Final = "not known, since the process that compares rule files ended: `pointsman compare` shows it"
_REST_AFTER_NS: Final = 60_000_000_000


class PreparingProcess:
    """Prepares rules in another process. It is started when it is needed, and kept while rules are being edited.

    `say` gets lines for the log. Where the process can't be used, rules are prepared here: that may hold up the music.
    All methods but `stop` are for one thread.
    """

    def __init__(
        self, say: Callable[[str], None], clock: Clock = SYSTEM_CLOCK, command: tuple[str, ...] = _COMMAND
    ) -> None:
        self._say = say
        self._clock = clock
        self._command = command
        self._used_at = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._guard = threading.Lock()
        self._stopping = False

    def prepare(self, texts: RuleTexts, before: Prepared) -> Prepared:
        """Return what `prepare_texts` does, but for the rules of its rule set, and raise what that raises.

        Raises MachineError once it is stopped.
        """
        if texts == before.texts:
            return before
        try:
            return self._handed_over(texts, before)
        except _UNUSABLE as error:
            self._end()
            if self._stopping:
                raise MachineError("the daemon is about to end") from error
            self._say(
                "the process that reads rule files ended, so the daemon reads them itself; notes may come late "
                f"meanwhile ({error or type(error).__name__})"
            )
        return prepare_texts(texts, replace(before, ruleset=read_rules(before.texts)))

    def compare(self, before: Prepared, now: Prepared) -> Sequence[str]:
        """Return what plays differently with rules that have been put in force, in at most ten lines.

        Where the process can't be used nothing is compared: here that would hold up the music.
        """
        try:
            answer = self._asked(ComparisonQuestion(before.texts, now.texts)).load()
        except _UNUSABLE:
            self._end()
            return () if self._stopping else (_NOT_COMPARED,)
        if isinstance(answer, str):
            raise RuntimeError(answer)
        self._used_at = self._clock.now_ns()
        lines: Sequence[str] = answer
        return lines

    def rest(self) -> None:
        """End the process if it wasn't needed for a minute: its memory is as large as the daemon's. Call it often."""
        if self._process is not None and self._clock.now_ns() - self._used_at > _REST_AFTER_NS:
            self._end()

    def stop(self) -> None:
        """End the process for good, whatever it does. May be called from any thread."""
        self._stopping = True
        self._end()

    def _handed_over(self, texts: RuleTexts, before: Prepared) -> Prepared:
        unpickler = self._asked(Question(texts, before.texts, before.pipeline.ports))
        answer: Answer = unpickler.load()
        if isinstance(answer, PointsmanError):
            raise answer
        if isinstance(answer, str):
            raise RuntimeError(answer)
        part: Any = None
        rest = ShortTurns(self._clock)
        for _ in range(answer.parts):
            part = unpickler.load()
            rest()
        make_cells(part)
        self._used_at = self._clock.now_ns()
        return Prepared(texts, answer.ruleset, part, answer.words)

    def _asked(self, question: Question | ComparisonQuestion) -> pickle.Unpickler:
        with self._guard:
            if self._stopping:
                raise EOFError
            if self._process is None:
                self._process = _started(self._command)
            process = self._process
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(pickle.dumps(question))
        process.stdin.flush()
        return pickle.Unpickler(process.stdout)

    def _end(self) -> None:
        with self._guard:
            process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdout.close()
        with suppress(OSError):  # for a question that it never read
            process.stdin.close()


def _started(command: tuple[str, ...]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,  # ours leads to the log, and what goes wrong is in the answer
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        start_new_session=True,  # Ctrl-C is for the daemon
    )
