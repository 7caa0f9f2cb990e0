"""What goes out, comes back and goes out again."""

from __future__ import annotations

import pytest

from tests.support.found import found, shown, told

RIG = """
[ports]
keys = { input = "Pit Keyboard*" }
pads = { input = "Pad Board*" }
rack = { output = "Pit Interface*1" }
[devices]
organ = { port = "rack", channel = 4, returns = "keys" }
other = { port = "rack", channel = 5 }
[[rules]]
name = "one"
from = "keys"
"""


def test_a_device_that_is_wired_back() -> None:
    """What its port sends comes back to the keys, and the rule sends it again."""
    (finding,) = found(RIG + 'match = { channel = "1..4" }\nto = "organ"\n', "loop")
    assert (finding.place.words, finding.label, finding.severity) == ('device "organ"', "loop: keys", "mistake")
    assert finding.text == 'What goes to "organ" comes back on "keys", and goes out again from there.'
    assert shown(finding) == "note-on 1 C4 100 from keys"


@pytest.mark.parametrize(
    "rules",
    [
        RIG + 'match = { channel = "1..3" }\nto = "organ"\n',
        RIG.replace('from = "keys"', 'from = "pads"') + 'match = { channel = "1..4" }\nto = "organ"\n',
        RIG.replace(', returns = "keys"', "") + 'match = { channel = "1..4" }\nto = "organ"\n',
        RIG + 'match = { channel = "1..4", notes = "C4", kind = "note" }\nsteps = [{ transpose = 1 }]\nto = "organ"\n',
    ],
)
def test_what_comes_back_and_goes_nowhere(rules: str) -> None:
    """The rule doesn't match what comes back, or nothing comes back."""
    assert told(rules, "loop") == []


def test_another_device_at_a_port_that_is_wired_back() -> None:
    """A thru sends on all that its cable carries, whatever the channel."""
    assert told(RIG + 'match = { channel = "1..5" }\nto = "other"\n', "loop") == ['device "organ": loop: keys']


TWO = """
[ports]
a = { input = "Left*" }
b = { input = "Right*" }
rack = { output = "Rack*" }
box = { output = "Box*" }
[devices]
organ = { port = "rack", channel = 1, returns = "b" }
bass = { port = "box", channel = 1, returns = "a" }
[[rules]]
from = "a"
match = { channel = 1 }
to = "organ"
[[rules]]
from = "b"
match = { channel = %s }
to = "bass"
"""


def test_a_loop_over_two_devices() -> None:
    """From a to the organ, back on b, to the bass, and back on a."""
    assert told(TWO % 1, "loop") == ['device "organ": loop: b', 'device "bass": loop: a']
    assert told(TWO % 2, "loop") == []


NAMES = """
[ports]
{ports}
[[rules]]
from = "in"
match = {{ channel = 1 }}
to = "out"
"""


@pytest.mark.parametrize(
    ("ports", "severity"),
    [
        ('in = { input = "Midi Through*" }\nout = { output = "midi through" }', "mistake"),
        ('in = { input = "Thru Box" }\nout = { output = "Thru Box*" }', "mistake"),
        ('in = { input = "Midi Through*" }\nout = { output = "Midi Through Port-0" }', "mistake"),
        ('in = { input = "Cue*" }\nout = { output = "Cue Sequencer:Cue Sequencer MIDI 1" }', "doubt"),
        ('in = { input = "Cue Sequencer*" }\nout = { output = "Cue Sequencer*" }', "doubt"),
    ],
)
def test_an_output_and_an_input_of_one_name(ports: str, severity: str) -> None:
    """A through port sends back all it gets; another box may."""
    (finding,) = found(NAMES.format(ports=ports), "loop")
    assert (finding.place.words, finding.label, finding.severity) == ('port "out"', "loop: in", severity)


@pytest.mark.parametrize(
    "ports",
    [
        'in = { input = "Box*1" }\nout = { output = "Box*2" }',
        'in = { input = true, virtual = true }\nout = { output = "in", virtual = true }',
    ],
)
def test_an_output_and_an_input_of_other_names(ports: str) -> None:
    """Two sockets of one box, and ports that Pointsman makes, lead nowhere back."""
    assert told(NAMES.format(ports=ports), "loop") == []


def test_a_box_that_is_sent_to_only() -> None:
    """One port both ways makes no loop by itself."""
    rules = NAMES.format(ports='in = { input = "Keys*" }\nout = "Cue Sequencer*"')
    assert told(rules, "loop") == []
