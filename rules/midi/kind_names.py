"""Other words for kinds of message: synonyms, which are understood, and words that only lead to the right one."""

from __future__ import annotations

from collections.abc import Collection
from types import MappingProxyType
from typing import Final

from rules.midi.suggestions import did_you_mean, nearest

KIND_SYNONYMS: Final = MappingProxyType(
    {
        "cc": "controller",
        "control-change": "controller",
        "aftertouch": "channel-pressure",
        "poly-aftertouch": "key-pressure",
        "program-change": "program",
        "notes": "note",
    }
)
"""Understood besides the names of MIDI 1.0, wherever a kind is read; never written."""

_OTHER_WORDS: Final = MappingProxyType(
    {
        "bend": "pitch-bend",
        "pitch-wheel": "pitch-bend",
        "pitchbend": "pitch-bend",
        "mode": "channel-mode",
        "pressure": "channel-pressure",
        "poly-pressure": "key-pressure",
        "polytouch": "key-pressure",
        "patch": "program",
        "pc": "program",
        "exclusive": "sysex",
        "time-code": "mtc",
    }
)


def kind_named(word: str) -> str:
    """The kind that a word means: for a synonym the name of MIDI 1.0, any other word as it is."""
    return KIND_SYNONYMS.get(word, word)


def kind_hint(word: str, known: Collection[str]) -> str:
    """` - did you mean "x"?` for the one of the `known` kinds that another word, or a misspelt one, means."""
    meant = _OTHER_WORDS.get(word.lower())
    return did_you_mean(meant) if meant is not None and meant in known else nearest(word, known)
