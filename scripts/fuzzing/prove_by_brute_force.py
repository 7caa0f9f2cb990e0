#!/usr/bin/env python3
"""Holds what is proved of rules against the slow model, message by message.

    scripts/fuzzing/prove_by_brute_force.py [RUNS] [--seed N] [--cases N] [--whole RULES]

Each run draws a rule file with promises and another one as a reload brings it, and looks at messages of all kinds on
all channels from all sources, in all states of the switches: for each data byte at every value that the files name, at
its neighbours, and at 0, 1, 63, 64, 126, 127. Of these it looks at 3,000 by chance, with --cases 0 at all, which takes
minutes a run. Three things have to be equal: what becomes of each message, whether it breaks a promise, and what the
other file changes. Of a promise no message may prove the verdict wrong, and its example must show what it says. Exit
code 1 if anything differs.

--whole looks at all 1,314,816 short channel messages of one rig instead: from its first source, in the states that its
switches have at first.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from random import Random
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from rules.behaviour.behaviour import Behaviour
from rules.comparison.comparison import compare
from rules.comparison.promises import Example, PromiseJudge
from rules.compiler.compiler import compile_rules
from rules.midi.messages import CONTROLLER
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet
from tests.support.brute_comparison import BruteComparison
from tests.support.brute_force import OFTEN, BruteForce, Switches
from tests.support.brute_messages import (
    BytesOfKinds,
    all_of,
    bytes_of_kinds,
    initial_switches,
    message_of_kinds,
    messages_of,
    messages_of_kinds,
    shared_states,
)
from tests.support.brute_promises import BrutePromises
from tests.support.compared_messages import changes
from tests.support.promise_strategies import promises
from tests.support.rule_strategies import rule_files, toml_of
from tests.support.way_outcomes import outcomes

BATCH = 10
Case = tuple[str, bytes, Switches]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("runs", nargs="?", type=int, default=300, help="how many (300)")
    parser.add_argument("--seed", type=int, default=1, help="which ones (1)")
    parser.add_argument("--cases", type=int, default=3000, help="messages in states of each run; 0: all (3000)")
    parser.add_argument("--whole", metavar="RULES", help="a rule file of which all messages are looked at")
    arguments = parser.parse_args()
    counts = Counts()
    if arguments.whole:
        whole_rig(Path(arguments.whole), counts)
    else:
        for number in range(0, arguments.runs, BATCH):
            runs = min(BATCH, arguments.runs - number)
            batch(runs, arguments.seed * 1_000_000 + number, arguments.cases, counts)
            print(counts, flush=True)
    print(counts)
    return 1 if counts.differing else 0


class Counts:
    """What has been looked at, and how often anything differed."""

    def __init__(self) -> None:
        self.runs = self.cases = self.promises = self.compared = self.changed = self.differing = 0

    def __str__(self) -> str:
        return (
            f"{self.runs} runs, {self.cases:,} messages in states, {self.promises:,} promises, "
            f"{self.compared:,} messages compared, of which {self.changed:,} change; {self.differing} differ"
        )

    def differ(self, what: str, *texts: str) -> None:
        """Count a difference, and show the first few."""
        self.differing += 1
        if self.differing <= 3:
            print(f"--- {what}", *texts, sep="\n", flush=True)


def batch(runs: int, start: int, most: int, counts: Counts) -> None:
    """Runs in batches, since what follows in one batch resembles what came before."""

    @seed(start)
    @settings(
        max_examples=runs,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def play(data: st.DataObject) -> None:
        files: list[Any] = data.draw(rule_files())
        files[0]["promises"] = [data.draw(promises(files[0], number)) for number in range(1, 7)]
        one_run(files[0], files[-1], most, counts)

    play()


def one_run(file: Any, other: Any, most: int, counts: Counts) -> None:
    """Look at one rule file, its promises, and what another one changes."""
    texts = toml_of(file), toml_of(other)
    ruleset, changed = (read_rules([("rules.toml", text.encode())]) for text in texts)
    kinds = bytes_of_kinds(file, other)
    counts.runs += 1
    seen = BrutePromises(ruleset)
    if not followed(ruleset, cases(ruleset, ruleset, kinds, most), seen, counts):
        print(texts[0])
        return
    judged(ruleset, seen, counts, texts[0])
    if texts[0] != texts[1]:
        compared(ruleset, changed, cases(ruleset, changed, kinds, most), counts, texts)


def cases(old: RuleSet, new: RuleSet, kinds: BytesOfKinds, most: int) -> Iterator[Case]:
    """Messages from all sources in all states that both rule sets have; so many by chance, or all of them."""
    sources = [name for name, port in {**old.ports, **new.ports}.items() if port.can_receive]
    states = shared_states(old, new)
    if most:
        chance = Random(1)
        for _ in range(most):
            switches = {name: chance.choice(known) for name, known in states.items()}
            yield chance.choice(sources), message_of_kinds(kinds, chance), switches
        return
    for switches in all_of(states):
        for source in sources:
            yield from ((source, message, switches) for message in messages_of_kinds(kinds))


def followed(ruleset: RuleSet, some: Iterable[Case], seen: BrutePromises, counts: Counts) -> bool:
    """Follow messages both ways, and note which promises they break; return whether all is equal."""
    brute, behaviour = BruteForce(ruleset, OFTEN), Behaviour(compile_rules(ruleset))
    for source, message, switches in some:
        found = brute.outcomes(source, message, switches)
        seen.look_at((source, message, switches), found)
        counts.cases += 1
        by_ways = outcomes(behaviour, source, message, switches, OFTEN)
        if by_ways != found:
            counts.differ("a message", f"{message.hex(' ')} from {source}, {switches}:", f"{found}", f"{by_ways}")
            return False
    return True


_SEVERITY = ("proved", "not decidable", "refuted")


def judged(ruleset: RuleSet, seen: BrutePromises, counts: Counts, text: str) -> None:
    """The verdicts on promises: the messages seen leave none of them impossible, and examples show what they should."""
    judge, brute = PromiseJudge(ruleset, Behaviour(compile_rules(ruleset))), BruteForce(ruleset, OFTEN)
    first = initial_switches(ruleset)
    for promise, at_least in zip(ruleset.promises, seen.verdicts(), strict=True):
        verdict, example = judge.verdict(promise)
        counts.promises += 1
        if _SEVERITY.index(verdict) < _SEVERITY.index(at_least):
            counts.differ("a promise", text, f"{promise.name} is {verdict}, but messages say {at_least}")
        if example is not None:
            found = brute.outcomes(example.source, example.message, {**first, **example.switches})
            breaking = {seen.breaks(promise, example.message, outcome) for outcome in found}
            # Of a fine half the coarse halves that make the difference may be others than those that are tried.
            shown = breaking == {True} if verdict == "refuted" else breaking == {True, False} or _is_fine_half(example)
            if not shown:
                fault = f"{promise.name} is {verdict} by {example}, which breaks it: {breaking}"
                counts.differ("an example", text, fault)


def _is_fine_half(example: Example) -> bool:
    return example.message[0] & 0xF0 == CONTROLLER and 32 <= example.message[1] < 64


def compared(old: RuleSet, new: RuleSet, some: Iterable[Case], counts: Counts, texts: tuple[str, str]) -> None:
    """What the other rules change, message by message."""
    comparison = compare(compile_rules(old), compile_rules(new))
    brute = BruteComparison(old, new, OFTEN)
    for source, message, switches in some:
        wanted = brute.changes(source, message, switches)
        counts.compared += 1
        counts.changed += bool(wanted)
        found = changes(comparison, source, message, switches, OFTEN)
        if found != wanted:
            counts.differ("a change", *texts, f"{message.hex(' ')} from {source}, {switches}:\n{wanted}\n{found}")
            return


def whole_rig(path: Path, counts: Counts) -> None:
    """Look at all short channel messages of one rig."""
    ruleset = read_rules([(path.name, path.read_bytes())])
    source = next(name for name, port in ruleset.ports.items() if port.can_receive)
    first = initial_switches(ruleset)
    counts.runs += 1
    some = ((source, message, first) for message in messages_of(range(128)) if message[0] < 0xF0)
    followed(ruleset, some, BrutePromises(ruleset), counts)


if __name__ == "__main__":
    sys.exit(main())
