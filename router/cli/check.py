"""The command `check`: what is wrong or odd in rule files, and whether they do what their tests and promises say.

It reads and compiles as `rewrite` does, and stops before the first file. The data (`--json`) is one object:

    {"command": "check", "ok": true, "files": ["pit.toml"],
     "counts": {"ports": 4, "devices": 2, "switches": 1, "rules": 3, "tests": 5, "promises": 1},
     "hints": [{"file": "pit.toml", "line": 12, "place": "rule \\"keys\\"", "text": "..."}],
     "hint_count": 1,
     "tests": [{"name": "...", "file": "pit.toml", "line": 40, "passed": false, "faults": [as a hint],
                "fault_count": 1}],
     "promises": [{"name": "...", "file": "pit.toml", "line": 50, "verdict": "refuted", "problem": [as a hint],
                   "example": {"from": "keys", "message": "note-on 1 C4 100", "bytes": "90 3C 64",
                               "switches": {"low": true}}}]}

Rule files that can't be used give {"command": "check", "ok": false, "error": "...", "problems": [as a hint],
"problem_count": 1}. Hints, faults of a test and problems are the first 50 of so many.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from router.cli.parsing import CAUTION, file_name
from router.cli.promise_words import promise_data, promise_lines
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.formatting import count, number, plain, problem_data
from router.text.terminal import painted, say
from rules.errors import MOST_PROBLEMS

if TYPE_CHECKING:
    from router.files.rule_files import RuleTexts
    from rules.analysis.promises import PromiseResult
    from rules.analysis.rule_tests import RuleTestResult
    from rules.errors import Problem
    from rules.rulefile.reading import Reading

ABOUT: Final = """\
Find mistakes in rule files, run the tests in them, and prove their promises. All mistakes are reported at once, with
file and line. Do it before a show, and after each change of a rule. It needs no instruments and changes nothing."""

MORE: Final = f"""\
examples:
  pointsman check pit.toml
  pointsman check rules/                 all rule files of a folder, together

exit codes: 0 all is well; 1 a test failed or a promise is broken; 2 a rule file can't be used

{CAUTION}"""


class CheckSettings(NamedTuple):
    """What `check` shall do."""

    rules: tuple[str, ...]
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    parser.add_argument("rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them")
    parser.add_argument("--json", action="store_true", help="print the findings as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return check(CheckSettings(tuple(arguments.rules), arguments.json))


_KINDS: Final = (
    ("ports", "port"),
    ("devices", "device"),
    ("switches", "switch"),
    ("rules", "rule"),
    ("tests", "test"),
    ("promises", "promise"),
)


def check(settings: CheckSettings) -> int:
    """Print what is to be said about rule files; return the exit code. Raises RuleFileError or MachineError."""
    from router.files.rule_files import read_rule_files
    from rules.analysis.findings import hints_of
    from rules.analysis.promises import judge_promises
    from rules.analysis.rule_tests import run_tests
    from rules.compiler.compiler import compile_rules
    from rules.rulefile.reading import read_rule_set

    texts = read_rule_files(settings.rules)
    reading = read_rule_set(texts)
    pipeline = compile_rules(reading.ruleset)
    tests, promises = run_tests(reading, pipeline), judge_promises(reading, pipeline)
    findings = Findings(texts, reading, hints_of(reading), tests, promises)
    say([json.dumps(findings.data(), indent=2)] if settings.json else findings.in_words())
    return FINE if findings.ok else INCOMPLETE


@dataclass(frozen=True, slots=True)
class Findings:
    """What was read, and how its tests went."""

    texts: RuleTexts
    reading: Reading
    hints: tuple[Problem, ...]
    tests: Sequence[RuleTestResult]
    promises: Sequence[PromiseResult]

    @property
    def ok(self) -> bool:
        """Whether every test passed and no promise is broken; a hint is no fault."""
        return all(test.passed for test in self.tests) and all(one.verdict != "refuted" for one in self.promises)

    def counts(self) -> dict[str, int]:
        """Return how many there are of each kind of thing."""
        return {kind: len(getattr(self.reading, kind)) for kind, _ in _KINDS}

    def in_words(self) -> list[str]:
        """Return the lines to print."""
        counts = self.counts()
        things = ", ".join(count(counts[kind], one, kind) for kind, one in _KINDS if counts[kind] or kind == "rules")
        lines = [f"{', '.join(plain(name) for name, _ in self.texts)}: {things}; no mistakes found"]
        if self.hints:
            shown = [f"  {plain(str(hint))}" for hint in self.hints[:MOST_PROBLEMS]]
            lines += ["", "Worth a second look:", *shown, *_more(len(self.hints))]
        promises = promise_lines(self.promises, self.reading.ruleset)
        return [*lines, "", *self._test_lines(), *promises]

    def _test_lines(self) -> list[str]:
        if not self.tests:
            return ["There are no tests. Write [[tests]] in a rule file to have its results checked here."]
        failed = [test for test in self.tests if not test.passed]
        if not failed:
            passed = "The test passed." if len(self.tests) == 1 else f"All {count(len(self.tests), 'test')} passed."
            return [painted(passed, "good", sys.stdout)]
        lines = [f"{number(len(failed))} of {count(len(self.tests), 'test')} failed:"]
        faults = [fault for test in failed for fault in test.faults]
        lines += [painted(f"  {plain(str(fault))}", "bad", sys.stdout) for fault in faults[:MOST_PROBLEMS]]
        return [*lines, *_more(len(faults))]

    def data(self) -> dict[str, Any]:
        """Return the same for programs."""
        return {
            "command": "check",
            "ok": self.ok,
            "files": [name for name, _ in self.texts],
            "counts": self.counts(),
            "hints": [problem_data(hint) for hint in self.hints[:MOST_PROBLEMS]],
            "hint_count": len(self.hints),
            "tests": [_test_data(test) for test in self.tests],
            "promises": [promise_data(result) for result in self.promises],
        }


def _more(amount: int) -> list[str]:
    """Return the line that counts what isn't shown, if anything isn't."""
    return [f"  ... and {number(amount - MOST_PROBLEMS)} more"] if amount > MOST_PROBLEMS else []


def _test_data(test: RuleTestResult) -> dict[str, Any]:
    faults = [problem_data(fault) for fault in test.faults[:MOST_PROBLEMS]]
    return {
        "name": test.name,
        "file": test.place.file,
        "line": test.place.line,
        "passed": test.passed,
        "faults": faults,
        "fault_count": len(test.faults),
    }
