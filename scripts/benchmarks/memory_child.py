"""One process that edits one file, and says how much memory it took: `memory_child.py mido|ROUTE FILE`."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path

SCRIPTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(SCRIPTS.parent), str(SCRIPTS)]


def high_water() -> int:
    """The most bytes that this process had in memory so far.

    From /proc: what getrusage says includes the process that started this one.
    """
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024
    raise SystemExit("this system doesn't say how much memory a process took")


def editor(side: str) -> Callable[[bytes], bytes]:
    """The edit, with all that it needs imported, and nothing else."""
    if side == "mido":
        from benchmarks.with_mido import edited

        return edited
    from benchmarks.rulefiles import EDIT, IN_PLACE, compiled
    from rules.smf.report import Playing
    from rules.smf.rewriting import Rewriter

    ruleset, pipeline = compiled(IN_PLACE if side == "patch" else EDIT)
    rewriter = Rewriter(ruleset, pipeline, Playing("seq"), route=side)
    return lambda data: rewriter.rewrite(data).outputs[""]


def main() -> None:
    side, path = sys.argv[1:]
    edit = editor(side)
    before = high_water()
    result = edit(Path(path).read_bytes())
    assert result.startswith(b"MThd")
    print(json.dumps([before, high_water()]))


if __name__ == "__main__":
    main()
