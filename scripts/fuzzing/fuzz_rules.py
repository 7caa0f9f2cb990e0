#!/usr/bin/env python3
"""Puts damaged rule files through reader, compiler and their own tests: each gives a result or our own error, soon.

Takes rule files (examples/ and those of the tests), damages them in ways that happen and in ways that don't, byte by
byte and word by word. Prints counts. A violation is printed, the file that showed it is kept in a folder that is named,
and the exit code is 1. The same --seed gives the same files.

What must hold:

* A file is read, or refused with RuleFileError. Nothing else is raised; what was read compiles, and its tests run.
* Each problem has a line of the file (or none) and a text of one line, without a word of the libraries behind it.
* It takes less than 10 seconds of the processor, all findings included.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from fuzzing.time_limit import SECONDS_A_FILE, time_limit  # noqa: E402
from rules.analysis.rule_tests import run_tests  # noqa: E402
from rules.comparison.promises import judge_promises  # noqa: E402
from rules.comparison.rule_comparison import compare_rules  # noqa: E402
from rules.compiler.compiler import compile_rules  # noqa: E402
from rules.errors import Problem, RuleFileError  # noqa: E402
from rules.findings.findings import findings_of  # noqa: E402
from rules.rulefile.reading import read_rule_set  # noqa: E402

FOREIGN = ("Input should", "pydantic", "Traceback", "Error", "instance of")

TOKEN = re.compile(r'"[^"\n]*"|[\w.+-]+|\n|[^\w\s]|[ \t]+')
ODD_TOKENS = (
    *(
        '""',
        '"odd"',
        '"C4"',
        '"C9..C1"',
        '"..B3"',
        '"64.."',
        '"not up"',
        '"song = chorus"',
        '"key"',
        '"1/3"',
        '"\\u001b"',
    ),
    *(
        "true",
        "false",
        "0",
        "1",
        "-1",
        "16",
        "17",
        "127",
        "128",
        "0.5",
        "nan",
        "-inf",
        "1e400",
        "9" * 40,
        "0xFF",
        "1979-05-27",
    ),
    *("{", "}", "[", "]", "[[", "]]", "=", ",", ".", "#", "\n", '"', "'", '"""', "{}", "[]", "[{}]", "{ 1 = 2 }", "\\"),
    *("from", "to", "match", "steps", "zones", "when", "send", "expect", "port", "input", "output", "channel", "notes"),
    *(
        "rechannel",
        "filter",
        "transpose",
        "velocity",
        "map",
        "delay",
        "echo",
        "length",
        "thin",
        "latch",
        "snap",
        "chord",
    ),
    *("keep", "drop", "kind", "values"),
    *(
        "[[rules]]",
        "[[rules.zones]]",
        "[[tests]]",
        "[[on_switch]]",
        "[[promises]]",
        "[ports]",
        "[switches]",
        "name",
        "initial",
        "set",
    ),
    *("advance", "play", "[[promises]]", "never", "always", "out", "unchanged"),
)
ODD_BYTES = (b"\0", b"\xff", b"\xe9", b"\xc3", b"\r", b"\x1b", b"\x7f", b"\xef\xbb\xbf", "é♯𝄞".encode(), b"\n", b'"')

Damage = Callable[[bytes, random.Random], bytes]


def originals() -> list[bytes]:
    """Rule files that are right, each several times, and some that are wrong in one way already."""
    good = [*sorted((ROOT / "examples").glob("*.toml")), *sorted((ROOT / "tests/rules/rulefile").glob("*.toml"))]
    bad = sorted((ROOT / "tests/rules/rulefile/errors").glob("*.txt"))
    return [path.read_bytes() for path in good] * 50 + [path.read_bytes().partition(b"=====\n")[0] for path in bad]


