#!/usr/bin/env python3
"""Makes takes of damaged journals: each gives a take or names its first damaged byte, soon, and in little memory.

Takes the journal of a simulated performance (notes, pedals, clock, sysex, new rules), damages it in ways that happen
and in ways that don't. Prints counts. A violation is printed, the journal that showed it is kept in a folder that is
named, and the exit code is 1. The same --seed gives the same journals.

What must hold:

* A journal is read, or its damage is found at a byte of it, never before the record that was damaged first.
* What isn't read and isn't told is the beginning of one record at most, or zeros.
* What lies before the damage makes a take, in less than 10 seconds of the processor and 1 GB; nothing is raised.
* The .mid file can be read again without damage.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from fuzzing.fuzz_midi import cut, double, flip, insert, remove  # noqa: E402
from fuzzing.time_limit import SECONDS_A_FILE, time_limit  # noqa: E402
from rules.journal.export import make_take  # noqa: E402
from rules.journal.format import HEAD, RECORDED, pack, unpack_with_ends  # noqa: E402
from rules.journal.integrity import intact_part  # noqa: E402
from rules.smf.midi_file import damage, read  # noqa: E402
from tests.support.journalled_session import SECOND, Performance  # noqa: E402

MEMORY = 1 << 30
LONGEST_RECORD = 4096  # bytes of the longest record of the performance


def performance() -> bytes:
    """The journal of a minute: a clock at 90 BPM, notes, a pedal, sysex, a lost input, new rules."""
    played = Performance()
    chance = random.Random(1)
    for number in range(2160):
        played.now += 27_777_778
        played.arrive(1, b"\xf8")
        key = chance.randrange(36, 97)
        if number % 12 == 0:
            played.arrive(0, bytes((0x90, key, 90)))
        if number % 12 == 5:
            played.arrive(0, bytes((0x80, key, 64)))
        if number % 200 == 0:
            played.arrive(0, bytes((0xB0, 64, 127 * (number // 200 % 2))))
            played.arrive(1, b"\xf0\x43" + bytes(range(60)) * (number // 200) + b"\xf7")
        if number == 900:
            played.lose(0)
        if number == 1500:
            played.replace(SECOND)
        played.advance()
    played.note(RECORDED)
    return b"".join(map(pack, played.log))


def change_time(data: bytearray, chance: random.Random) -> None:
    """The time of a record is another."""
    at = chance.choice([0, *(end for _, end in unpack_with_ends(bytes(data)))]) + 4
    wrong = chance.choice((0, 1 << 62, (1 << 64) - 1, chance.randrange(1 << chance.randint(1, 64))))
    if at + 8 <= len(data):
        data[at : at + 8] = wrong.to_bytes(8, "little")


def fill_with_zeros(data: bytearray, chance: random.Random) -> None:
    """A power cut: from some place on there are zeros."""
    data[chance.randrange(len(data)) :] = bytes(chance.choice((1, 30, 4096)))


DAMAGES = (change_time, change_time, flip, flip, flip, cut, remove, double, insert, fill_with_zeros)


def damaged(original: bytes, chance: random.Random) -> bytes:
    """The beginning of a journal, as a killed process leaves it, with up to three damages."""
    data = bytearray(original[: chance.randrange(1, len(original))])
    for _ in range(chance.randint(0, 3)):
        if data:
            chance.choice(DAMAGES)(data, chance)
    return bytes(data)


def judge(original: bytes, data: bytes) -> tuple[str, str]:
    """How it went with the records of one journal, in a word, and what is wrong with that ("" if nothing)."""
    try:
        with time_limit(SECONDS_A_FILE):
            end, text = intact_part(data)
            take = make_take(data[:end])
        if damage(read(take.data)):
            return "violation", "the take is damaged"
    except Exception as error:
        return "violation", f"{type(error).__name__}: {error}"
    same = next((at for at, (one, other) in enumerate(zip(data, original, strict=False)) if one != other), len(data))
    if any(end < whole <= same for _, whole in unpack_with_ends(original)):
        return "violation", f"intact up to byte {end}, and yet the first that is damaged is {same}: {text}"
    if text and same == len(data):
        return "violation", f"torn, and yet damaged at byte {end}: {text}"
    if not text and len(data[end:].rstrip(b"\0")) > LONGEST_RECORD:
        return "violation", f"torn at byte {end}, and yet {len(data) - end} bytes follow"
    return ("damage found" if text else "read"), ""


def fuzz(journals: int, chance: random.Random, kept: Path) -> tuple[Counter[str], int]:
    """Make takes of damaged journals; return the counts and the number of violations, whose journals go to `kept`."""
    counts: Counter[str] = Counter()
    violations = 0
    original = performance()
    for number in range(journals):
        data = damaged(original, chance)
        outcome, wrong = judge(original, data)
        counts[outcome] += 1
        if wrong:
            violations += 1
            kept.mkdir(parents=True, exist_ok=True)
            (kept / f"{number}.mid.journal").write_bytes(HEAD + data)
            print(f"journal {number}: {wrong}")
    return counts, violations


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("journals", nargs="?", type=int, default=5000, help="how many (5000)")
    parser.add_argument("--seed", type=int, default=1, help="which ones (1)")
    parser.add_argument("--keep", type=Path, default=ROOT / ".cache/fuzz-journals", help="where violations go")
    asked = parser.parse_args(arguments)
    limit = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, limit[1]))
    try:
        counts, violations = fuzz(asked.journals, random.Random(asked.seed), asked.keep)
    finally:
        resource.setrlimit(resource.RLIMIT_AS, limit)
    print(f"{asked.journals} damaged journals, seed {asked.seed}:")
    print(*(f"  {amount:>6} {outcome}" for outcome, amount in sorted(counts.items())), sep="\n")
    if violations:
        print(f"{violations} violations; their journals are in {asked.keep}")
    return 1 if violations else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
