"""Rewrites a folder of recordings by a rule file, several at a time: a start for a program of your own.

    python rewrite_folder.py repair-takes.toml takes/ repaired/

The results go into a new folder, under the same names. The recordings are only read. A recording that can't be
rewritten is named with the reason, and the others go on. The exit code is then 1.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from functools import partial
from itertools import islice
from multiprocessing import get_context
from pathlib import Path

import rules

AT_A_TIME = 4096
"""So many recordings wait for a worker at most: a list of all results would fill the memory for a large folder."""


def main() -> int:
    """Rewrite what the command line names; return the exit code."""
    parser = argparse.ArgumentParser(description="Apply a rule file to a folder of .mid files")
    parser.add_argument("rules", type=Path, help="the rule file")
    parser.add_argument("folder", type=Path, help="the folder of recordings")
    parser.add_argument("results", type=Path, help="a new folder for the results")
    parser.add_argument("--from", dest="source", help="the port that the recordings play as (default: the only one)")
    parser.add_argument("--jobs", type=int, help="how many recordings at a time (default: one for each core)")
    arguments = parser.parse_args()
    try:
        loaded = rules.load_rules({str(arguments.rules): arguments.rules.read_bytes()})
        recordings = list(found_in(arguments.folder))
        arguments.results.mkdir()
    except (rules.RuleFileError, OSError) as error:
        print(error, file=sys.stderr)
        return 2
    # Workers get the rules along with the recordings: what is pickled are the texts of the rule files.
    job = partial(
        rewrite_one, loaded=loaded, source=arguments.source, folder=arguments.folder, results=arguments.results
    )
    with ProcessPoolExecutor(arguments.jobs, mp_context=get_context("spawn")) as workers:
        faults = [fault for fault in mapped(workers, job, recordings) if fault]
    print(f"{len(recordings) - len(faults)} of {len(recordings)} recordings rewritten into {arguments.results}")
    return 1 if faults else 0


def found_in(folder: Path) -> Iterator[Path]:
    """Yield the recordings of a folder and the folders in it, by name. Raises OSError where it can't be read."""
    for path in sorted(folder.iterdir()):
        if path.is_dir() and not path.is_symlink():
            yield from found_in(path)
        elif path.suffix.lower() in (".mid", ".midi"):
            yield path


def mapped(workers: Executor, job: partial[str], recordings: list[Path]) -> Iterator[str]:
    """Yield what the workers say of each recording, in order, and print what went wrong as soon as it is known."""
    waiting = iter(recordings)
    while some := list(islice(waiting, AT_A_TIME)):
        for fault in workers.map(job, some, chunksize=16):
            if fault:
                print(fault, file=sys.stderr)
            yield fault


def rewrite_one(path: Path, loaded: rules.Rules, source: str | None, folder: Path, results: Path) -> str:
    """Rewrite one recording into the folder of results; return what went wrong, or nothing."""
    target = results / path.relative_to(folder)
    unfinished = target.with_name(f"{target.name}.part")
    try:
        rewritten = rules.rewrite_midi(path.read_bytes(), loaded, source=source)
        target.parent.mkdir(parents=True, exist_ok=True)
        unfinished.write_bytes(rewritten.outputs[""])
        unfinished.rename(target)  # a result under its own name is whole, whatever happens
    except (rules.MidiFileError, ValueError, OSError) as error:
        return f"{path}: {error}"
    return ""


if __name__ == "__main__":
    sys.exit(main())
