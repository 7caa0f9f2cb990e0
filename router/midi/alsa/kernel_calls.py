"""Calls of the ALSA sequencer that no library offers, on our own open descriptors of /dev/snd/seq.

The numbers are those of Linux, include/uapi/sound/asequencer.h.
"""

from __future__ import annotations

import contextlib
import os
import re
import struct
from collections.abc import Iterator
from typing import Final

DEVICE: Final = "/dev/snd/seq"

_CLIENT_ID: Final = 0x80045301
_GET_CLIENT_POOL: Final = 0xC058534B
_SET_CLIENT_POOL: Final = 0x4058534C
_POOL: Final = struct.Struct("6i64x")  # client, output pool, input pool, output room, output free, input free

_QUERY_SUBSCRIBERS: Final = 0xC058534F
_QUERY: Final = struct.Struct("2B2x3i2BB1xI64x")  # port asked for, kind, index; how many; the first one and how
_WRITERS: Final = 1
_READERS: Final = 0

INPUT_POOL: Final = 500
"""Messages that wait for us in the kernel: 200 of its own accord, and with more than 500 a long sysex gets stuck."""

_NUMBERS: Final = re.compile(r" (\d+):\d+$")


def client_number(name: str) -> int | None:
    """The number of the client that has a port, from the port's name."""
    found = _NUMBERS.search(name)
    return int(found[1]) if found else None


@contextlib.contextmanager
def new_client() -> Iterator[list[int]]:
    """Give the descriptors that are opened on the sequencer meanwhile, filled at the end."""
    before = _descriptors()
    made: list[int] = []
    yield made
    made += sorted(_descriptors() - before)


def _descriptors() -> set[int]:
    found = set()
    for name in os.listdir("/proc/self/fd"):
        with contextlib.suppress(OSError):
            if os.readlink(f"/proc/self/fd/{name}") == DEVICE:
                found.add(int(name))
    return found


def own_number(descriptor: int) -> int:
    """The number of the client behind a descriptor."""
    import fcntl

    number = bytearray(4)
    fcntl.ioctl(descriptor, _CLIENT_ID, number)
    return int.from_bytes(number, "little")


def is_connected(descriptor: int, is_input: bool) -> bool:
    """Return whether anybody is connected to the first port of the client behind a descriptor."""
    import fcntl

    kind = _WRITERS if is_input else _READERS
    query = bytearray(_QUERY.pack(own_number(descriptor), 0, kind, 0, 0, 0, 0, 0, 0))
    try:
        fcntl.ioctl(descriptor, _QUERY_SUBSCRIBERS, query)
    except OSError:  # nobody at this index, or the port itself has gone
        return False
    return True


def pool_of(descriptor: int, number: int) -> tuple[int, int] | None:
    """Return how many messages may wait for a client, and how many more could; None for the kernel's clients.

    `descriptor` is any of ours.
    """
    import fcntl

    pool = bytearray(_POOL.pack(number, 0, 0, 0, 0, 0))
    try:
        fcntl.ioctl(descriptor, _GET_CLIENT_POOL, pool)
    except OSError:
        return None
    size, free = _POOL.unpack(pool)[2], _POOL.unpack(pool)[5]
    return (size, free) if size else None


def enlarge_input_pool(descriptor: int) -> None:
    """Let more wait for us in the kernel; a kernel that refuses leaves it as it was."""
    import fcntl

    pool = bytearray(_POOL.pack(own_number(descriptor), 0, 0, 0, 0, 0))
    with contextlib.suppress(OSError):
        fcntl.ioctl(descriptor, _GET_CLIENT_POOL, pool)
        client, output, _, room, free, _ = _POOL.unpack(pool)
        fcntl.ioctl(descriptor, _SET_CLIENT_POOL, _POOL.pack(client, output, INPUT_POOL, room, free, 0))
