"""How a switch shall stand, as a person writes it."""

import pytest

from router.files.switch_values import read_switch
from router.text.usage import UsageError
from rules.rulefile.reading import read_rule_set
from rules.rulefile.ruleset import RuleSet


@pytest.fixture(scope="module")
def ruleset() -> RuleSet:
    """A switch of each kind."""
    text = b"""
[ports]
pads = { input = "Pads" }
[switches]
up = { from = "pads", controller = "soft pedal" }
song = { values = ["verse", "chorus"], set = [{ from = "pads", note = "C1", value = "verse" }] }
key = { numbers = "-6..6", advance = [{ from = "pads", note = "E1", by = 1 }] }
"""
    return read_rule_set((("rules.toml", text),)).ruleset


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("up", ("up", True)),
        ("up=off", ("up", False)),
        (" up = Yes ", ("up", True)),
        ("song=chorus", ("song", "chorus")),
        ("key=-2", ("key", -2)),
        ("key=+3", ("key", 3)),
    ],
)
def test_each_kind_of_switch_reads_its_states(ruleset: RuleSet, text: str, meant: tuple[str, object]) -> None:
    """On and off, a value by its name, a number with or without a sign."""
    assert read_switch(text, ruleset) == meant


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("son=verse", 'there is no switch named "son": the switches are up, song, key - did you mean "song"?'),
        ("tempo=9", 'there is no switch named "tempo": the switches are up, song, key'),
        ("song=vers", 'switch "song": its values are verse, chorus - did you mean "verse"?'),
        ("key=7", 'switch "key": write a number from -6 to 6'),
        ("up=maybe", 'switch "up": write on or off'),
    ],
)
def test_what_it_cannot_stand_at_is_told(ruleset: RuleSet, text: str, words: str) -> None:
    """With what is allowed, and the nearest name."""
    with pytest.raises(UsageError, match="^" + words.replace("?", r"\?").replace("+", r"\+") + "$"):
        read_switch(text, ruleset)
