"""Variable-length quantities: numbers of 0 to 0x0FFFFFFF in one to four bytes, seven bits each, the highest first.

Source: Standard MIDI Files 1.0 (RP-001), "Conventions". A number may be padded with leading 80 bytes; readers accept
that, so the length in bytes is part of what a lossless reader keeps.
"""

from __future__ import annotations

from typing import Final

from rules.errors import MidiFileError

LARGEST: Final = 0x0FFFFFFF
"""The largest number that four bytes hold."""


def encode(number: int) -> bytes:
    """Return the shortest form of `number` (0 to 0x0FFFFFFF). Raises ValueError outside that range."""
    if not 0 <= number <= LARGEST:
        raise ValueError(f"{number} doesn't fit a variable-length quantity: 0 to {LARGEST} is allowed")
    if number < 0x80:
        return bytes((number,))
    form = bytearray((number & 0x7F,))
    number >>= 7
    while number:
        form.append(0x80 | number & 0x7F)
        number >>= 7
    form.reverse()
    return bytes(form)


def decode(data: bytes, at: int, base: int = 0) -> tuple[int, int]:
    """Read the number at `data[at]`; return it and the position after it.

    Raises IndexError where the data ends before the number does, and MidiFileError for a number of five bytes and
    more; `base` is where `data` begins in the file, so that the error names the byte in the file.
    """
    number = 0
    for here in range(at, at + 4):
        byte = data[here]
        number = number << 7 | byte & 0x7F
        if byte < 0x80:
            return number, here + 1
    raise MidiFileError(base + at, "a variable-length number of five bytes or more; at most four are allowed")
