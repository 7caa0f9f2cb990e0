"""The command `check`: what is wrong or odd in rule files, and whether they do what their tests and promises say.

It reads and compiles as `rewrite` does, and stops before the first file. The data (`--json`) is one object:

    {"command": "check", "ok": true, "files": ["pit.toml"],
     "counts": {"ports": 4, "devices": 2, "switches": 1, "songs": 0, "rules": 3, "tests": 5, "promises": 1},
     "findings": [{"finding": "split gap: C4", "kind": "split gap", "severity": "doubt",
                   "file": "pit.toml", "line": 12, "place": "rule \\"keys\\"", "text": "...", "remedy": "...",
                   "example": {"from": "keys", "message": "note-on 1 C4 100", "bytes": "90 3C 64", "switches": {}},
                   "with": [{"file": "pit.toml", "line": 20, "place": "rule \\"pads\\""}]}],
     "finding_count": 1,
     "tests": [{"name": "...", "file": "pit.toml", "line": 40, "passed": false, "faults": [as a problem],
                "fault_count": 1}],
     "promises": [{"name": "...", "file": "pit.toml", "line": 50, "verdict": "refuted", "problem": [as a problem],
                   "example": {"from": "keys", "message": "note-on 1 C4 100", "bytes": "90 3C 64",
                               "switches": {"low": true}}}],
     "take": [{"port": "rack", "messages": 312, "bytes": 936, "busiest_second": {"load": 0.4, "seconds": 1.5},
               "worst": {"message": "note-on 4 C4 100", "bytes": "93 3C 64", "late_ms": 2.88, "seconds": 12.25,
                         "bar": 7, "beat": 1, "track": 2},
               "columns": {"load": [0.1, ...], "late_ms": [0.0, ...]}}]}

"take" is there with --take alone, and has each DIN output. Rule files that can't be used give {"command": "check",
"ok": false, "error": "...", "problems": [{"file": "pit.toml", "line": 12, "place": "...", "text": "..."}],
"problem_count": 1}. Findings, faults of a test and problems are the first 50 of so many.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from router.cli.parsing import CAUTION, add_playing, file_name
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.formatting import count, number, problem_data
from router.text.terminal import painted, say
from router.text.usage import UsageError
from rules.errors import MOST_PROBLEMS

if TYPE_CHECKING:
    from router.files.rule_files import RuleTexts
    from rules.analysis.rule_tests import RuleTestResult
    from rules.comparison.promises import PromiseResult
    from rules.findings.finding import Finding
    from rules.midi.notation import Naming
    from rules.program.pipeline import Pipeline
    from rules.rig.din_load import DinLoad
    from rules.rulefile.reading import Reading

ABOUT: Final = """\
Find mistakes in rule files, run the tests in them, and prove their promises. All mistakes are reported at once, with
file and line. Do it before a show, and after each change of a rule. It needs no instruments and changes nothing."""

MORE: Final = f"""\
examples:
  pointsman check pit.toml
  pointsman check rules/                 all rule files of a folder, together
  pointsman check pit.toml --take monday.mid
                                         what the DIN connections have to carry in this recording

exit codes: 0 all is well; 1 a mistake, a failed test or a broken promise; 2 a rule file can't be used

