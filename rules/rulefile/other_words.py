"""Words of other habits in a rule file: none of them is understood, and the error names the one that is.

Kinds of message have a table of their own, `rules.midi.kind_names`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import Final

from rules.fields.conditions import Condition
from rules.steps.registry import STEP_KEYS

_CONDITIONS: Final = frozenset(Condition.model_fields)

_KEYS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "always": ("fixed",),
        "amount": ("by",),
        "catch_up": ("chase",),
        "cc": ("controller",),
        "channel": ("rechannel",),
        "clamp": ("limit",),
        "clip": ("limit",),
        "compress": ("scale_to",),
        "curve": ("points", "velocity"),
        "default": ("initial",),
        "destination": ("to",),
        "device": ("to", "port"),
        "drop": ("filter",),
        "fit": ("scale_to",),
        "fixed_velocity": ("fixed",),
        "harder": ("louder",),
        "hold": ("mode", "long"),
        "in": ("from", "input"),
        "input": ("from",),
        "keep": ("pass_on", "filter"),
        "latch": ("mode",),
        "layer": ("to",),
        "loop": ("wrap",),
        "momentary": ("mode",),
        "note": ("about",),
        "notes": ("about",),
        "mode": ("set",),
        "offset": ("add",),
        "on": ("on_switch",),
        "out": ("to", "output"),
        "output": ("to",),
        "port": ("both", "from"),
        "prev": ("previous",),
        "repeats": ("times",),
        "reset": ("pass_reset",),
        "scale": ("percent",),
        "semitones": ("by",),
        "send": ("play",),
        "softer": ("quieter",),
        "source": ("from", "follow"),
        "split": ("zones",),
        "start": ("setup", "initial"),
        "step": ("advance",),
        "switch": ("when",),
        "target": ("to",),
        "tempo": ("bpm",),
        "thru": ("pass_on",),
        "title": ("name",),
        "toggle": ("mode",),
        "wire": ("connection",),
        "within": ("limit",),
    }
)
"""For each key what it may mean; the first that its table knows is meant."""

_VALUES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "5-pin": "din",
        "fold": "octave",
        "gate": "momentary",
        "hold": "momentary",
        "ignore": "drop",
        "keep": "pass",
        "latch": "toggle",
        "midi": "din",
        "wrap": "octave",
    }
)


def key_meant(key: str, known: Collection[str]) -> str | None:
    """The key of a table with the keys `known` that a key of another habit means; None for a word of no habit."""
    return next((meant for meant in _KEYS.get(key.lower(), ()) if meant in known), None)


def value_meant(value: str, known: Collection[str]) -> str | None:
    """Return the value, one of the `known`, that another word for it means; None for an unknown word."""
    meant = _VALUES.get(value.lower())
    return meant if meant in known else None


def wrapped(key: str, known: Collection[str]) -> tuple[str, ...]:
    """Return how a condition or step in place of its table is written, as in `match = { channel = ... }`, or ""."""
    found = []
    if key in _CONDITIONS and "match" in known:
        found.append(f"match = {{ {key} = ... }}")
    if key in STEP_KEYS and "steps" in known:
        found.append(f"steps = [{{ {key} = ... }}]")
    return tuple(found)
