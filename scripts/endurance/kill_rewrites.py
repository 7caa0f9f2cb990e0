#!/usr/bin/env python3
"""Kills `pointsman rewrite` with SIGKILL at random moments, and looks at what it leaves.

Runs on a folder of real recordings with two workers: half of the kills in place, half into another folder with
`--resume`. Each comes a moment after some number of files is done, up to three in one folder. The rules move each note
by a step, so that a file to which they were applied twice shows. Prints counts; a violation is printed, and the exit
code is 1. The same --seed gives the same numbers and moments.

What must hold:

* After a kill, each recording and each result is whole: the old one, the new one, or (a result) not there.
* In place, a new one has its old one as a backup, once.
* The workers end by themselves, and no command writes a traceback.
* The next run with `--resume` makes all the rest, and leaves no parts of files.
* In place, `--undo` restores every recording, run by run.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from endurance.processes import left_after, within  # noqa: E402
from rules.compiler.compiler import compile_rules  # noqa: E402
from rules.errors import MidiFileError  # noqa: E402
from rules.rulefile.reading import read_rules  # noqa: E402
from rules.smf.report import Playing  # noqa: E402
from rules.smf.rewriting import Rewriter  # noqa: E402

RULES = """
[ports]
keys = { input = "Keys" }
rack = { output = "Rack" }
[[rules]]
from = "keys"
to = "rack"
steps = [{ transpose = { by = 1, outside = "octave" } }]
"""
LARGEST = 60_000
PATIENCE_S = 20.0  # on a busy machine


def recordings(number: int, chance: random.Random) -> dict[str, bytes]:
    """Some real files that the rules change, by new names."""
    folders = [ROOT / "examples", ROOT / ".cache/corpora"]
    paths = [path for folder in folders for path in sorted(folder.rglob("*.mid")) if path.stat().st_size < LARGEST]
    files = {path: path.read_bytes() for path in paths}
    usable = [data for data in files.values() if data[:4] == b"MThd" and made_of(data) not in (None, data)]
    return {f"{at}.mid": chance.choice(usable) for at in range(number)}


def made_of(data: bytes) -> bytes | None:
    """What the rules make of a recording; None where they refuse it."""
    ruleset = read_rules([("rules.toml", RULES.encode())])
    rewriter = Rewriter(ruleset, compile_rules(ruleset), Playing("keys", {}))
    try:
        result = rewriter.rewrite(data)
    except MidiFileError:
        return None
    return None if result.report.damage else result.outputs[""]


class Round:
    """A folder of recordings, runs on it that are killed, and one that is not."""

    def __init__(self, folder: Path, old: dict[str, bytes], new: dict[str, bytes], in_place: bool) -> None:
        self.old, self.new = old, new
        self.takes, self.out = folder / "takes", folder / "out"
        self.rules = folder / "rules.toml"
        self.log = folder / "log"
        self.in_place = in_place
        self.wrong: list[str] = []
        self.takes.mkdir()
        self.rules.write_text(RULES, encoding="utf-8")
        for name, data in old.items():
            (self.takes / name).write_bytes(data)

    def start(self, *options: str) -> subprocess.Popen[bytes]:
        """Start the command, as leader of a session of its own."""
        where = ["--in-place"] if self.in_place else ["-o", str(self.out)]
        return self._command(str(self.rules), str(self.takes), *where, "--jobs", "2", *options)

    def _command(self, *arguments: str) -> subprocess.Popen[bytes]:
        with self.log.open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-m", "router", "rewrite", *arguments],
                cwd=ROOT,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=log,
                start_new_session=True,
            )

    def kill(self, after: int, pause: float, *options: str) -> str:
        """Start a run, and kill it so many seconds after that many files are new; how far it was."""
        process = self.start(*options)
        within(60 + PATIENCE_S, lambda: self._amount() >= after or process.poll() is not None)
        time.sleep(pause)
        ended = process.poll() is not None
        process.kill()
        process.wait()
        if left := left_after(process.pid, PATIENCE_S):
            self.wrong.append(f"{len(left)} processes live on")
        done = self.look()
        return "ended before" if ended else "killed before the first" if not done else "killed among the files"

    def _amount(self) -> int:
        """How many new files there seem to be."""
        return sum(1 for _ in (self.takes.glob("*.bak") if self.in_place else self.out.glob("*.mid")))

    def look(self) -> int:
        """Find what isn't whole; how many are new."""
        return sum(self._is_new(name) for name in self.old)

    def _is_new(self, name: str) -> bool:
        path = (self.takes if self.in_place else self.out) / name
        data = path.read_bytes() if path.exists() else None
        if data == self.new[name]:
            backup = self.takes / f"{name}.bak"
            if self.in_place and (not backup.exists() or backup.read_bytes() != self.old[name]):
                self.wrong.append(f"{name}: the backup is not the old one")
            return True
        if data != (self.old[name] if self.in_place else None):
            self.wrong.append(f"{name}: neither old nor new")
        return False

    def finish(self, process: subprocess.Popen[bytes]) -> None:
        """Let a run do what is left."""
        code = process.wait(60 + PATIENCE_S)
        if code:
            self.wrong.append(f"the last run ended with {code}: {self.log.read_text()[-500:]}")
        if (done := self.look()) != len(self.old):
            self.wrong.append(f"the last run made {done} of {len(self.old)}")
        self.wrong += [f"left behind: {path.name}" for path in self.takes.parent.rglob("*.part")]
        self.wrong += [f"a second backup: {path.name}" for path in self.takes.glob("*.bak2")]

    def undo(self, runs: int) -> None:
        """Undo what was done in place, run by run."""
        for _ in range(runs):
            self._command("--undo", str(self.takes)).wait(60 + PATIENCE_S)
        for name, data in self.old.items():
            if (self.takes / name).read_bytes() != data:
                self.wrong.append(f"{name}: not restored")

    def close(self) -> list[str]:
        """What was wrong."""
        if b"Traceback" in self.log.read_bytes():
            self.wrong.append(f"a traceback: {self.log.read_text()[-1500:]}")
        return self.wrong


