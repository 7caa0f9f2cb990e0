"""Keys as frequencies, in equal temperament: the one name of a note that no octave convention changes.

Source: arithmetic from the A above middle C, key 69, at 440 Hz; MIDI 1.0 Detailed Specification 4.2.1, p.48.
"""

from __future__ import annotations

from typing import Final

CONCERT_KEY: Final = 69
CONCERT_HERTZ: Final = 440.0


def hertz(key: int) -> float:
    """The frequency of a key 0-127."""
    return float(CONCERT_HERTZ * 2 ** ((key - CONCERT_KEY) / 12))
