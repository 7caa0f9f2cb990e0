#!/usr/bin/env python3
"""Puts damaged .mid files through the rules: each gives a result or our own error, soon, and nothing half-written.

Takes real files (examples/, and .cache/corpora if scripts/fetching/fetch-corpora filled it), damages them in ways that
happen and in ways that don't, and rewrites them by several rule files: most in this process, some by the real command
on a folder. Prints counts. A violation is printed, the file that showed it is kept in a folder that is named, and the
exit code is 1. The same --seed gives the same files.

What must hold:

* A file is rewritten, or refused with MidiFileError at a byte of the file. Nothing else is raised.
* What is written can be read again; rules that change nothing give the identical bytes; --strict never accepts damage.
* It takes less than 10 seconds of the processor and 2 GB.
* The command ends with 0 or 1, its JSON counts every file, inputs are untouched, and no parts of files are left.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from fuzzing.time_limit import SECONDS_A_FILE, time_limit  # noqa: E402
from rules.compiler.compiler import compile_rules  # noqa: E402
from rules.errors import MidiFileError  # noqa: E402
from rules.rulefile.reading import read_rules  # noqa: E402
from rules.smf.midi_file import damage, read  # noqa: E402
from rules.smf.report import Playing, Rewritten  # noqa: E402
from rules.smf.rewriting import Rewriter  # noqa: E402

MEMORY = 2 << 30

PORTS = """
[ports]
keys  = { input = "Keys" }
pads  = { input = "Pads" }
rack1 = { output = "Rack 1" }
rack2 = { output = "Rack 2" }
"""
THROUGH = """
[ports]
keys  = { input = "Keys" }
rack1 = { output = "Rack 1" }
[[rules]]
from = "keys"
to   = "rack1"
"""
RECHANNEL = f"""{THROUGH}
steps = [
  {{ rechannel = {{ 11 = 4, 12 = 4 }} }},
  {{ transpose = {{ by = -12, outside = "octave" }} }},
  {{ velocity = {{ limit = "20..110" }} }},
  {{ filter = {{ drop = {{ channel = 5 }} }} }},
]
"""
DELAY_AND_MERGE = f"""{PORTS}
[switches]
up = {{ from = "keys", controller = "soft pedal", mode = "momentary" }}
[[rules]]
name  = "delayed"
from  = ["keys", "pads"]
to    = "rack1"
steps = [{{ rechannel = 1 }}, {{ transpose = 12, when = "up" }}, {{ delay = {{ beats = 0.5 }} }}, {{ thin = 20 }}]
[[rules]]
name  = "echoes"
from  = "pads"
to    = "rack2"
steps = [{{ rechannel = 10 }}, {{ echo = {{ ms = 30, times = 3, decay = 20 }} }}]
"""


def rewriters() -> dict[str, Rewriter]:
    """The rules by which files are rewritten, each with a word for the counts."""
    made = {}
    for name, text, tracks, per_port in (
        ("through", THROUGH, {}, False),
        ("through-strict", THROUGH, {}, False),
        ("rechannel", RECHANNEL, {}, False),
        ("merge", DELAY_AND_MERGE, {"#2": "pads", "#3": "pads"}, True),
    ):
        ruleset = read_rules([(f"{name}.toml", text.encode())])
        playing = Playing("keys", tracks)
        pipeline = compile_rules(ruleset)
        made[name] = Rewriter(ruleset, pipeline, playing, per_port=per_port, strict=name.endswith("strict"))
    return made


def real_files() -> list[bytes]:
    folders = [ROOT / "examples", ROOT / ".cache/corpora"]
    return [path.read_bytes() for folder in folders for path in sorted(folder.rglob("*.mid"))]


ODD_BYTES = bytes.fromhex("00 01 7F 80 81 90 B0 C0 F0 F7 F8 FE FF 2F 51")


def flip(data: bytearray, chance: random.Random) -> None:
    """Some bytes become others."""
    for _ in range(chance.randint(1, 8)):
        data[chance.randrange(len(data))] = chance.choice((chance.choice(ODD_BYTES), chance.randrange(256)))


def nudge(data: bytearray, chance: random.Random) -> None:
    """Some data bytes or short delta times are others, which leaves the file readable."""
    for _ in range(chance.randint(1, 30)):
        at = chance.randrange(len(data))
        if data[at] < 0x80:
            data[at] = chance.randrange(0x80)


def cut(data: bytearray, chance: random.Random) -> None:
    """The file ends early."""
    del data[chance.randrange(1, len(data) + 1) :]


def remove(data: bytearray, chance: random.Random) -> None:
    """A piece is missing."""
    at = chance.randrange(len(data))
    del data[at : at + chance.choice((1, 2, 3, 8, 200))]


def double(data: bytearray, chance: random.Random) -> None:
    """A piece is there twice."""
    at = chance.randrange(len(data))
    data[at:at] = data[at : at + chance.choice((1, 4, 50, 1000))]


def insert(data: bytearray, chance: random.Random) -> None:
    """Something strange stands between."""
    at = chance.randrange(len(data) + 1)
    data[at:at] = chance.choice((b"\xff\xff\xff\xff\x7f", b"\xf0", b"\xf7\x00", b"MTrk", b"\xff\x2f\x00", b"\0" * 9))


def lie_about_length(data: bytearray, chance: random.Random) -> None:
    """A chunk claims a length that it doesn't have."""
    places = [at for name in (b"MTrk", b"MThd") for at in find_all(bytes(data), name)]
    if not places:
        return
    at = chance.choice(places) + 4
    true = int.from_bytes(data[at : at + 4], "big")
    wrong = chance.choice((0, 1, true + 1, true - 1, true + 8, true - 4, 2**31, 2**32 - 1, chance.randrange(2**16)))
    data[at : at + 4] = (wrong % 2**32).to_bytes(4, "big")


