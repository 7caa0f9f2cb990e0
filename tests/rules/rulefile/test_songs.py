"""What songs are to the rest: a switch in order, actions, and conditions on the rules that they name."""

from __future__ import annotations

import pytest

from rules.rulefile.reading import Reading, read_rule_set
from rules.rulefile.switch_tables import ValueSwitch

PORTS = "[ports]\npads = { input = true }\nrack = { output = true }\n"


def reading(*files: str) -> Reading:
    """Rule files, the first with the ports."""
    first, *others = files
    return read_rule_set(
        [("rules.toml", (PORTS + first).encode()), *((f"{n}.toml", text.encode()) for n, text in enumerate(others))]
    )


def songs(*names: str, **rules: str) -> str:
    """Songs by name, each with the rules that it names."""
    return "".join(f'[[songs]]\nname = "{name}"\nrules = [{rules.get(name, "")}]\n' for name in names)


def rule(name: str, more: str = "") -> str:
    """A rule from the pads."""
    return f'[[rules]]\nname = "{name}"\nfrom = "pads"\nto = "rack"\n{more}\n'


def test_songs_are_a_switch_of_values_in_order() -> None:
    """Next, previous and what chooses a song turn it; it stops at the ends unless it wraps."""
    text = (
        '[set_list]\nnext = {{ from = "pads", note = "C4" }}\nprevious = {{ from = "pads", note = "C4", long = 600 }}\n'
    )
    text = (
        text.format() + songs("b", "a", "c") + 'set = [{ from = "pads", program = 1 }, { from = "pads", note = 1 }]\n'
    )
    song = reading(text).ruleset.switches["song"]
    assert isinstance(song, ValueSwitch)
    assert (song.values, song.first, song.wrap) == (("b", "a", "c"), "b", False)
    assert [(one.by, one.note, one.long) for one in song.advance] == [(1, 60, None), (-1, 60, 600)]
    assert [(one.value, one.program, one.note) for one in song.set] == [("c", 0, None), ("c", None, 1)]
    wraps = reading(text.replace("[set_list]\n", "[set_list]\nwrap = true\n")).ruleset.switches["song"]
    assert isinstance(wraps, ValueSwitch)
    assert wraps.wrap


@pytest.mark.parametrize(
    ("named", "when", "condition"),
    [
        ("", "", "None"),
        ("a", "", "song = a"),
        ("ac", "", "song = a or song = c"),
        ("abd", "", "not song = c"),
        ("abcd", "", "None"),
        ("a", 'when = "up"', "up and song = a"),
        (
            "ab",
            'when = "up or not up"',
            "up and song = a or up and song = b or not up and song = a or not up and song = b",
        ),
        ("abc", 'when = "up or song = d"', "up and not song = d or song = d and not song = d"),
    ],
)
def test_a_rule_is_open_in_the_songs_that_name_it(named: str, when: str, condition: str) -> None:
    """Besides its own `when`; in the shorter words, and always where no song or every song names it."""
    text = '[switches]\nup = { from = "pads", note = 1 }\n' + songs(*"abcd", **dict.fromkeys(named, '"one"'))
    ruleset = reading(text + rule("one", when)).ruleset
    assert str(ruleset.rules[0].when) == condition


def test_what_songs_send_comes_first() -> None:
    """Before what `[[on_switch]]` sends; a song that sends nothing has no action. Places are those of the songs."""
    text = (
        '[[on_switch]]\nwhen = "song = b"\nsend = { rack = "stop" }\n'
        + songs("a", "b")
        + 'send = { rack = "start" }\ninitially = false\n'
    )
    found = reading(text)
    assert [(str(one.when), one.initially) for one in found.ruleset.on_switch] == [
        ("song = b", False),
        ("song = b", True),
    ]
    assert [place.words for place in found.on_switch] == ['song "b"', "[[on_switch]] 1"]
    assert [place.words for place in found.songs] == ['song "a"', 'song "b"']
    assert found.switches["song"].words == 'song "a"'


def test_songs_of_several_files_follow_each_other() -> None:
    """In the order of the files; one of them has the set list."""
    found = reading(songs("a"), "[set_list]\nwrap = true\n" + songs("b"), songs("c"))
    assert found.ruleset.switches["song"].states == ("a", "b", "c")
    assert found.switches["song"].words == "[set_list]"