def flip(data: bytes, chance: random.Random) -> bytes:
    """Some bytes become others."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed)


def insert(data: bytes, chance: random.Random) -> bytes:
    """Something strange stands between."""
    at = chance.randrange(len(data) + 1)
    return data[:at] + chance.choice(ODD_BYTES) + data[at:]


def cut(data: bytes, chance: random.Random) -> bytes:
    """The file ends early."""
    return data[: chance.randrange(1, len(data) + 1)]


def remove(data: bytes, chance: random.Random) -> bytes:
    """A piece is missing."""
    at = chance.randrange(len(data))
    return data[:at] + data[at + chance.choice((1, 2, 5, 30, 200)) :]


def double(data: bytes, chance: random.Random) -> bytes:
    """A piece is there twice."""
    at = chance.randrange(len(data))
    return data[:at] + data[at : at + chance.choice((1, 20, 300))] + data[at:]


def in_words(change: Callable[[list[str], random.Random], None]) -> Damage:
    """A damage of words rather than bytes."""

    def damage(data: bytes, chance: random.Random) -> bytes:
        tokens = TOKEN.findall(data.decode("utf-8", "replace"))
        if tokens:
            change(tokens, chance)
        return "".join(tokens).encode()

    return damage


def replace(tokens: list[str], chance: random.Random) -> None:
    """A word becomes another."""
    at = _some(tokens, chance)
    tokens[at] = chance.choice(ODD_TOKENS)


def borrow(tokens: list[str], chance: random.Random) -> None:
    """A word becomes one that stands elsewhere in the file."""
    at = _some(tokens, chance)
    tokens[at] = chance.choice(tokens)


def misspell(tokens: list[str], chance: random.Random) -> None:
    """Two letters of a word change places, or one is missing."""
    at = _some(tokens, chance)
    letters = list(tokens[at])
    place = chance.randrange(len(letters))
    letters[place : place + 2] = (
        reversed(letters[place : place + 2]) if chance.random() < 0.5 else letters[place + 1 : place + 2]
    )
    tokens[at] = "".join(letters)


def leave_out(tokens: list[str], chance: random.Random) -> None:
    """A word, or a whole line, is missing."""
    at = _some(tokens, chance)
    if chance.random() < 0.5:
        del tokens[at]
        return
    ends = [place for place, token in enumerate(tokens) if token == "\n" and place > at]
    del tokens[at : ends[0] if ends else None]


def renumber(tokens: list[str], chance: random.Random) -> None:
    """A number becomes another."""
    numbers = [place for place, token in enumerate(tokens) if token.isdigit()]
    if numbers:
        tokens[chance.choice(numbers)] = str(chance.choice((0, 1, -1, 5, 16, 17, 64, 127, 128, 16383, 99999, 0.25)))


def _some(tokens: Sequence[str], chance: random.Random) -> int:
    """The place of some word that isn't only space."""
    return chance.choice([place for place, token in enumerate(tokens) if not token.isspace()] or [0])


DAMAGES: tuple[Damage, ...] = (
    *(flip, insert, cut, remove, double),
    *map(in_words, (replace, replace, borrow, borrow, misspell, leave_out, renumber, renumber, renumber)),
)


def damaged(files: Sequence[bytes], chance: random.Random) -> bytes:
    """A rule file with one to three damages."""
    data = chance.choice(files)
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        if data:
            data = chance.choice(DAMAGES)(data, chance)
    return data


def judge(data: bytes) -> tuple[str, str]:
    """How it went with one file, in words, and what is wrong with that ("" if nothing)."""
    try:
        with time_limit(SECONDS_A_FILE):
            reading = read_rule_set([("rules.toml", data)])
            pipeline = compile_rules(reading.ruleset)
            outcomes = run_tests(reading, pipeline)
            findings = findings_of(reading)
            promises = judge_promises(reading, pipeline)
            differing = compare_rules((reading.ruleset, pipeline), (reading.ruleset, pipeline)).lines()
    except RuleFileError as error:
        return "refused", next((wrong for problem in error.problems if (wrong := oddity(problem, data))), "")
    except Exception as error:
        return "violation", f"{type(error).__name__}: {error}"
    said = [
        *(finding.problem for finding in findings),
        *(fault for outcome in outcomes for fault in outcome.faults),
        *(result.problem for result in promises if result.verdict != "proved"),
    ]
    if differing:
        return "violation", f"it differs from itself: {differing[0]}"
    wrong = next((wrong for problem in said if (wrong := oddity(problem, data))), "")
    return ("read, and its tests pass" if all(one.passed for one in outcomes) else "read, and a test fails"), wrong


def oddity(problem: Problem, data: bytes) -> str:
    """What is wrong with a problem as it is told; empty if nothing."""
    if not 0 <= problem.line <= data.count(b"\n") + 1:
        return f"there is no line {problem.line}: {problem}"
    if not problem.text or not str(problem).isprintable():
        return f"not one line of text: {problem!r}"
    if any(word in problem.text and word.encode() not in data for word in FOREIGN):
        return f"not in our words: {problem}"
    return ""


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="?", type=int, default=5_000, help="how many rule files (5000)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=ROOT / ".cache/fuzz-rules", help="where files with violations go")
    asked = parser.parse_args(arguments)
    chance = random.Random(asked.seed)
    files = originals()
    counts: Counter[str] = Counter()
    violations = 0
    for number in range(asked.files):
        data = damaged(files, chance)
        outcome, wrong = judge(data)
        counts[outcome] += 1
        if wrong:
            violations += 1
            asked.keep.mkdir(parents=True, exist_ok=True)
            (asked.keep / f"{number}.toml").write_bytes(data)
            print(f"file {number}: {wrong}")
    print(f"{asked.files} damaged rule files, made from {len(set(files))}, seed {asked.seed}:")
    print(*(f"  {amount:>6} {outcome}" for outcome, amount in sorted(counts.items())), sep="\n")
    if violations:
        print(f"{violations} violations; their files are in {asked.keep}")
    return 1 if violations else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
