"""How long a whole `pointsman check` takes on large rigs, beside the same without its analysis.

The rig has 16 ports, half of them inputs, 32 devices on DIN connections, and 8 switches with 2 to 8 states. Its rules
ask for channels and switches, split, transpose, echo and send. It is the same in each run.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter

from benchmarks.figures import Figure
from benchmarks.start import COMMAND, ROOT, processor_seconds, with_bytecode

ASKED = {64: 1.0, 200: 3.0}
"""Seconds that a check may take on a quiet machine, by the number of rules."""

PORTS = 16
SWITCHES = 8
DEVICES = 32

WITHOUT = """
import sys
from rules.analysis.rule_tests import run_tests
from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rule_set
name = sys.argv[1]
reading = read_rule_set([(name, open(name, "rb").read())])
run_tests(reading, compile_rules(reading.ruleset))
"""


def measure(quick: bool) -> list[Figure]:
    """Both sizes."""
    return [_figure(rules, at_most, 5 if quick else 11) for rules, at_most in ASKED.items()]


def _figure(rules: int, at_most: float, rounds: int) -> Figure:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rig.toml"
        path.write_text(rig(rules), encoding="utf-8")
        commands = {
            "without analysis": [sys.executable, "-c", WITHOUT, str(path)],
            "whole": [*COMMAND, "check", str(path)],
        }
        seconds: dict[str, list[float]] = {name: [] for name in commands}
        busy: dict[str, list[float]] = {name: [] for name in commands}
        for turn in range(rounds + 1):
            for name, command in commands.items():
                before, begin = processor_seconds(), perf_counter()
                done = subprocess.run(
                    command,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.PIPE,
                    cwd=ROOT,
                    env=with_bytecode(),
                    check=False,
                )
                if done.returncode not in (0, 1):  # 1: mistakes were found, as in any rig made by chance
                    raise SystemExit(done.stderr.decode())
                if turn:  # the first one compiles
                    seconds[name].append(perf_counter() - begin)
                    busy[name].append(processor_seconds() - before)
    told = {name: f"{median(seconds[name]):.2f} s, processor {median(busy[name]):.2f} s" for name in commands}
    return Figure(
        f"a whole check, {PORTS} ports, {rules} rules, {SWITCHES} switches of 2-8 states",
        seconds["whole"],
        "s",
        at_most=at_most,
        baseline=f"without analysis {told['without analysis']}",
        ours=f"{told['whole']}; load {os.getloadavg()[0]:.1f}",
    )


def rig(rules: int) -> str:
    """Return a rule file with so many rules; the same each time."""
    chance = random.Random(rules)
    half = PORTS // 2
    lines = ["[ports]"]
    lines += [f"in{number} = {{ input = true }}" for number in range(half)]
    lines += [f'out{number} = {{ output = true, connection = "din" }}' for number in range(half)]
    lines.append("[devices]")
    lines += [
        f'device{number} = {{ port = "out{number % half}", channel = {number // half + 1}, notes = "C1..C7" }}'
        for number in range(DEVICES)
    ]
    lines.append("[switches]")
    for number in range(SWITCHES):
        values = ", ".join(f'"v{value}"' for value in range(2 + number % 7))
        trigger = f'{{ from = "in{number % half}", controller = {80 + number}, by = 1 }}'
        lines.append(f"s{number} = {{ values = [{values}], advance = {trigger} }}")
    for number in range(rules):
        lines += _rule(number, chance)
    return "\n".join(lines) + "\n"


def _rule(number: int, chance: random.Random) -> list[str]:
    lines = ["[[rules]]", f'name = "rule {number}"', f'from = "in{number % (PORTS // 2)}"']
    lines.append(f"match = {{ channel = {chance.randint(1, 4)} }}")
    switch = number % SWITCHES
    if number % 3 == 0:
        lines.append(f'when = "s{switch} = v{chance.randrange(2 + switch % 7)}"')
    steps = [f"{{ transpose = {chance.choice((12, -12, 3))} }}", '{ velocity = { limit = "20..110" } }']
    steps += ["{ echo = { ms = 100, times = 2 } }"] if number % 10 == 9 else []
    steps += ['{ send = { messages = "program 17", pass_on = true } }'] if number % 10 == 4 else []
    lines.append(f"steps = [{', '.join(steps)}]")
    targets = [f'to = "device{chance.randrange(DEVICES)}"' for _ in range(2)]
    if number % 4 != 1:
        return [*lines, targets[0]]
    zones = [["[[rules.zones]]", 'notes = "..B3"', targets[0]], ["[[rules.zones]]", 'notes = "C4.."', targets[1]]]
    return [*lines, *zones[0], *zones[1]]
