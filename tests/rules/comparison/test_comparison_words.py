"""Differences between rules, as they are told: in ranges and words, a line for all that changes alike."""

from __future__ import annotations

import pytest

from rules.comparison.rule_comparison import MOST_LINES, RuleComparison, compare_rules
from rules.compiler.compiler import compile_rules
from rules.midi.notation import Naming
from rules.rulefile.reading import read_rules

RIG = """
[ports]
seq = { input = true }
keys = { input = true }
pads = { input = true }
rack = { output = true }
[devices]
strings = { port = "rack", channel = 4 }
organ = { port = "rack", channel = 5 }
[switches]
low = { from = "pads", note = "C6" }
place = { values = ["garden", "cave", "hill"], set = { from = "pads", note = "D6", value = "cave" } }
"""
NOTES = 'match = { kind = "note", channel = 1 }'


def told(old: str, new: str, naming: Naming | None = None) -> list[str]:
    """The lines about two texts of rules; one that has ports brings its own rig."""
    before, now = (read_rules([("rules.toml", each.encode())]) for each in map(_with_rig, (old, new)))
    return compare_rules((before, compile_rules(before)), (now, compile_rules(now)), naming or Naming()).lines()


def _with_rig(text: str) -> str:
    return text if "[ports]" in text else RIG + text


def rule(rest: str, source: str = "keys", to: str = "organ", name: str = "one") -> str:
    """A rule to the organ."""
    return f'[[rules]]\nname = "{name}"\nfrom = "{source}"\nto = "{to}"\n{rest}\n'


KEYS = rule(NOTES)


@pytest.mark.parametrize(
    ("old", "new", "lines"),
    [
        (KEYS, KEYS, []),
        (
            KEYS,
            KEYS + rule('match = { kind = "note", notes = "C2..B3", channel = 11 }', "seq", "strings", "two"),
            ["notes C2..B3 on channel 11 from seq: were silent, now reach strings on channel 4"],
        ),
        (KEYS, rule(NOTES, to="rack"),
            ["notes on channel 1 from keys: reached organ on channel 5, now rack on channel 1"]),
        (KEYS, KEYS + rule(NOTES, to="strings", name="two"),
            ["notes on channel 1 from keys: now reach strings on channel 4"]),
        (KEYS + rule(NOTES, to="strings", name="two"), KEYS,
            ["notes on channel 1 from keys: no longer reach strings on channel 4"]),
        (KEYS, rule('match = { kind = "note", channel = 1, notes = "..B3" }'),
            ["notes C4.. on channel 1 from keys: reached organ on channel 5, now silent"]),
        (
            rule(f"{NOTES}\nsteps = [{{ velocity = {{ limit = '1..110' }} }}]"),
            rule(f"{NOTES}\nsteps = [{{ velocity = {{ limit = '90..110' }} }}]"),
            ["notes with velocity ..89 on channel 1 from keys: "
             "reached organ on channel 5 as they came, now with velocity 90"],
        ),
        (
            rule('match = { kind = "note", notes = "C4..C5", channel = 1 }'),
            rule('match = { kind = "note", notes = "C4..C5", channel = 1 }\nsteps = [{ transpose = -12 }]'),
            ["notes C4..C5 on channel 1 from keys: reached organ on channel 5 as they came, now 12 semitones lower"],
        ),
        (KEYS, rule(f"{NOTES}\nwhen = 'low'"),
            ["notes on channel 1 from keys, while not low: reached organ on channel 5, now silent"]),
        (KEYS, rule(f"{NOTES}\nwhen = 'place = cave'"),
            ["notes on channel 1 from keys, while place = garden or hill: reached organ on channel 5, now silent"]),
        (KEYS, rule(f"{NOTES}\nsteps = [{{ delay = 40 }}]"),
            ["notes on channel 1 from keys: reached organ on channel 5 as they came, now 40 ms later"]),
        (
            rule(f"{NOTES}\nsteps = [{{ transpose = -12 }}]"),
            rule(f"{NOTES}\nsteps = [{{ transpose = -12 }}, {{ delay = 40 }}]"),
            ["notes C0.. on channel 1 from keys: reached organ on channel 5, now as before, and 40 ms later"],
        ),
        (
            rule(f"{NOTES}\nsteps = [{{ transpose = -12 }}, {{ delay = 40 }}]"),
            rule(f"{NOTES}\nsteps = [{{ transpose = -12 }}]"),
            ["notes C0.. on channel 1 from keys: "
             "reached organ on channel 5, now no longer 40 ms later, otherwise as before"],
        ),
        (KEYS, rule(f"{NOTES}\nsteps = [{{ length = {{ beats = 0.5 }} }}]"),
            ["notes on channel 1 from keys: reached organ on channel 5 as they came, now each 1/2 beats long"]),
        (KEYS, rule(f"{NOTES}\nsteps = [{{ send = ['program 3', 'sysex F0 7D F7'] }}]"),
            ["notes on channel 1 from keys: reached organ on channel 5, "
             "now organ on channel 5 as program 3 and rack as sysex F0 7D F7"]),
        (
            rule('match = { controller = "modulation", channel = "1..2" }'),
            rule('match = { controller = "modulation", channel = "1..2" }\nsteps = [{ thin = 20 }]'),
            ["controller modulation on channels 1..2 from keys, depending on messages before: "
             "reached organ on channel 5, now silent"],
        ),
        ("", rule('match = { channel = "1..3" }'),
            ["all channel messages on channels 1..3 from keys: were silent, now reach organ on channel 5"]),
        ("", rule("", to="rack"), [
            "all channel messages from keys: were silent, now reach rack",
            "sysex from keys: were silent, now reach rack",
            "clock of rack: none before, from keys now",
        ]),
        ("", rule('match = { kind = "pitch-bend", value = "-200..300", channel = 1 }'), [
            "pitch bends -128..255 on channel 1 from keys: were silent, now reach organ on channel 5",
            "pitch bends 256..300 on channel 1 from keys: were silent, now reach organ on channel 5",
            "pitch bends -200..-129 on channel 1 from keys: were silent, now reach organ on channel 5",
        ]),
        ("", rule('match = { kind = "note-off", channel = 1, notes = "C4" }\nsteps = [{ send = "start" }]'),
            ["note-off C4 on channel 1 from keys: were silent, now reach rack as start"]),
    ],
)  # fmt: skip
def test_what_changed_is_told_in_words(old: str, new: str, lines: list[str]) -> None:
    """Which messages, on which channels, from where, in which states; what became of them, and what does now."""
    assert told(old, new) == lines


