"""The rule files that are measured live, and what is played to them."""

from __future__ import annotations

from collections.abc import Sequence

SOURCES = ("keyboard", "pads", "second", "foot")
"""The inputs of the rig; the first is played, the others are idle."""

SINKS = ("stage", "rack", "lights")

_PORTS = """
[ports]
keyboard = { input = "bench-keyboard*" }
pads = { input = "bench-pads*" }
second = { input = "bench-second*" }
foot = { input = "bench-foot*" }
stage = { output = "bench-stage*" }
rack = { output = "bench-rack*" }
lights = { output = "bench-lights*" }

[devices]
piano = { port = "stage", channel = 1 }
tuba = { port = "stage", channel = 5, notes = "E1..F4", outside = "octave" }
organ = { port = "rack", channel = 2 }
kit = { port = "rack", channel = 10 }

[switches]
giant = { from = "foot", controller = "sostenuto", mode = "momentary" }
place = { values = ["garden", "cave"], set = [
  { from = "foot", program = 1, value = "garden" },
  { from = "foot", program = 2, value = "cave" },
] }
"""

_RULES = """
[[rules]]
name = "right hand"
from = "keyboard"
match = { channel = 1, notes = "C3.." }
steps = [{ velocity = { scale_to = "20..127" } }, { transpose = 12, when = "giant" }]
to = "piano"
[[rules]]
name = "left hand"
from = "keyboard"
match = { channel = 1, kind = "note", notes = "..B2" }
to = "tuba"
[[rules]]
name = "the second keyboard joins in"
from = "second"
match = { channel = 1 }
to = "piano"
[[rules]]
name = "organ"
from = ["keyboard", "second"]
match = { channel = 2 }
steps = [{ velocity = 90 }]
to = "organ"
[[rules]]
name = "organ in the cave"
from = "keyboard"
match = { channel = 2 }
when = "place = cave"
steps = [{ delay = 40 }, { transpose = 12 }]
to = "organ"
[[rules]]
name = "drums"
from = "pads"
match = { channel = 10, kind = "note" }
steps = [{ map = { notes = { C3 = "C2", D3 = "D2", E3 = "F#2" } } }]
to = "kit"
[[rules]]
name = "drums echo in the cave"
from = "pads"
match = { channel = 10, kind = "note" }
when = "place = cave"
steps = [{ echo = { beats = 0.5, times = 2, decay = 30 } }]
to = "kit"
[[rules]]
name = "swell"
from = "foot"
match = { controller = "expression" }
steps = [{ thin = 20 }, { map = { from = "controller expression", to = "controller volume", out = "40..127" } }]
to = ["piano", "organ"]
[[rules]]
name = "sustain for both"
from = "foot"
match = { controller = "sustain" }
to = ["piano", "organ"]
"""

_CUES = "".join(
    f'[[rules]]\nname = "cue {number}"\nfrom = "pads"\nmatch = {{ channel = 9, notes = {35 + number} }}\n'
    f"steps = [{{ rechannel = {number} }}]\n"
    'to = "lights"\n'
    for number in range(1, 8)
)

RIG = _PORTS + _RULES + _CUES
"""Sixteen rules between four inputs and three outputs. What is played (see `played`) goes out once, on a channel that
two sources share."""

assert RIG.count("[[rules]]") == 16


def many_rules(version: int) -> str:
    """Two hundred rules, of which what is played fits one; each version has one rule that is different."""
    rules = [
        f'[[rules]]\nname = "cell {number}"\nfrom = "pads"\n'
        f"match = {{ channel = {number % 8 + 1}, notes = {number // 8 + 20} }}\n"
        f"steps = [{{ transpose = {(number + version * (number == 7)) % 24 - 12} }}, "
        f"{{ velocity = {number % 90 + 30} }}]\n"
        'to = "rack"\n'
        for number in range(199)
    ]
    return _PORTS + '[[rules]]\nname = "all"\nfrom = "keyboard"\nto = "stage"\n' + "".join(rules)


EIGHT = tuple(f"source{number}" for number in range(1, 9))

EIGHT_SOURCES = (
    "[ports]\n"
    + "".join(f'{name} = {{ input = "bench-{name}*" }}\n' for name in EIGHT)
    + "".join(f'sink{number} = {{ output = "bench-sink{number}*" }}\n' for number in range(1, 5))
    + "".join(
        f'[[rules]]\nfrom = "{name}"\nsteps = [{{ transpose = 12 }}, {{ rechannel = {at + 1} }}]\n'
        f'to = "sink{at // 2 + 1}"\n'
        for at, name in enumerate(EIGHT)
    )
)
"""Eight sources, each on a channel of its own; two share an output."""

LATE = 50
DELAYED = f"""
[ports]
keyboard = {{ input = "bench-keyboard*" }}
stage = {{ output = "bench-stage*" }}
[[rules]]
from = "keyboard"
steps = [{{ delay = {LATE} }}]
to = "stage"
"""

TWO_PORTS = DELAYED.replace(f"steps = [{{ delay = {LATE} }}]", "")

TOO_LONG = 16_380


def sysexes(folder_of_long_one: bool) -> str:
    """Sysex as it comes; with `folder_of_long_one`, each program change sends one that JACK can't carry."""
    text = '[ports]\nkeyboard = { input = "bench-keyboard*" }\nstage = { output = "bench-stage*" }\n'
    text += '[[rules]]\nfrom = "keyboard"\nmatch = { kind = "sysex" }\nto = "stage"\n'
    if folder_of_long_one:
        body = " ".join(["00"] * (TOO_LONG - 2))
        text += '[[rules]]\nfrom = "keyboard"\nmatch = { kind = "program" }\n'
        text += f'steps = [{{ send = "sysex F0 {body} F7" }}]\nto = "stage"\n'
    return text


def played(count: int) -> list[bytes]:
    """Notes with their ends, and a controller for every four of them: what the rig gets on its first channel."""
    messages: list[bytes] = []
    number = 0
    while len(messages) < count:
        key = 60 + 7 * number % 25
        messages += [bytes((0x90, key, 20 + 11 * number % 100)), bytes((0x80, key, 64))]
        if number % 4 == 3:
            messages.append(bytes((0xB0, 11, number % 128)))
        number += 1
    return messages[:count]


def numbered(count: int) -> list[bytes]:
    """Notes with their ends, in an order in which a gap of less than 10,000 messages shows."""
    return [bytes((0x90 if at % 2 == 0 else 0x80, 30 + at // 2 % 47, 1 + at // 2 % 127)) for at in range(count)]


def numbered_out(count: int, channel: int) -> list[bytes]:
    """The same as the rules of `EIGHT_SOURCES` let it out on a channel (0 to 15)."""
    return [bytes((message[0] | channel, message[1] + 12, message[2])) for message in numbered(count)]


def missing(expected: Sequence[bytes], heard: Sequence[bytes]) -> tuple[int, int, int]:
    """How many of the expected messages weren't heard, were heard again, and were heard where they don't belong.

    A client that comes too late finds the sound server's buffer as it was a period ago, and hears that once more.
    """
    at = again = strange = found = 0
    for number, message in enumerate(heard):
        place = at
        while place < len(expected) and expected[place] != message and place - at < 5_000:
            place += 1
        if place < len(expected) and expected[place] == message:
            at = place + 1
            found += 1
        elif message in heard[max(0, number - 64) : number]:
            again += 1
        else:
            strange += 1
    return len(expected) - found, again, strange
