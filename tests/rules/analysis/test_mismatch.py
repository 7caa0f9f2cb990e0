"""Why a condition doesn't fit: what it wants, and what came."""

from __future__ import annotations

import pytest
from hypothesis import given

from rules.analysis.mismatch import mismatch
from rules.fields.matching import split_any
from rules.midi.notation import STANDARD, Naming, parse_whole_message
from rules.program.forms import form_of
from rules.rulefile.reading import read_rules
from tests.support.performance_strategies import messages
from tests.support.rule_strategies import rule_files, toml_of
from tests.support.value_strategies import Table

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\n"


def why(match: str, message: str, naming: Naming = STANDARD) -> str:
    """What is said of a message by a `match`."""
    rules = f'{PORTS}[[rules]]\nfrom = "keys"\nto = "rack"\nmatch = {match}\n'
    (rule,) = read_rules([("rules.toml", rules.encode())]).rules
    return mismatch(parse_whole_message(message), rule.match, naming)


@pytest.mark.parametrize(
    ("match", "message", "words"),
    [
        ("{ channel = 3 }", "note-on 1 C4 100", "wants channel 3, this came on 1"),
        ('{ channel = "2..4" }', "program 1 5", "wants channels 2..4, this came on 1"),
        ('{ kind = "note" }', "controller 1 7 100", "wants kind note, this is a controller"),
        (
            '{ kind = ["program", "pitch-bend"] }',
            "note-on 1 C4 100",
            "wants kind pitch-bend, program, this is a note-on",
        ),
        ('{ kind = "controller" }', "controller 1 123 0", "wants kind controller, this is a channel-mode"),
        ('{ kind = "note-on" }', "key-pressure 1 C4 9", "wants kind note-on, this is a key-pressure"),
        ('{ notes = "..B3" }', "note-on 1 C4 100", "wants notes ..B3, this is C4"),
        ('{ velocity = "100.." }', "note-on 1 C4 99", "wants velocity 100.., this has 99"),
        ('{ controller = "volume" }', "controller 1 modulation 3", "wants controller volume, this is modulation"),
        ('{ controller = "volume" }', "note-on 1 C4 100", "wants controller volume, this is a note-on"),
        ('{ controller = "volume", value = "64.." }', "controller 1 volume 3", "wants value 64.., this has 3"),
        ('{ kind = "pitch-bend", value = "..-1" }', "pitch-bend 1 5", "wants value ..-1, this has 5"),
        ('{ kind = "channel-pressure", value = "9.." }', "channel-pressure 1 5", "wants value 9.., this has 5"),
        ('{ program = "1..4" }', "program 1 5", "wants program ..4, this is 5"),
        ('{ channel = 3, notes = "C4" }', "note-on 1 D4 100", "wants channel 3 and notes C4, this came on 1 and is D4"),
        (
            '{ channel = 3, kind = "note" }',
            "clock",
            "wants kind note and channel 3, this is a clock and has no channel",
        ),
        ('{ kind = "note" }', "F0 7D 01 F7", "wants kind note, this is a sysex"),
        (
            '[{ channel = 3, notes = "C4" }, { channel = 4 }]',
            "note-on 1 D4 100",
            "wants channel 4, this came on 1 (the nearest of 2 conditions)",
        ),
        ("{ channel = 1 }", "note-on 1 C4 100", ""),
        ('{ notes = "C4" }', "controller 1 sustain 127", ""),
        ('{ kind = "note" }', "note-off 1 C4 0", ""),
    ],
)
def test_what_differs_is_told(match: str, message: str, words: str) -> None:
    """What isn't fulfilled and only that, in the words of the rule file."""
    assert why(match, message) == words


@given(rule_files(), messages().filter(lambda text: not text.startswith("F7")))
def test_there_is_a_reason_whenever_a_condition_does_not_fit(files: list[Table], text: str) -> None:
    """And none where it fits."""
    message = parse_whole_message(text.removeprefix("sysex "))
    ruleset = read_rules([("rules.toml", toml_of(files[0]).encode())])
    for rule in ruleset.rules:
        for conditions in (rule.match, *([zone] for zone in rule.zones)):
            fits = not conditions or bool(split_any(form_of(message), conditions)[0])
            words = mismatch(message, conditions, STANDARD)
            assert bool(words) is not fits
            assert words == "" or " wants , " not in f" {words} "
