#!/usr/bin/env python3
"""Plays random rules and performances on the engine and on the slow model, and counts where they differ.

    scripts/fuzzing/compare_with_model.py [RUNS] [--sessions] [--seed N] [--show N]

With --sessions they are live sessions: tempos that are set, tapped and brought by clocks, our clock that follows them,
songs, steps that take time or hold notes, reloads, pulled cables; in the end nothing may sound.

Each difference shown comes with its rule files and its performance up to there. Exit code 1 if there is any.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from tests.support.comparing import difference, live_difference
from tests.support.performance_strategies import performances
from tests.support.rule_strategies import rule_files, toml_of
from tests.support.session_strategies import sessions

BATCH = 40


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("runs", nargs="?", type=int, default=2000, help="how many (2000)")
    parser.add_argument("--sessions", action="store_true", help="live sessions, with clocks and tempos (no)")
    parser.add_argument("--seed", type=int, default=1, help="which ones (1)")
    parser.add_argument("--show", type=int, default=1, help="how many differences to show whole (1)")
    arguments = parser.parse_args()
    ran, differing = compare(arguments.runs, arguments.seed, arguments.show, arguments.sessions)
    print(f"{ran} runs, {differing} differ")
    return 1 if differing else 0


def compare(runs: int, start: int, show: int, live: bool) -> tuple[int, int]:
    """Runs in batches, since what follows in one batch resembles what came before."""
    ran = differing = 0
    for number in range(0, runs, BATCH):
        batch = compare_batch(min(BATCH, runs - number), start * 1_000_000 + number, show - differing, live)
        ran, differing = ran + batch[0], differing + batch[1]
    return ran, differing


def compare_batch(runs: int, start: int, show: int, live: bool) -> tuple[int, int]:
    ran = differing = 0

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
        nonlocal ran, differing
        files = data.draw(rule_files(takes_time=live))
        texts = [toml_of(file) for file in files]
        told = (
            live_difference(texts, data.draw(sessions(files)))
            if live
            else difference(texts, data.draw(performances(files)))
        )
        ran += 1
        if told:
            differing += 1
            if differing <= show:
                print(told, flush=True)

    play()
    return ran, differing


if __name__ == "__main__":
    sys.exit(main())
