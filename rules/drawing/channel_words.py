"""Channels on the lines of a picture: `ch 1-4, 10`, and what a device makes of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Final

from rules.midi.messages import SYSEX
from rules.program.forms import Form

ALL_CHANNELS: Final = 16
ARROW: Final = "\u2192"


def channels_of(forms: Iterable[Form]) -> frozenset[int]:
    """Return the channels (1-16) that forms have."""
    return frozenset(form.channel for form in forms if form.channel is not None)


def taken_words(forms: Iterable[Form]) -> str:
    """Return which messages come in, by channel, or by kind where none has a channel."""
    forms = list(forms)
    channels = channels_of(forms)
    if channels:
        return channel_words(channels)
    if any(form.status == SYSEX for form in forms):
        return "sysex"
    return "clock" if forms else "nothing"


def leaving_words(forms: Iterable[Form], channel: int | None) -> str:
    """Return which messages leave for a device with a `channel`, or for something with none of its own."""
    came = channels_of(forms)
    words = taken_words(forms)
    if channel is None or not came:
        return words
    return channel_words(came) if came == {channel} else f"{words} {ARROW} {channel}"


def channel_words(channels: Collection[int]) -> str:
    """Return channels in words: `ch 4`, `ch 1-4, 10`, `all ch`."""
    if len(channels) == ALL_CHANNELS:
        return "all ch"
    runs: list[list[int]] = []
    for channel in sorted(channels):
        if runs and channel == runs[-1][1] + 1:
            runs[-1][1] = channel
        else:
            runs.append([channel, channel])
    return "ch " + ", ".join(str(low) if low == high else f"{low}-{high}" for low, high in runs)