{CAUTION}"""


class CheckSettings(NamedTuple):
    """What `check` shall do; `take` is a recording to look at, and `playing` the texts of `--from`."""

    rules: tuple[str, ...]
    json: bool = False
    take: str | None = None
    playing: tuple[str, ...] = ()


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them")
    add(
        "--take",
        metavar="FILE",
        type=file_name,
        help="show what DIN connections carry in this .mid file, and which messages come late (default: none)",
    )
    add_playing(parser)
    add("--json", action="store_true", help="print the findings as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    if arguments.playing and arguments.take is None:
        raise UsageError("--from says as which port a take plays: write --take FILE.mid too")
    return check(CheckSettings(tuple(arguments.rules), arguments.json, arguments.take, tuple(arguments.playing)))


_KINDS: Final = (
    ("ports", "port"),
    ("devices", "device"),
    ("switches", "switch"),
    ("songs", "song"),
    ("rules", "rule"),
    ("tests", "test"),
    ("promises", "promise"),
)


def check(settings: CheckSettings) -> int:
    """Print what is to be said about rule files; return the exit code. Raises RuleFileError, UsageError or
    MachineError."""
    from router.files.rule_files import read_rule_files
    from rules.compiler.compiler import compile_reading
    from rules.findings.findings import findings_of
    from rules.rulefile.reading import read_rule_set

    texts = read_rule_files(settings.rules)
    reading = read_rule_set(texts)
    pipeline = compile_reading(reading)
    loads = None if settings.take is None else _loads(settings.take, settings.playing, reading, pipeline)
    tests, promises = _tested(reading, pipeline), _judged(reading, pipeline)
    checked = Checked(texts, reading, findings_of(reading), tests, promises, loads)
    say([json.dumps(checked.data(), indent=2)] if settings.json else checked.in_words())
    return FINE if checked.ok else INCOMPLETE


def _tested(reading: Reading, pipeline: Pipeline) -> Sequence[RuleTestResult]:
    """Run the tests; without any, the engine need not be loaded."""
    if not reading.tests:
        return ()
    from rules.analysis.rule_tests import run_tests

    return run_tests(reading, pipeline)


def _judged(reading: Reading, pipeline: Pipeline) -> Sequence[PromiseResult]:
    """Judge the promises; without any, what proves them need not be loaded."""
    if not reading.promises:
        return ()
    from rules.comparison.promises import judge_promises

    return judge_promises(reading, pipeline)


def _loads(take: str, playing: Sequence[str], reading: Reading, pipeline: Pipeline) -> list[DinLoad]:
    """Return what a take means for the DIN connections."""
    from router.cli.source_arguments import playing_in
    from router.files.takes import faults_named, read_take
    from rules.rig.din_load import din_loads
    from rules.smf.midi_file import read

    with faults_named(take):
        file = read(read_take(take))
        return din_loads(reading.ruleset, pipeline, file, playing_in(playing, reading.ruleset, file))


@dataclass(frozen=True, slots=True)
class Checked:
    """What was read, what was found, and how its tests went. `loads` are those of a take, None where there is none."""

    texts: RuleTexts
    reading: Reading
    findings: tuple[Finding, ...]
    tests: Sequence[RuleTestResult]
    promises: Sequence[PromiseResult]
    loads: Sequence[DinLoad] | None = None

    @property
    def mistakes(self) -> int:
        """How many findings can't be meant."""
        return sum(finding.severity == "mistake" for finding in self.findings)

    @property
    def ok(self) -> bool:
        """Whether there is no mistake, every test passed and no promise is broken; doubts and remarks are no faults."""
        passed = all(test.passed for test in self.tests)
        return passed and not self.mistakes and all(one.verdict != "refuted" for one in self.promises)

    def counts(self) -> dict[str, int]:
        """Return how many there are of each kind of thing that was written: the switch of the songs was not."""
        counts = {kind: len(getattr(self.reading, kind)) for kind, _ in _KINDS}
        counts["switches"] -= bool(counts["songs"])
        return counts

    def in_words(self) -> list[str]:
        """Return the lines to print."""
        from router.cli.din_words import din_lines
        from router.cli.finding_words import finding_lines
        from router.cli.promise_words import promise_lines
        from router.text.paragraphs import wrapped

        counts = self.counts()
        things = ", ".join(count(counts[kind], one, kind) for kind, one in _KINDS if counts[kind] or kind == "rules")
        found = f"{count(self.mistakes, 'mistake') if self.mistakes else 'no mistakes'} found"
        lines = wrapped(f"{', '.join(name for name, _ in self.texts)}: {things}; {found}")
        lines += [] if counts["rules"] else wrapped("There are no rules: nothing that is played goes anywhere.")
        lines += finding_lines(self.findings)
        lines += ["", *self._test_lines(), *promise_lines(self.promises, self.reading.ruleset)]
        return lines if self.loads is None else [*lines, *din_lines(self.loads, self._namings())]

    def _namings(self) -> list[Naming]:
        """How the file of each DIN output names notes."""
        return [self.reading.ports[load.port].source.naming for load in self.loads or ()]

    def _test_lines(self) -> list[str]:
        from router.cli.finding_words import more
        from router.text.paragraphs import wrapped

        if not self.tests:
            return ["There are no tests: write [[tests]] in a rule file, and check runs them."]
        failed = [test for test in self.tests if not test.passed]
        if not failed:
            passed = "The test passed." if len(self.tests) == 1 else f"All {count(len(self.tests), 'test')} passed."
            return [painted(passed, "good", sys.stdout)]
        lines = [f"{number(len(failed))} of {count(len(self.tests), 'test')} failed:"]
        faults = [fault for test in failed for fault in test.faults]
        shown = [line for fault in faults[:MOST_PROBLEMS] for line in wrapped(str(fault), "  ", "    ")]
        lines += [painted(line, "bad", sys.stdout) for line in shown]
        return [*lines, *more(len(faults))]

    def data(self) -> dict[str, Any]:
        """Return the same for programs."""
        from router.cli.finding_words import finding_data
        from router.cli.promise_words import promise_data

        return {
            "command": "check",
            "ok": self.ok,
            "files": [name for name, _ in self.texts],
            "counts": self.counts(),
            "findings": [finding_data(finding) for finding in self.findings[:MOST_PROBLEMS]],
            "finding_count": len(self.findings),
            "tests": [_test_data(test) for test in self.tests],
            "promises": [promise_data(result) for result in self.promises],
            **self._take_data(),
        }

    def _take_data(self) -> dict[str, Any]:
        from router.cli.din_words import din_data

        if self.loads is None:
            return {}
        return {"take": [din_data(load, naming) for load, naming in zip(self.loads, self._namings(), strict=True)]}


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
