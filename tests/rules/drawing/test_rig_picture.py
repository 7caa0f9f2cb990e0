"""The picture of a rig: on one page, valid, and to be read."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from hypothesis import given, settings

from rules.drawing.rig_picture import draw_rig
from rules.drawing.rig_reading import rig_view
from rules.findings.findings import findings_of
from rules.rulefile.reading import read_rule_set
from tests.support.random_rigs import random_rig
from tests.support.rig_views import PORTS, picture_of
from tests.support.rule_strategies import rule_files, toml_of
from tests.support.svg_pictures import SVG, faults, outside, overlapping, texts
from tests.support.value_strategies import Table

MOST_BYTES = 200_000


@pytest.mark.parametrize("seed", range(40))
def test_random_rigs(seed: int) -> None:
    """From 2 to 40 rules: valid SVG 1.1 on one A4 page, at most 200 kB, no text over another or off the page."""
    picture = picture_of(random_rig(seed, rules=2 + round(seed * 38 / 39)))
    svg = picture.svg()
    assert faults(svg) == []
    assert picture.fits_a4
    assert len(svg.encode()) <= MOST_BYTES
    assert overlapping(svg) == []
    assert outside(svg) == []


@given(rule_files())
@settings(max_examples=25)
def test_whatever_rules_say_can_be_drawn(files: list[Table]) -> None:
    """Every step, condition, switch and device that the engine is tried with."""
    svg = picture_of(toml_of(files[0])).svg()
    assert faults(svg) == []
    assert overlapping(svg) == []


SPLIT = (
    PORTS
    + """
[[rules]]
name = "split"
from = "keys"
match = { channel = 1 }
[[rules.zones]]
notes = "..B3"
to = "organ"
[[rules.zones]]
notes = "C4.."
when = "up"
steps = [{ velocity = { louder = 0.5 } }, { delay = 40 }]
to = "kit"
"""
)


def shown(svg: str) -> set[str]:
    """All texts of a picture."""
    return {box.text for box in texts(svg)}


def test_a_split_shows_all_that_a_player_asks_for() -> None:
    """Names, channels, keys, switches, delays, findings and curves, in words."""
    found = shown(picture_of(SPLIT).svg())
    assert {"keys", "split", "organ", "kit", "rack1", "rack2", "ch 1", "ch 1 \u2192 4", "ch 1 \u2192 10"} <= found
    assert {"zone 1: notes ..B3", "zone 2: notes C4..", "while up", "delay of 40 ms", "C4"} <= found
    assert {"Switches", "up", "A: louder by 0.5", "velocity played \u2192"} <= found


def test_what_depends_on_a_switch_is_dashed() -> None:
    """Colour alone says nothing: the line is dashed, and the box says while what."""
    root = ElementTree.fromstring(picture_of(SPLIT).svg())
    dashed = [path for path in root.iter(f"{SVG}path") if path.get("marker-end") and path.get("stroke-dasharray")]
    assert [path[0].text for path in dashed] == ["ch 1 \u2192 10, to kit"]


def test_zones_differ_without_colours() -> None:
    """Each is hatched in another way."""
    root = ElementTree.fromstring(picture_of(SPLIT).svg())
    fills = [rect.get("fill") for rect in root.iter(f"{SVG}rect") if "url" in (rect.get("fill") or "")]
    patterns = {pattern.get("id"): pattern[1].get("d") for pattern in root.iter(f"{SVG}pattern")}
    assert fills == ["url(#hatch0)", "url(#hatch1)"]
    assert len(set(patterns.values())) == len(patterns) == 2


def test_long_names_are_shortened_and_whole_in_a_tooltip() -> None:
    """Nothing is lost."""
    name = "a rule whose name is so long that no box on a page of A4 can hold it, whatever size the letters have " * 2
    svg = picture_of(f'{PORTS}[[rules]]\nname = "{name}"\nfrom = "keys"\nmatch = {{ channel = 1 }}\nto = "kit"').svg()
    assert name not in shown(svg)
    tips = [text[0].text for text in ElementTree.fromstring(svg).iter(f"{SVG}text") if len(text)]
    assert name in tips


def test_a_finding_stands_at_its_rule_and_below_the_picture() -> None:
    """Under one number."""
    svg = picture_of(f'{PORTS}[[rules]]\nname = "all"\nfrom = "keys"\nto = ["organ", "kit"]').svg()
    (line,) = [text for text in shown(svg) if text.startswith('rule "all": all channels: organ')]
    assert 'All 16 channels go into channel 4 of "organ".' in line
    marks = [box.text for box in texts(svg) if box.text.startswith("doubt ")]
    assert any(marks.count(mark) == 2 for mark in marks)


def test_small_rigs_have_large_letters() -> None:
    """Two rules: names of 12 points."""
    svg = picture_of(f'{PORTS}[[rules]]\nfrom = "keys"\nmatch = {{ channel = 1 }}\nto = "kit"').svg()
    sizes = {element.text: element.get("font-size") for element in ElementTree.fromstring(svg).iter(f"{SVG}text")}
    assert sizes["kit"] == "44"


def test_forty_plain_rules_have_letters_to_be_read_from_afar() -> None:
    """Names of 7 points, channels of 6."""
    rules = "".join(
        f'[[rules]]\nname = "part {number}"\nfrom = "{"keys" if number % 2 else "pads"}"\n'
        f'match = {{ channel = {number % 16 + 1} }}\nsteps = [{{ transpose = 12 }}]\n'
        f'to = "{"kit" if number % 3 else "organ"}"\n'
        for number in range(40)
    )  # fmt: skip
    svg = picture_of(PORTS + rules).svg()
    sizes = {element.text: element.get("font-size") for element in ElementTree.fromstring(svg).iter(f"{SVG}text")}
    assert float(sizes["part 7"] or 0) >= 24
    assert float(sizes["ch 8"] or 0) >= 20


def test_a_rig_that_no_page_holds_is_drawn_all_the_same() -> None:
    """On a longer page, with letters that can be read."""
    picture = picture_of(random_rig(1, rules=80))
    assert not picture.fits_a4
    assert faults(picture.svg()) == []
    assert overlapping(picture.svg()) == []


def test_many_curves_are_left_to_a_picture_of_their_own() -> None:
    """Where there is no room for them below the rig."""
    rules = "".join(
        f'[[rules]]\nfrom = "keys"\nmatch = {{ channel = 1 }}\nsteps = [{{ velocity = {90 + number} }}]\nto = "rack2"\n'
        for number in range(7)
    )
    reading = read_rule_set([("rig.toml", (PORTS + rules).encode())])
    drawn = draw_rig(rig_view(reading, findings_of(reading), "rig.toml"))
    assert not drawn.has_curves
    assert "A: fixed at 90" not in shown(drawn.picture.svg())