def lie_in_header(data: bytearray, chance: random.Random) -> None:
    """Format, number of tracks or division are others."""
    at = chance.choice((8, 10, 12))
    data[at : at + 2] = chance.choice((0, 1, 2, 3, 0x7FFF, 0x8000, 0xE728, 0xFFFF)).to_bytes(2, "big")


def find_all(data: bytes, word: bytes) -> Iterator[int]:
    at = data.find(word)
    while at >= 0:
        yield at
        at = data.find(word, at + 1)


DAMAGES: tuple[Callable[[bytearray, random.Random], None], ...] = (
    *(nudge, nudge, nudge, flip, cut, remove, double, insert, lie_about_length, lie_in_header),
)


def damaged(originals: list[bytes], chance: random.Random) -> bytes:
    """A real file, small ones more often, with one to three damages."""
    weights = [1 / (2000 + len(original)) for original in originals]
    data = bytearray(chance.choices(originals, weights)[0])
    for _ in range(chance.randint(1, 3)):
        if data:
            chance.choice(DAMAGES)(data, chance)
    return bytes(data)


class Rewrites(Protocol):
    """What is judged: a rewriter, or what a test puts in its place."""

    def rewrite(self, data: bytes) -> Rewritten:
        """Return what becomes of a file's bytes. Raises MidiFileError where they can't be read."""


def judge(name: str, rewriter: Rewrites, data: bytes) -> tuple[str, str]:
    """How it went with one file, in a word, and what is wrong with that ("" if nothing)."""
    try:
        with time_limit(SECONDS_A_FILE):
            result = rewriter.rewrite(data)
    except MidiFileError as error:
        inside = 0 <= error.offset <= len(data)
        return "refused", "" if inside else f"byte {error.offset} is no byte of {len(data)}: {error.text}"
    except Exception as error:
        return "violation", f"{type(error).__name__}: {error}"
    try:
        for output in result.outputs.values():
            damage(read(output))
    except MidiFileError as error:
        return "violation", f"what was written can't be read: {error}"
    if name.startswith("through") and result.outputs != {"": data}:
        return "violation", "rules that change nothing changed the bytes"
    if name.endswith("strict") and result.report.damage:
        return "violation", f"strict, and yet accepted: {result.report.damage[0]}"
    return ("read around damage" if result.report.damage else "rewritten"), ""


