"""Several messages in a row: each finds what those before it have left."""

from __future__ import annotations

from rules.analysis.trace_sequence import trace_sequence
from rules.midi.notation import parse_whole_message
from rules.rulefile.reading import read_rules

RULES = """
[ports]
keys = { input = true }
rack = { output = true }
[devices]
organ = { port = "rack", channel = 4 }
[switches]
up = { from = "keys", note = "C1" }
[[rules]]
from = "keys"
match = { notes = "C2..", channel = 1 }
steps = [{ transpose = 12, when = "up" }]
to = "organ"
"""


def stories(*messages: str, rules: str = RULES) -> list[list[str]]:
    """What is told of each message, indented."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    told = trace_sequence(ruleset, "keys", [parse_whole_message(message) for message in messages], {})
    return [["  " * line.depth + line.text for line in lines] for lines in told]


def test_a_switch_stays_where_a_message_has_set_it() -> None:
    """The pad sets it, the note after it is transposed; the next touch of the pad sets it back."""
    pad = "note-on 1 C1 90"
    before, _, after, _, again = stories("note-on 1 C4 90", pad, "note-on 1 D4 90", pad, "note-on 1 E4 90")
    assert before[-1].endswith("arrives at port rack: note-on 4 C4 90")
    assert after[-1].endswith("arrives at port rack: note-on 4 D5 90")
    assert again[-1].endswith("arrives at port rack: note-on 4 E4 90")


def test_a_note_off_ends_what_its_note_on_began() -> None:
    """The switch has changed meanwhile: the note-off goes where the note sounds."""
    *_, off = stories("note-on 1 C4 90", "note-on 1 C1 90", "note-off 1 C4 64")
    assert off == [
        "ends what its note-on began, whatever the rules are now",
        "  arrives at port rack: note-off 4 C4 64",
    ]


def test_what_the_messages_before_it_change_is_told() -> None:
    """A second controller within 20 ms waits, since a step thins them; the rules alone would send it."""
    rules = RULES.replace('match = { notes = "C2..", channel = 1 }', "").replace(
        'transpose = 12, when = "up"', "thin = 20"
    )
    first, second = stories("controller 1 modulation 9", "controller 1 modulation 12", rules=rules)
    assert first[-1].endswith("arrives at port rack: controller 4 modulation 9")
    assert second[-2:] == ["because of the messages before it, the result is different:", "  nothing goes out at once"]


def test_a_port_without_rules_is_told() -> None:
    """There is nothing that could match."""
    rules = RULES.replace('from = "keys"\nmatch', 'from = "rack"\nmatch').replace(
        "rack = { output", "rack = { input = true, output"
    )
    assert (
        stories("note-on 1 C4 90", "note-off 1 C4 64", rules=rules)
        == [['goes nowhere: no rule has `from = "keys"`']] * 2
    )