def play(kills: int, in_place: bool, files: dict[str, bytes], chance: random.Random) -> tuple[Counter[str], list[str]]:
    """Kill that many runs, up to three on a folder; the counts, and what was wrong."""
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    new = {name: made_of(data) or b"" for name, data in files.items()}
    while kills:
        times = min(kills, chance.randint(1, 3))
        kills -= times
        with a_round(files, new, in_place, wrong) as at:
            for number in range(times):
                options = () if number == 0 and in_place else ("--resume",)
                counts[at.kill(chance.randrange(len(files)), chance.uniform(0, 0.03), *options)] += 1
            at.finish(at.start("--resume"))
            if in_place:
                at.undo(times + 1)
    return counts, wrong


@contextlib.contextmanager
def a_round(files: dict[str, bytes], new: dict[str, bytes], in_place: bool, wrong: list[str]) -> Iterator[Round]:
    """A round in a folder of its own; what was wrong with it is added."""
    with tempfile.TemporaryDirectory() as folder:
        at = Round(Path(folder), files, new, in_place)
        yield at
        wrong += at.close()


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("kills", nargs="?", type=int, default=100, help="how many in place, and as many more (100)")
    parser.add_argument("--files", type=int, default=60, help="how many recordings are in a folder (60)")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    chance = random.Random(asked.seed)
    files = recordings(asked.files, chance)
    violations = 0
    for in_place in (True, False):
        counts, wrong = play(asked.kills, in_place, files, chance)
        violations += len(wrong)
        print(f"{asked.kills} kills {'in place' if in_place else 'with --resume'}, seed {asked.seed}:")
        print(*(f"  {amount:>6} {outcome}" for outcome, amount in sorted(counts.items())), sep="\n")
        print(f"  {len(wrong):>6} violations", *wrong, sep="\n    ", flush=True)
    return 1 if violations else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
