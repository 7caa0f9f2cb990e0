"""Switches that nothing sets or asks for."""

from __future__ import annotations

import pytest

from tests.support.found import found, told

KINDS = ("unset switch", "unread switch")


def rules(switch: str, rule: str) -> str:
    """One switch, and a rule from the keys."""
    return (
        f"[ports]\nkeys = {{ input = true }}\nrack = {{ output = true }}\n[switches]\n{switch}\n"
        f'[[rules]]\nname = "one"\nfrom = "keys"\nmatch = {{ channel = 1 }}\n{rule}\nto = "rack"\n'
    )


VALUES = 'song = { values = ["verse", "chorus", "end"] }'
SET = VALUES.replace(" }", ', set = { from = "keys", note = "C1", value = "chorus" } }')


def test_a_switch_that_nothing_asks_for() -> None:
    """No rule, zone, step or list goes by it."""
    up = 'up = { from = "keys", note = "C1" }'
    (finding,) = found(rules(up, ""), *KINDS)
    assert (finding.place.words, finding.label, finding.severity) == ('switch "up"', "unread switch", "doubt")


@pytest.mark.parametrize(
    "rule",
    [
        'when = "up"',
        'steps = [{ velocity = 100, when = "not up" }]',
        'zones = [{ when = "up" }]',
        'to = "rack"\n[[on_switch]]\nwhen = "up"\nsend = { rack = "start" }\n[[rules]]\nname = "x"\nfrom = "keys"',
    ],
)
def test_a_switch_that_something_asks_for(rule: str) -> None:
    """Any of these is enough."""
    assert told(rules('up = { from = "keys", note = "C1" }', rule), *KINDS) == []


def test_a_value_that_nothing_chooses() -> None:
    """A rule asks for it, but neither pad nor pedal gets there."""
    (finding,) = found(rules(SET, 'when = "song = end"'), *KINDS)
    assert finding.label == "unset switch"
    assert finding.text == 'No pad or pedal sets this switch to "end", and rules ask for it.'
    assert "pointsman switch song=end" in finding.remedy


def test_a_value_with_spaces_is_one_word_for_the_shell() -> None:
    """The remedy can be pasted into a terminal as it is."""
    (finding,) = found(rules(SET.replace("end", "7/8 jam"), 'when = "song = 7/8 jam"'), *KINDS)
    assert "pointsman switch 'song=7/8 jam'" in finding.remedy


@pytest.mark.parametrize("when", ["song = end", "song = verse"])
def test_a_switch_that_nothing_sets(when: str) -> None:
    """Whatever a rule asks for, the answer is always the same."""
    (finding,) = found(rules(VALUES, f'when = "{when}"'), *KINDS)
    assert finding.label == "unset switch"
    assert finding.text == "No pad or pedal changes this switch, and rules ask for it."


def test_numbers_that_nothing_counts_to() -> None:
    """A switch that only counts upwards never gets below its first number."""
    up = 'key = { numbers = "-2..2", advance = { from = "keys", note = "C1" } }'
    (finding,) = found(rules(up, 'steps = [{ transpose = "key" }]'), *KINDS)
    assert finding.text == "No pad or pedal sets this switch to -2 or -1, and rules ask for it."


@pytest.mark.parametrize(
    ("switch", "rule"),
    [
        (SET, 'when = "song = chorus"'),
        (SET, 'when = "song = verse"'),
        (VALUES.replace(" }", ', advance = { from = "keys", note = "C1" } }'), 'when = "song = end"'),
        (SET.replace("set =", 'initial = "end", set ='), 'when = "song = end"'),
        (SET, 'when = "not song = end"'),
        (
            'key = { numbers = "-1..1", advance = [{ from = "keys", note = 1 }, '
            '{ from = "keys", note = 2, by = -1 }] }',
            'steps = [{ transpose = "key" }]',
        ),
    ],
)
def test_values_that_can_be_chosen(switch: str, rule: str) -> None:
    """Directly, by going on, or from the beginning; what a rule asks for besides must differ."""
    assert told(rules(switch, rule), *KINDS) == []


SONGS = """
[ports]
keys = { input = true }
rack = { output = true }
[set_list]
NEXT
[[songs]]
name = "Harbour"
rules = ["one"]
[[songs]]
name = "Tide"
[[songs]]
name = "Ebb"
rules = ["two"]
[[rules]]
name = "one"
from = "keys"
match = { channel = 1 }
to = "rack"
[[rules]]
name = "two"
from = "keys"
match = { channel = 1 }
to = "rack"
"""


def test_songs_that_nothing_goes_on_to() -> None:
    """The set list lacks what goes on; with it, every song is reached."""
    (finding,) = found(SONGS.replace("NEXT", ""), *KINDS)
    assert (finding.label, finding.place.words) == ("unset switch", "[set_list]")
    assert finding.remedy == "Write `next` under [set_list]. Without it only `pointsman song` changes it."
    (finding,) = found(SONGS.replace("NEXT", 'next = { from = "keys", note = 1 }').replace("next", "previous"), *KINDS)
    assert finding.label == "unset switch"
    assert told(SONGS.replace("NEXT", 'next = { from = "keys", note = 1, long = 600 }'), *KINDS) == []


def test_songs_stop_at_their_ends() -> None:
    """Going back from the first song reaches the others only round the end."""
    back = 'previous = { from = "keys", note = 1 }'
    assert told(SONGS.replace("NEXT", back), *KINDS) != []
    assert told(SONGS.replace("NEXT", f"{back}\nwrap = true"), *KINDS) == []


def test_a_switch_of_values_is_asked_for_with_one() -> None:
    """The remedy is a condition that can be written so."""
    (finding,) = found(rules(SET, ""), *KINDS)
    assert finding.remedy == 'Ask for it with when = "song = end", or remove it.'
