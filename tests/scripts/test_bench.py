"""`scripts/bench`: what can be said of it without measuring."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPTS = Path(__file__).parent.parent.parent / "scripts"
sys.path.insert(0, str(SCRIPTS))

from benchmarks.figures import Figure, as_json, as_table  # noqa: E402
from benchmarks.memory import long_file  # noqa: E402
from benchmarks.rulefiles import EDIT, compiled  # noqa: E402
from benchmarks.with_mido import edited  # noqa: E402

from rules.smf.rewriting import Playing, Rewriter  # noqa: E402
from tests import corpora, mido_reader  # noqa: E402


def test_an_unknown_part_is_refused() -> None:
    """A part that there isn't is refused with those that there are, before anything is measured."""
    done = subprocess.run(
        [sys.executable, str(SCRIPTS / "bench"), "speed"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "there is no part speed; there are: files, engine, rules, memory, start, model, fuzz" in done.stderr


@pytest.mark.parametrize(
    ("runs", "at_least", "at_most", "met"),
    [
        ([7.0, 9.0, 8.0], 8.0, None, True),
        ([7.0, 9.0, 7.9], 8.0, None, False),
        ([1.6, 1.4, 1.5], None, 1.5, True),
        ([1.6, 1.4, 1.6], None, 1.5, False),
        ([1.0], None, None, None),
    ],
)
def test_a_figure_is_judged_by_its_median(
    runs: list[float], at_least: float | None, at_most: float | None, met: bool | None
) -> None:
    """The median of the runs is what counts, and the table says so."""
    figure = Figure("this", runs, "times", at_least, at_most)
    assert figure.met is met
    assert ("MISSED" in as_table("a machine", [figure])) is (met is False)
    (entry,) = json.loads(as_json("a machine", [figure]))["figures"]
    assert (entry["met"], entry["runs"]) == (met, runs)


@pytest.mark.parametrize("route", ["stream", "general"])
def test_both_sides_do_the_same_work(route: str) -> None:
    """What is timed against each other comes to the same events."""
    ruleset, pipeline = compiled(EDIT)
    rewriter = Rewriter(ruleset, pipeline, Playing("seq"), route=route)
    for data in (corpora.files("freedink")[0].read(), long_file(1000)):
        result = rewriter.rewrite(data)
        assert result.report.route == route
        assert mido_reader.events(result.outputs[""]) == mido_reader.events(edited(data))


def test_the_long_file_has_as_many_events_as_it_says() -> None:
    """The file that memory is measured with: a thousand messages are a thousand, besides the ends of its tracks."""
    found = [event for event in mido_reader.events(long_file(1000)) if event.channel is not None]
    assert len(found) == 1000
