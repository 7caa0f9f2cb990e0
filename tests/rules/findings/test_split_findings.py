"""Splits that leave notes out, or play notes twice at the split point."""

from __future__ import annotations

import pytest

from tests.support.found import found, shown, told

RIG = """
[ports]
keys = { input = true }
rack = { output = true }
[switches]
up = { from = "keys", note = "C1" }
[[on_switch]]
when = "up"
send = { rack = "program 1 1" }
"""
KINDS = ("split gap", "split overlap")


def split(*zones: str, more: str = "", match: str = "channel = 1") -> str:
    """A rule with some zones, below the rig."""
    lines = "".join(f'[[rules.zones]]\n{zone}\nto = "rack"\n' for zone in zones)
    return f'{RIG}[[rules]]\nname = "one"\nfrom = "keys"\nmatch = {{ {match} }}\n{lines}{more}'


def test_a_note_between_two_zones() -> None:
    """It is named, with a message that shows it."""
    (finding,) = found(split('notes = "..B3"', 'notes = "C#4.."'), *KINDS)
    assert (finding.place.words, finding.label, finding.severity) == ('rule "one"', "split gap: C4", "doubt")
    assert shown(finding) == "note-on 1 C4 100 from keys"


def test_each_gap_is_one_finding() -> None:
    """Of three zones that leave two ranges out."""
    rules = split('notes = "..B2"', 'notes = "D3..B3"', 'notes = "F4.."')
    assert told(rules, *KINDS) == ['rule "one": split gap: C3..C#3', 'rule "one": split gap: C4..E4']


@pytest.mark.parametrize(
    "rules",
    [
        split('notes = "..B3"', 'notes = "C4.."'),
        split('notes = "C2..B3"', 'notes = "C4..C6"'),
        split('notes = "..B3"', 'notes = "C#4.."', 'notes = "C4"'),
        split('notes = "..B3"\nchannel = 1', 'notes = "D4.."\nchannel = 2', match='kind = "note"'),
        split('notes = "..B3"\nwhen = "up"', 'notes = "D4.."\nwhen = "not up"'),
        split('notes = "..B0"', 'notes = "C#1.."'),
        split(
            'notes = "..B3"', 'notes = "C#4.."',
            more='[[rules]]\nfrom = "keys"\nmatch = { channel = 1, notes = "C4", kind = "note" }\nto = "rack"\n',
        ),
        split('notes = "..B3"', 'notes = "C#4.."', match='channel = 1, notes = ["..B3", "C#4.."]'),
        split('notes = "..B3"', 'notes = "C4.."', 'notes = "C4.."\nvelocity = "100.."'),
        split('notes = "..B3"', 'notes = "C#4.."', "velocity = '1..127'"),
    ],
)  # fmt: skip
def test_splits_without_a_gap(rules: str) -> None:
    """The zones meet, are never open together, or the note is another zone's, rule's or switch's; or never comes."""
    assert told(rules, *KINDS) == []


def test_a_gap_in_one_state_of_a_switch() -> None:
    """The example has that state."""
    (finding,) = found(
        split('notes = "..B3"', 'notes = "C4.."\nwhen = "not up"', 'notes = "D4.."\nwhen = "up"'), *KINDS
    )
    assert finding.label == "split gap: C4..C#4"
    assert shown(finding) == "note-on 1 C4 100 from keys, with up = on"


def test_a_note_in_two_zones() -> None:
    """Zones that overlap at their ends play it twice."""
    (finding,) = found(split('notes = "..C4"', 'notes = "C4.."'), *KINDS)
    assert (finding.label, finding.severity) == ("split overlap: C4", "doubt")
    assert shown(finding) == "note-on 1 C4 100 from keys"


@pytest.mark.parametrize(
    "rules",
    [
        split('notes = "..B3"', 'notes = "C4.."', 'notes = "C5.."'),
        split('notes = "C4.."', 'notes = "C4.."'),
        split('notes = "..C4"\nwhen = "up"', 'notes = "C4.."\nwhen = "not up"'),
        split('notes = "..C4"\nvelocity = "..63"', 'notes = "C4.."\nvelocity = "64.."'),
    ],
)
def test_layers_and_switched_zones_do_not_overlap(rules: str) -> None:
    """One zone within another is a layer; and zones that are never open together don't meet."""
    assert told(rules, "split overlap") == []