def test_notes_and_programs_are_named_as_in_the_rule_files() -> None:
    """With C3 as middle C and programs from 0."""
    found = told(
        KEYS, KEYS + rule("match = [{ program = 5 }, { kind = 'note', notes = '60' }]", "seq", name="two"), Naming(3, 0)
    )
    assert [line.partition(" from")[0] for line in found] == ["note C3", "program 4"]


@pytest.mark.parametrize(
    ("old", "new", "lines"),
    [
        ('rack = { output = true }', 'rack = { output = true }\nbox = { output = true }', ["port box: new"]),
        ('rack = { output = true }', 'rack = { output = "R*", connection = "din" }',
            ["port rack: other output, connection"]),
        ('rack = { output = true }', 'rack = { output = true, clock = "seq" }',
            ["clock of rack: none before, from seq now"]),
        ('"cave", "hill"]', '"hill", "cave"]',
            ["switch place: can be garden, cave, hill before, garden, hill, cave now"]),
        ('note = "C6" }', 'note = "C6", initial = true }', ["switch low: off at first before, on now"]),
        ('note = "C6" }', 'note = "E6", mode = "momentary" }', [
            "switch low: no longer: is toggled by note C6 from pads", "switch low: new: is held by note E6 from pads"]),
        ('note = "C6" }', 'note = "C6", long = 600 }', [
            "switch low: no longer: is toggled by note C6 from pads",
            "switch low: new: is toggled by note C6 from pads, held 600 ms"]),
        ('"cave", "hill"]', '"cave", "hill"], wrap = false', [
            "switch place: goes round before, stops at its ends now"]),
        ('value = "cave" }', 'value = "hill", channel = 3, pass_on = true }', [
            "switch place: no longer: note D6 from pads sets cave",
            "switch place: new: note D6 on channel 3 from pads, passed on sets hill"]),
        ('organ = { port = "rack", channel = 5 }', 'organ = { port = "rack", channel = 5, setup = "program 3" }',
            ["setup of organ: nothing before, program 3 now"]),
    ],
)  # fmt: skip
def test_what_else_differs_is_told(old: str, new: str, lines: list[str]) -> None:
    """Ports, clock, switches and setups."""
    assert old in RIG
    assert told(RIG, RIG.replace(old, new)) == lines


def test_what_switches_send_and_what_is_chased_is_told() -> None:
    """Lists of messages by their condition; effects; and what a rule chases."""
    action = '[[on_switch]]\nwhen = "low"\nsend = { organ = ["program 3", "at 50 ms program 4"] }\ndo = "panic"\n'
    assert told(RIG, RIG + action) == [
        "when low, to organ: nothing before, program 3, after 50 ms program 4 now",
        "when low: panic (new)",
    ]
    chased = rule('when = "low"\nchase = ["sustain", "program"]')
    assert told(rule('when = "low"'), chased) == ["chase of sustain, program from keys, rule one: new"]


def test_a_short_comparison_counts_the_rest() -> None:
    """Ten lines at most; the last says how many more there are."""
    comparison = RuleComparison((), tuple(f"line {number}" for number in range(12)))
    assert comparison.in_short() == [*(f"line {number}" for number in range(9)), "... and 3 more differences"]
    assert len(RuleComparison((), ("a",) * MOST_LINES).in_short()) == MOST_LINES


CLOCKED = """
[ports]
seq = { input = true }
keys = { input = true }
rack = { output = true, clock = "own" }
[clock]
bpm = 96
follow = "seq"
go_on = true
beats_a_bar = 3
start = { from = "keys", note = "C1" }
tap = { from = "keys", note = "D1" }
[switches]
up = { from = "keys", note = "E1" }
[[on_switch]]
when = "up"
bpm = 77
"""


def test_our_clock() -> None:
    """Its tempo, who hears it, what it follows, what starts it; and the tempo that a switch sets."""
    now = CLOCKED.replace("96", "100").replace('follow = "seq"\ngo_on = true\nbeats_a_bar = 3\n', "")
    now = now.replace('note = "C1"', 'note = "C2"').replace('"own"', '"none"').replace("bpm = 77", "bpm = 78")
    assert told(CLOCKED, CLOCKED) == []
    assert told(CLOCKED, now) == [
        "clock of rack: yours before, none now",
        "when up: 78 BPM (new)",
        "when up: 77 BPM (gone)",
        "clock: follows seq before, none now",
        "clock: no longer goes on when the clock stops that it follows",
        "clock: 3 beats a bar before, 4 now",
        "clock: no longer: start by note C1 from keys",
        "clock: new: start by note C2 from keys",
        "tempo: 96 BPM before, 100 BPM now",
    ]
