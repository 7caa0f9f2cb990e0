"""What DIN connections would carry if all sources played at full rate."""

from __future__ import annotations

from fractions import Fraction

import pytest

from rules.findings.branch_ways import BranchWays
from rules.findings.din_findings import full_loads
from rules.rulefile.reading import read_rule_set
from tests.support.found import found, shown, told

RIG = """
[ports]
keys = { input = true }
pads = { input = true }
slow = { output = true, connection = "din" }
fast = { output = true }
"""
KEYS = '[[rules]]\nfrom = "keys"\nmatch = { channel = 1 }\nto = "slow"\n'
PADS = '[[rules]]\nfrom = "pads"\nmatch = { channel = 10 }\nto = "slow"\n'
OCTAVE = '[[rules]]\nfrom = "keys"\nmatch = { channel = 1 }\nsteps = [{ transpose = 12 }]\nto = "slow"\n'


def test_a_merge_that_can_be_too_much() -> None:
    """Two sources at full rate are twice what a wire carries; both are named with their shares."""
    (finding,) = found(RIG + KEYS + PADS, "DIN load")
    assert (finding.place.words, finding.severity) == ('port "slow"', "remark")
    assert "200 % of this DIN connection (keys 100 %, pads 100 %)" in finding.text
    assert shown(finding) == "note-on 1 C4 100 from keys"


SWITCHES = """
[switches]
up = { from = "pads", note = "C1" }
song = { values = ["Tide", "Ebb"], set = { from = "pads", note = "D1", value = "Ebb" } }
"""
DOWN = OCTAVE.replace("12", "-12")


@pytest.mark.parametrize(
    ("switches", "rules", "example"),
    [
        (SWITCHES, OCTAVE.replace("to =", 'when = "up"\nto ='), ", with up = on"),
        (SWITCHES, OCTAVE.replace("to =", 'when = "not up"\nto ='), ""),
        (SWITCHES.replace('"C1"', '"C1", initial = true'), OCTAVE.replace("to =", 'when = "up"\nto ='), ""),
        (SWITCHES, OCTAVE.replace("to =", 'when = "up or song = Tide"\nto ='), ""),
        (SWITCHES, OCTAVE.replace("to =", 'when = "up and song = Ebb"\nto ='), ", with song = Ebb and up = on"),
    ],
)
@pytest.mark.parametrize("song", ["", "song = Ebb", "song = Ebb or up"])
def test_an_example_names_only_the_switches_that_make_the_load(
    switches: str, rules: str, example: str, song: str
) -> None:
    """What a switch exchanges for as much, in any of its states, is no reason for the load."""
    others = [DOWN.replace("to =", f'when = "{when}"\nto =') for when in (song, _not(song)) if song]
    (finding,) = found(RIG + switches + KEYS + rules + "".join(others), "DIN load")
    assert shown(finding) == f"note-on 1 C4 100 from keys{example}"


def _not(when: str) -> str:
    """The opposite of a condition."""
    return " and ".join(f"not {part}" for part in when.split(" or "))


@pytest.mark.parametrize(
    "rules",
    [
        RIG + KEYS,
        (RIG + KEYS + PADS).replace('connection = "din"', 'connection = "usb"'),
        RIG + KEYS + PADS.replace('"slow"', '"fast"'),
        RIG + KEYS + OCTAVE.replace("channel = 1 ", "channel = 2 "),
        RIG + KEYS + KEYS,
    ],
)
def test_what_a_connection_carries(rules: str) -> None:
    """One source without a layer, several that don't meet on a DIN connection, or the same message once."""
    assert told(rules, "DIN load") == []


@pytest.mark.parametrize(
    ("rules", "load"),
    [
        (RIG + KEYS, Fraction(1)),
        (RIG + KEYS + OCTAVE, Fraction(2)),
        (RIG + KEYS.replace("to =", "steps = [{ echo = { ms = 100, times = 3, decay = 0 } }]\nto ="), Fraction(4)),
        (RIG + KEYS.replace("to =", 'steps = [{ send = ["program 1", "program 2"] }]\nto ='), Fraction(0)),
        (RIG + KEYS.replace("to =", 'steps = [{ map = { from = "channel-pressure", to = "controller 1" } }]\nto ='),
         Fraction(3, 2)),
        (RIG, Fraction(0)),
    ],
)  # fmt: skip
def test_the_load_of_a_connection(rules: str, load: Fraction) -> None:
    """Layers, echoes and longer messages add up; what a `send` writes doesn't count."""
    (full,) = full_loads(BranchWays(read_rule_set([("rules.toml", rules.encode())])))
    assert (full.port, full.load) == ("slow", load)
