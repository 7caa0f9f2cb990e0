"""Tables over data bytes, and gates: sets of data bytes with a bit for each.

A table is a byte string of 256 bytes, so that `bytes.translate` joins two of them; NO_BYTE says that nothing comes of
a byte.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Final

ALL: Final = (1 << 128) - 1
"""The gate that lets every data byte through: bit n stands for byte n."""

IDENTITY: Final = bytes(range(128)) + b"\xff" * 128
NO_BYTE: Final = 255
"""What a table gives where nothing comes of a data byte."""

FIRST, SECOND = 1, 2


def gate_of(numbers: Iterable[int]) -> int:
    """The gate for a set of data bytes."""
    gate = 0
    for number in numbers:
        gate |= 1 << number
    return gate


def table_of(function: Callable[[int], int]) -> bytes:
    """The table of a function on 0-127."""
    return bytes(function(number) for number in range(128)) + b"\xff" * 128


@lru_cache(maxsize=512)
def constant(value: int) -> bytes:
    """The table that always gives one value."""
    return bytes((value,)) * 128 + b"\xff" * 128


@lru_cache(maxsize=4096)
def preimage(table: bytes, wanted: int) -> int:
    """The gate of those bytes that a table sends into the gate `wanted`."""
    if table is IDENTITY:
        return wanted
    gate = 0
    for number in range(128):
        if wanted >> table[number] & 1:
            gate |= 1 << number
    return gate


@lru_cache(maxsize=1024)
def open_in(gate: int) -> tuple[int, ...]:
    """The bytes that a gate lets through; walks the set bits only, since most gates of many rules are narrow."""
    found = []
    while gate:
        low = gate & -gate
        found.append(low.bit_length() - 1)
        gate ^= low
    return tuple(found)


@lru_cache(maxsize=4096)
def image(table: bytes, gate: int) -> int:
    """The gate of what a table makes of the bytes that a gate lets through."""
    return gate if table is IDENTITY else gate_of(table[number] for number in open_in(gate))


def _closed(table: bytes, gate: int) -> bytes:
    if gate == ALL:
        return table
    return bytes(table[n] if gate >> n & 1 else NO_BYTE for n in range(128)) + table[128:]


closed: Final = lru_cache(maxsize=8192)(_closed)
"""A table with NO_BYTE where a gate is shut."""
