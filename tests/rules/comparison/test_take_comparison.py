"""One recording by two rule sets: what only one of them sends, and when."""

from __future__ import annotations

from rules.comparison.take_comparison import Side, compare_take
from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rules
from rules.smf.bars import Beat
from rules.smf.midi_file import read
from rules.smf.report import Playing
from tests.support.command_shell import END, midi

RULES = '[ports]\nkeys = { input = true }\nrack = { output = true }\n[[rules]]\nfrom = "keys"\nto = "rack"\n'
TWO_NOTES = midi(f"00 90 3C 40  60 80 3C 40  60 90 70 40  60 80 70 40 {END}")


def side(text: str) -> Side:
    """Rules that play every track as the keys."""
    ruleset = read_rules([("rules.toml", text.encode())])
    return ruleset, compile_rules(ruleset), Playing("keys")


def test_the_same_rules_make_the_same_of_it() -> None:
    """Every message goes out as before."""
    found = compare_take(side(RULES), side(RULES), read(TWO_NOTES))
    assert (found.same, found.lost, found.gained, found.moments) == (4, 0, 0, [])


def test_moments_at_which_other_messages_go_out() -> None:
    """With bar and beat: the second note, one octave higher, begins at the third beat and ends at the fourth."""
    high = f"{RULES}match = {{ notes = '..C5' }}\n{RULES.partition('rack = { output = true }')[2]}"
    high += "match = { notes = 'C#5..' }\nsteps = [{ transpose = 12 }]\n"
    found = compare_take(side(RULES), side(high), read(TWO_NOTES))
    assert (found.same, found.lost, found.gained) == (2, 2, 2)
    first, second = found.moments
    assert (first.tick, first.beat) == (192, Beat(1, 3))
    assert first.before == (("rack", bytes((0x90, 0x70, 0x40))),)
    assert first.now == (("rack", bytes((0x90, 0x7C, 0x40))),)
    assert second.beat == Beat(1, 4)
