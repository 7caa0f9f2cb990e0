"""`scripts/bench`: what can be said of it without measuring."""

from __future__ import annotations

import json
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from benchmarks.figures import Curve, Figure, as_json, as_markdown, as_table
from benchmarks.memory import long_file
from benchmarks.plots import as_svg, draw
from benchmarks.rulefiles import EDIT, compiled
from benchmarks.with_mido import edited
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter
from tests.support import corpora, mido_reader

SCRIPTS = Path(__file__).parent.parent.parent / "scripts"


def test_an_unknown_part_is_refused() -> None:
    """A part that there isn't is refused with those that there are, before anything is measured."""
    done = subprocess.run(
        [sys.executable, str(SCRIPTS / "bench"), "speed"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "there is no part speed; there are: files, engine, rules, scale, memory" in done.stderr


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
    for data in (corpora.files("short")[0].read(), long_file(1000)):
        result = rewriter.rewrite(data)
        assert result.report.route == route
        assert mido_reader.events(result.outputs[""]) == mido_reader.events(edited(data))


def test_the_long_file_has_as_many_events_as_it_says() -> None:
    """The file that memory is measured with: a thousand messages are a thousand, besides the ends of its tracks."""
    found = [event for event in mido_reader.events(long_file(1000)) if event.channel is not None]
    assert len(found) == 1000


def test_a_page_gets_the_figures_as_a_table() -> None:
    """What the README shows is printed ready to be put there: a row a figure, the machine above."""
    figure = Figure("speed | of all", [3.0, 1.0, 2.0], "times", 2, None, "slow 2 µs", "1 µs")
    head, _, _, _, row = as_markdown("a machine", [figure]).splitlines()
    assert head.startswith("Measured on ")
    assert head.endswith(": a machine.")
    assert row == "| speed / of all | >= 2 times | 2 times [1 .. 3] | slow 2 µs | 1 µs |"


CURVE = Curve(
    "cost",
    "Cost <by> size",
    "events",
    "ns",
    {"ours": [(1000, 300.0), (10_000, 290.0), (1_000_000, 310.0)], "theirs": [(1000, 7000.0), (10_000, 6000.0)]},
    log_x=True,
    log_y=True,
)


@pytest.mark.parametrize("curve", [CURVE, Curve("n", "N", "x", "y", {"a": [(1, 2.0)], "b": [(1, 2.0)]}, ideal=True)])
def test_a_plot_shows_all_its_points_within_its_axes(curve: Curve) -> None:
    """A plot is an SVG with a title, a name for each axis and line, and every point inside of the picture."""
    root = ElementTree.fromstring(as_svg(curve))
    space = "{http://www.w3.org/2000/svg}"
    texts = [text.text for text in root.iter(f"{space}text")]
    assert {curve.title, curve.x, curve.y, *curve.lines} <= set(texts)
    lines = list(root.iter(f"{space}polyline"))
    assert [len(line.attrib["points"].split()) for line in lines] == [len(points) for points in curve.lines.values()]
    for line in lines:
        for x, y in (map(float, point.split(",")) for point in line.attrib["points"].split()):
            assert 84 <= x <= 570
            assert 48 <= y <= 380


def test_plots_are_files_named_after_what_they_show(tmp_path: Path) -> None:
    """Each curve becomes a file of its own."""
    draw([CURVE], tmp_path / "plots")
    assert [path.name for path in (tmp_path / "plots").iterdir()] == ["cost.svg"]
