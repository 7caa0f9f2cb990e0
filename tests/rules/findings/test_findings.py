"""All findings together: their order, and those that are accepted."""

from __future__ import annotations

import pytest

from rules.findings.finding import Example
from rules.findings.findings import findings_of
from rules.midi.notation import STANDARD
from rules.rulefile.reading import read_rule_set
from tests.support.found import found, told

RIG = """
[ports]
keys = { input = true }
rack = { output = true }
[devices]
organ = { port = "rack", channel = 4 }
bass = { port = "rack", channel = 5{bass} }
[switches]
up = { from = "keys", note = "C1"{up} }
"""
SPLIT = """
[[rules]]
name = "one"
from = "keys"
match = { channel = 1 }
{accept}
[[rules.zones]]
notes = "..B3"
to = "organ"
[[rules.zones]]
notes = "D4.."
to = "organ"
"""


def rules(accept: str = "", bass: str = "", up: str = "") -> str:
    """A rig with three findings, of which some are accepted."""
    return RIG.replace("{bass}", bass).replace("{up}", up) + SPLIT.replace("{accept}", accept)


ALL = ['device "bass": unreached', 'switch "up": unread switch', 'rule "one": split gap: C4..C#4']


def test_findings_come_in_the_order_of_files_and_lines() -> None:
    """As the files are given, and not by their names."""
    assert told(rules()) == ALL
    rig, split = (text.replace("{accept}", "").replace("{bass}", "").replace("{up}", "") for text in (RIG, SPLIT))
    findings = findings_of(read_rule_set([("z.toml", rig.encode()), ("a.toml", split.encode())]))
    assert [(finding.place.file, finding.place.line) for finding in findings] == [
        ("z.toml", 7), ("z.toml", 9), ("a.toml", 2),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("accepted", "gone"),
    [
        ({"accept": 'accept = { "split gap: C4..C#4" = "the cue keys" }'}, 2),
        ({"bass": ', accept = { unreached = "for the second set" }'}, 0),
        ({"up": ', accept = { "unread switch" = "for tests" }'}, 1),
    ],
)
def test_an_accepted_finding_is_silent(accepted: dict[str, str], gone: int) -> None:
    """Next to a rule, a device or a switch; all others are still reported."""
    assert told(rules(**accepted)) == [each for at, each in enumerate(ALL) if at != gone]


@pytest.mark.parametrize("label", ["split gap: C4", "split gap", "unreached", "typo"])
def test_an_accepted_finding_that_does_not_occur_is_reported(label: str) -> None:
    """It is gone, or its name is wrong; what is there is reported too."""
    findings = found(rules(f'accept = {{ "{label}" = "why" }}'))
    assert [finding.label for finding in findings] == [
        "unreached", "unread switch", "split gap: C4..C#4", f"not found: {label}",
    ]  # fmt: skip
    assert (findings[-1].severity, findings[-1].place.words) == ("remark", 'rule "one"')


TWO_GAPS = """
[ports]
keys = { input = true }
rack = { output = true }
[[rules]]
name = "one"
from = "keys"
match = { channel = 1 }
accept = { ACCEPTED }
[[rules.zones]]
notes = "..B3"
to = "rack"
[[rules.zones]]
notes = "D4..B4"
to = "rack"
[[rules.zones]]
notes = "D5.."
to = "rack"
"""


@pytest.mark.parametrize(
    ("accepted", "gaps", "not_found"),
    [
        (["split gap: C4..C#4", "split gap: C5..C#5"], [], []),
        (["split gap: C4..C#4"], ["split gap: C5..C#5"], []),
        (["split gap: C4..C#4", "split gap: C6..C#6"], ["split gap: C5..C#5"], ["not found: split gap: C6..C#6"]),
        (["split gap: c4..C#4"], ["split gap: C4..C#4", "split gap: C5..C#5"], ["not found: split gap: c4..C#4"]),
    ],
)
def test_what_is_accepted_and_occurs_is_never_reported(
    accepted: list[str], gaps: list[str], not_found: list[str]
) -> None:
    """Each label counts by itself, to the letter: one that occurs vouches for no other, nor is missed for another's."""
    rules = TWO_GAPS.replace("ACCEPTED", ", ".join(f'"{label}" = "why"' for label in accepted))
    assert [finding.label for finding in found(rules)] == [*gaps, *not_found]


def test_one_finding_is_accepted_at_its_own_place_only() -> None:
    """The same label next to something else accepts nothing."""
    assert told(rules(up=', accept = { unreached = "why" }'))[:2] == ALL[:2]


def test_notes_are_named_as_in_their_file() -> None:
    """Where middle C is C3, the gap is a C3, and so it is accepted."""
    rules_c3 = 'middle_c = "C3"\n' + rules('accept = { "split gap: C3..C#3" = "x" }').replace("B3", "B2").replace(
        "D4", "D3"
    )
    assert told(rules_c3, "split gap", "not found") == []


def test_an_example_is_written_as_rule_files_want_it() -> None:
    """Names in quotes only where a condition needs them."""
    example = Example("keys", b"\x90\x3c\x64", (("song", "Tide or Ebb"), ("place", "cave"), ("up", True), ("key", -2)))
    assert example.words(STANDARD) == (
        'note-on 1 C4 100 from keys, with song = "Tide or Ebb" and place = cave and up = on and key = -2'
    )
    assert Example("keys", b"\x90\x3c\x64").words(STANDARD) == "note-on 1 C4 100 from keys"


def test_a_finding_in_one_line() -> None:
    """For those who want no more: the place, the label, what is so and what to do."""
    (gap,) = found(rules(), "split gap")
    assert str(gap.problem) == (
        'rules.toml:11: rule "one": split gap: C4..C#4: No zone plays C4..C#4, though zones below and above do. '
        "Extend a zone."
    )
