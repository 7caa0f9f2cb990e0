"""What is played for minutes: rules that follow each other, and hands that strike a key twice and let go once.

Of two inputs, `pads` goes to `box` as it comes by all rules: what was played is what is heard there, to the message.
`keys` and `pads` meet at `rack`, through steps with and without a memory.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

from rules.midi.messages import NOTE_OFF, NOTE_ON

_PORTS = [
    'keys = { input = "Keys*" }',
    'pads = { input = "Pads*" }',
    'rack = { output = "Rack*" }',
    'box = { output = "Box*" }',
]
_HEAD = """
[devices]
organ = { port = "rack", channel = 2, setup = ["program 17"] }
[switches]
up = { from = "keys", controller = "soft pedal", mode = "momentary" }
"""
_THROUGH = '[[rules]]\nname = "as it comes"\nfrom = "pads"\nto = "box"\n'
_STEPS = (
    '[[rules]]\nname = "both"\nfrom = ["keys", "pads"]\nto = "rack"\n',
    '[[rules]]\nname = "both"\nfrom = ["pads", "keys"]\nto = ["organ", "rack"]\n',
    '[[rules]]\nname = "high"\nfrom = "keys"\nsteps = [{ transpose = 12, when = "up" }, { delay = 15 }]\nto = "rack"\n'
    '[[rules]]\nname = "low"\nfrom = "pads"\nsteps = [{ rechannel = 1 }]\nto = "rack"\n',
    '[[rules]]\nname = "echo"\nfrom = "keys"\nsteps = [{ echo = { ms = 60, times = 2, decay = 10 } }]\nto = "rack"\n'
    '[[rules]]\nname = "thin"\nfrom = "pads"\nsteps = [{ thin = 20 }, { length = 40 }]\nto = "organ"\n',
    '[[rules]]\nname = "wheel"\nfrom = ["keys", "pads"]\nmatch = { kind = ["note", "controller"] }\n'
    'steps = [{ velocity = { limit = "30..110" } }, { transpose = { by = -5, outside = "octave" } }]\nto = "rack"\n',
)
RULES = tuple(
    "\n".join(["[ports]", *_PORTS[number % 4 :], *_PORTS[: number % 4]])
    + _HEAD
    + (_THROUGH + steps if number % 2 else steps + _THROUGH)
    for number, steps in enumerate(_STEPS)
)
"""Rule files with the same ports, in another order each. They follow each other in any order."""

KEYS = (36, 48, 60, 60, 61, 72, 127)
PEDALS = (64, 66, 67)


class Hand:
    """One who plays: keys on three channels, often struck twice before they are let go once, pedals and wheels."""

    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        self._notes: set[tuple[int, int]] = set()
        self._away: dict[bytes, bytes] = {}
        self.played = 0

    def plays(self, messages: int) -> Iterator[bytes]:
        """At least so many messages."""
        first = self.played
        while self.played - first < messages:
            for message in self._gesture():
                self.played += 1
                yield message

    def lets_go(self) -> Iterator[bytes]:
        """The end of all that is held."""
        for channel, key in sorted(self._notes):
            self.played += 1
            yield bytes((NOTE_OFF | channel, key, 64))
        for rest in self._away.values():
            self.played += 1
            yield rest
        self._notes.clear()
        self._away.clear()

    def _gesture(self) -> Iterator[bytes]:
        chance, channel = self._chance, self._chance.choice((0, 1, 1, 9))
        match chance.choice(("note", "note", "note", "note", "pedal", "wheel", "other")):
            case "note":
                yield from self._note(channel, chance.choice(KEYS))
            case "pedal":
                pedal, value = chance.choice(PEDALS), chance.choice((0, 127))
                yield self._moved(bytes((0xB0 | channel, pedal)), bytes((value,)), b"\0")
            case "wheel":
                yield self._moved(bytes((0xE0 | channel,)), bytes((0, chance.choice((0, 64, 64, 100)))), b"\0\x40")
            case _:
                yield bytes((0xB0 | channel, 7, chance.randrange(128)))

    def _note(self, channel: int, key: int) -> Iterator[bytes]:
        """A held key is let go, or struck once more; most are struck twice."""
        place = channel, key
        if place in self._notes and self._chance.random() < 0.6:
            self._notes.discard(place)
            yield bytes((NOTE_OFF | channel, key, self._chance.choice((0, 64))))
            return
        self._notes.add(place)
        for _ in range(self._chance.choice((1, 2, 2))):
            yield bytes((NOTE_ON | channel, key, self._chance.randrange(1, 128)))

    def _moved(self, what: bytes, value: bytes, rest: bytes) -> bytes:
        if value == rest:
            self._away.pop(what, None)
        else:
            self._away[what] = what + rest
        return what + value