def fuzz_here(files: int, originals: list[bytes], chance: random.Random, kept: Path) -> tuple[Counter[str], int]:
    """Rewrite files in this process; return the counts and the number of violations, whose files go to `kept`."""
    counts: Counter[str] = Counter()
    violations = 0
    by_rules = list(rewriters().items())
    for number in range(files):
        data = damaged(originals, chance)
        name, rewriter = by_rules[number % len(by_rules)]
        outcome, wrong = judge(name, rewriter, data)
        counts[outcome] += 1
        if wrong:
            violations += 1
            kept.mkdir(parents=True, exist_ok=True)
            (kept / f"{number}-{name}.mid").write_bytes(data)
            print(f"file {number} by {name}: {wrong}")
    return counts, violations


def fuzz_command(files: int, originals: list[bytes], chance: random.Random, folder: Path) -> list[str]:
    """Rewrite a folder of files by the real command, into another and in place; return what is wrong."""
    takes, out, rules = folder / "takes", folder / "out", folder / "rules.toml"
    takes.mkdir()
    rules.write_text(RECHANNEL, encoding="utf-8")
    contents = {f"{number}.mid": damaged(originals, chance) for number in range(files)}
    for name, data in contents.items():
        (takes / name).write_bytes(data)
    wrong = run_command(rules, takes, files, "-o", str(out))
    if {path.name: path.read_bytes() for path in takes.iterdir()} != contents:
        wrong.append("an input was touched")
    wrong += run_command(rules, takes, files, "--in-place")
    for name, data in contents.items():
        new, backup = takes / name, takes / f"{name}.bak"
        changed = new.read_bytes() != data
        if changed != backup.exists() or (changed and backup.read_bytes() != data):
            wrong.append(f"{name}: the backup is not what it should be")
        if (out / name).exists() and (out / name).read_bytes() != new.read_bytes():
            wrong.append(f"{name}: in place it came out otherwise than in a folder")
    return wrong + [f"left behind: {path.name}" for path in folder.rglob("*.part")]


def run_command(rules: Path, takes: Path, files: int, *where: str) -> list[str]:
    command = [sys.executable, "-m", "router", "rewrite", str(rules), str(takes), *where, "--json"]
    try:
        limit = SECONDS_A_FILE * files
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=limit, check=False)
    except subprocess.TimeoutExpired:
        return [f"the command took longer than {limit} s"]
    if done.returncode not in (0, 1) or done.stderr:
        return [f"the command ended with {done.returncode}: {done.stderr}"]
    answer = json.loads(done.stdout)
    wrong = [one["reason"] for one in answer["files"] if "fault in Pointsman" in (one["reason"] or "")]
    if len(answer["files"]) != files:
        wrong.append(f"{len(answer['files'])} of {files} files are in the summary")
    for target in (target for one in answer["files"] for target in one["targets"]):
        try:
            read(Path(target).read_bytes())
        except (OSError, MidiFileError) as error:
            wrong.append(f"{target}: {error}")
    return wrong


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "files", nargs="?", type=int, default=20_000, help="how many to rewrite in this process (20000)"
    )
    parser.add_argument("--command-files", type=int, default=300, help="how many by the real command (300)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=ROOT / ".cache/fuzz-midi", help="where files with violations go")
    asked = parser.parse_args(arguments)
    chance = random.Random(asked.seed)
    originals = real_files()
    limit = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, limit[1]))
    try:
        counts, violations = fuzz_here(asked.files, originals, chance, asked.keep)
        with tempfile.TemporaryDirectory() as folder:
            wrong = fuzz_command(asked.command_files, originals, chance, Path(folder))
    finally:
        resource.setrlimit(resource.RLIMIT_AS, limit)
    print(f"{asked.files} damaged files, made from {len(originals)} real ones, seed {asked.seed}:")
    print(*(f"  {amount:>6} {outcome}" for outcome, amount in sorted(counts.items())), sep="\n")
    print(
        f"{asked.command_files} by the command, into a folder and in place: {len(wrong)} violations", *wrong, sep="\n  "
    )
    if violations:
        print(f"{violations} violations; their files are in {asked.keep}")
    return 1 if violations or wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
