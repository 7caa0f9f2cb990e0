"""Lines for the rule file, held to our own reader."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rules.analysis.trace import trace
from rules.listening.gestures import Control, controls
from rules.listening.snippets import blocks, pattern_for, port_block, port_name, toml
from rules.midi.notation import STANDARD, Naming, parse_whole_message
from rules.ports.patterns import Found, find_port
from rules.rulefile.reading import Reading, read_rule_set
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import OnOffSwitch
from tests.rules.listening.random_messages import ANY_MESSAGE


def touched(*texts: str) -> Control:
    """The one thing that was touched."""
    (control,) = controls(parse_whole_message(text) for text in texts)
    return control


def text_of(control: Control, naming: Naming = STANDARD, port: str = "pads") -> list[str]:
    """The lines of each block."""
    return ["\n".join(block.lines) for block in blocks(control, port, naming)]


def read(*blocks_of_lines: str, naming: Naming = STANDARD) -> Reading:
    """What our own reader makes of the lines, in a file that has the port."""
    head = f'middle_c = "C{naming.middle_c}"\nfirst_program = {naming.first_program}\n'
    ports = "\n".join(port_block("pads", "Pad Box", both_ways=False).lines)
    return read_rule_set([("learned.toml", "\n".join([head, ports, *blocks_of_lines]).encode())])


@pytest.mark.parametrize(
    ("texts", "lines"),
    [
        (
            ["note-on 10 C2 97"],
            [
                "[switches]\n"
                'note_c2 = { from = "pads", channel = 10, note = 36, mode = "toggle" }'
                "  # 36 is C2, with middle C called C4",
                '[[rules]]\nfrom = "pads"\n'
                'match = { kind = "note", channel = 10, notes = 36 }  # 36 is C2, with middle C called C4\n'
                "to = []  # write a device or a port between the brackets",
            ],
        ),
        (
            ["controller 1 soft pedal 127", "controller 1 soft pedal 0"],
            [
                "[switches]\n"
                'soft_pedal = { from = "pads", channel = 1, controller = "soft pedal", mode = "momentary" }',
                '[[rules]]\nfrom = "pads"\nmatch = { channel = 1, controller = "soft pedal" }\n'
                "to = []  # write a device or a port between the brackets",
            ],
        ),
        (
            ["controller 2 20 3", "controller 2 20 4", "controller 2 20 9"],
            [
                '[[rules]]\nfrom = "pads"\nmatch = { channel = 2, controller = 20 }\n'
                "# what it becomes; without this line it passes unchanged\n"
                'steps = [{ map = { from = "controller 20", to = "controller expression", out = "0..127" } }]\n'
                "to = []  # write a device or a port between the brackets",
            ],
        ),
        (["clock"], ['# clock = "pads"']),
        (["start"], ['[switches]\non_start = { from = "pads", kind = "start" }']),
        (["song-position 10"], []),
    ],
)
def test_lines_for_what_was_touched(texts: list[str], lines: list[str]) -> None:
    """A switch where it can be one, and a rule of its own."""
    assert text_of(touched(*texts)) == lines


@pytest.mark.parametrize("naming", [STANDARD, Naming(middle_c=3, first_program=0)])
@given(gesture=st.lists(ANY_MESSAGE, min_size=1, max_size=8))
def test_every_block_can_be_put_into_a_rule_file(naming: Naming, gesture: list[bytes]) -> None:
    """Our own reader takes each block, and the rule of a control takes what was played."""
    for control in controls(gesture):
        found = text_of(control, naming)
        for text in found:
            read(text, naming=naming)
        if any("[[rules]]" in text for text in found):
            ruleset = read(found[-1], naming=naming).ruleset
            assert any(is_taken(ruleset, message) for message in gesture if message[0] < 0xF8)


def is_taken(ruleset: RuleSet, message: bytes) -> bool:
    """Whether the rule takes a message."""
    return any(line.text.endswith(": matches") for line in trace(ruleset, "pads", message, {}, STANDARD))


@given(st.lists(ANY_MESSAGE, min_size=1, max_size=8))
def test_a_switch_is_turned_by_what_was_pressed(gesture: list[bytes]) -> None:
    """The switch that is suggested waits for this key, pedal or program on this channel."""
    for control in controls(gesture):
        for text in text_of(control):
            if text.startswith("[switches]"):
                (switch,) = read(text).ruleset.switches.values()
                assert isinstance(switch, OnOffSwitch)
                assert switch.channel == (None if control.channel is None else {control.channel})
                assert control.number in (switch.note, switch.controller, switch.program)


def test_a_pedal_in_a_switch_holds() -> None:
    """On while it is down; a key or a pad goes on and off in turn."""
    for texts, mode in ((["controller 1 sustain 127"], "momentary"), (["note-on 1 C#4 3"], "toggle")):
        (switch,) = read(text_of(touched(*texts))[0]).ruleset.switches.values()
        assert isinstance(switch, OnOffSwitch)
        assert switch.mode == mode


def test_a_port_that_sends_and_receives() -> None:
    """One line for both ways; a device that only sends is an input."""
    assert port_block("pads", "Pad Box", both_ways=True).lines == ("[ports]", 'pads = "Pad Box"')
    assert port_block("pads", "Pad Box", both_ways=False).lines == ("[ports]", 'pads = { input = "Pad Box" }')


NAMES = [
    "Midi Through:Midi Through Port-0 14:0",
    "Pad Box:Pad Box MIDI 1 20:0",
    "4x4 Interface:4x4 Interface MIDI 1 24:0",
    "4x4 Interface:4x4 Interface MIDI 2 24:1",
    "Rack:Rack MIDI 1 28:0",
    "Rack:Rack MIDI 1 32:0",
]


@pytest.mark.parametrize(
    ("index", "pattern"),
    [
        (0, "Midi Through"),
        (1, "Pad Box"),
        (3, "4x4 Interface:4x4 Interface MIDI 2"),
        (4, "Rack:Rack MIDI 1 #1"),
        (5, "Rack:Rack MIDI 1 #2"),
    ],
)
def test_a_pattern_is_short_and_means_one_port(index: int, pattern: str) -> None:
    """The device alone, the whole name, or the whole name and which of the equal ones; never the numbers of ALSA."""
    assert pattern_for(index, NAMES) == pattern


@example([" 1:1"])
@given(st.lists(st.text(min_size=1, max_size=6, alphabet="aA:* #1?"), min_size=1, max_size=5))
def test_a_pattern_never_means_another_port(names: list[str]) -> None:
    """Whatever ports are called, the pattern finds the one, or is only its name."""
    for index, name in enumerate(names):
        pattern = pattern_for(index, names)
        assert find_port(pattern, names) == Found(index) or pattern == name


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        ("Pad Box", "pad_box"),
        ("4x4 Interface:4x4 Interface MIDI 2", "port_4x4_interface_midi_2"),
        ("Rack:Rack MIDI 1 #2", "rack_midi_1_2"),
        ("not", "port_not"),
        ("***", "port"),
        ("Klavier für Ülo", "klavier_f_r_lo"),
    ],
)
def test_names_for_ports(pattern: str, name: str) -> None:
    """Small letters, digits and _, a letter first, none of the words of conditions."""
    assert port_name(pattern, ()) == name


@given(st.text(max_size=40))
def test_any_port_gets_a_name_that_can_be_used(pattern: str) -> None:
    """Our own reader takes it, and two ports never get the same."""
    name = port_name(pattern, ())
    other = port_name(pattern, {name})
    assert other != name
    lines = [*port_block(name, "A", both_ways=True).lines, port_block(other, "B", both_ways=False).lines[1]]
    assert list(read_rule_set([("learned.toml", "\n".join(lines).encode())]).ruleset.ports) == [name, other]


@given(
    st.recursive(
        st.booleans() | st.integers(-999, 999) | st.text(st.characters(exclude_categories=["Cs", "Cc"])),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.text(st.characters(codec="ascii", exclude_categories=["Cc"])), inner, max_size=3)
        ),
        max_leaves=8,
    )
)
def test_values_are_written_as_toml(value: Any) -> None:
    """Python's own reader gives them back."""
    assert tomllib.loads(f"it = {toml(value)}") == {"it": value}


@pytest.mark.parametrize("text", ["a\nb", "a\x00b", "a\x7fb", "a\ud800b"])
def test_letters_that_toml_can_not_hold(text: str) -> None:
    """They become ?, which stands for any letter in a pattern."""
    assert toml(text) == '"a?b"'
