"""How the clock is that counts, in words: for `status`, `clock` and `tap`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from router.text.formatting import plain

_OWN: Final = "own"


def tempo_words(clock: Mapping[str, Any]) -> str:
    """Return the tempo, and what sets it."""
    source = clock["from"]
    if source is None:
        return f"{clock['bpm']:g} BPM; no clock arrives"
    if clock["take"]:
        return f"{clock['bpm']:g} BPM, from the recording that plays as {plain(source)}"
    return f"{clock['bpm']:g} BPM, from the clock of {'Pointsman' if source == _OWN else plain(source)}"


def has_other_master(clock: Mapping[str, Any]) -> bool:
    """Return whether another clock than ours sets the tempo, so that nothing we ask for does."""
    return clock["from"] not in (None, _OWN)


def while_it_does(clock: Mapping[str, Any]) -> str:
    """Return until when that is so."""
    return f"while {'the recording plays' if clock['take'] else 'that clock runs'}"


def place_words(clock: Mapping[str, Any]) -> str | None:
    """Return where the clock is since its start: bar and quarter note, counted from 1; None where nothing says it.

    A take has bars of its own, which `playing` in the status tells.
    """
    if clock["beats"] is None or clock["take"]:
        return None
    bar, beat = divmod(int(clock["beats"]), clock["beats_a_bar"])
    return f"{'runs' if clock['running'] else 'stopped'}, bar {bar + 1}, beat {beat + 1}"
