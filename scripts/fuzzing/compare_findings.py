#!/usr/bin/env python3
"""Compares the findings of random rigs with brute force: every message by itself through the slow model.

    scripts/fuzzing/compare_findings.py [RIGS] [--seed N] [--every-byte]

All kinds of messages, all channels and all states of the switches are tried, with each data byte that a rig names, its
neighbours, 0, 1, 63, 64, 126 and 127; with --every-byte, all 128. Each rig takes seconds, or with --every-byte minutes.
Rig N of a seed is the same each time. Differences are printed with the rule file; exit code 1 if there is any.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.support.finding_difference import finding_differences
from tests.support.finding_rigs import finding_rules


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rigs", nargs="?", type=int, default=300, help="how many (300)")
    parser.add_argument("--seed", type=int, default=0, help="the number of the first one (0)")
    parser.add_argument("--every-byte", action="store_true", help="try every data byte")
    asked = parser.parse_args()
    differing = 0
    for seed in range(asked.seed, asked.seed + asked.rigs):
        differences = finding_differences(seed, every_byte=asked.every_byte)
        if differences:
            differing += 1
            print(f"rig {seed}:", *differences, finding_rules(seed), sep="\n", flush=True)
    print(f"{asked.rigs} rigs, {differing} differ")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
