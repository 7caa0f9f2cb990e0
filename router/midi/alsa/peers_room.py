"""The room at those who listen to an output: what doesn't fit is lost to them, with all that waits there."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from router.midi.alsa.records import Address
from rules.ports.pacing import Rate

PoolOf = Callable[[Address], tuple[int, int] | None]
"""Gives for a port how many records its client's pool holds, and how many are free; None for one without a pool."""

BufferOf = Callable[[Address], tuple[int, int] | None]
"""Gives for a device's port how many bytes its buffer holds, and how many are free; None where that isn't known."""

_PIECE: Final = 28  # bytes of a sysex in each record of a pool
_SPARE: Final = 10  # records; others may send there, too
_ASK_AGAIN_NS: Final = 500_000  # until a full pool is asked again
_ASK_DEVICE_AGAIN_NS: Final = 2_000_000  # the same of a device's buffer, which takes far longer to empty
_PLENTY: Final = 1_000  # records that may be sent where nobody listens
_DEVICE_PIECE: Final = 256  # bytes; so the kernel itself cuts what devices send
_LONGEST_PIECE: Final = 100 * _PIECE
"""Bytes; programs read into buffers of 14,000 as a rule, and what is longer gets stuck there, whatever their pool."""

_DEVICE_BURST: Final = 100
_DEVICE_RATE: Final = 10_000
"""Records that a device is trusted to take at once, and in a second, where its buffer isn't shown: it has 4,096
bytes as a rule, and loses what doesn't fit."""


class PeersRoom:
    """A limit of an output, as in `rules.ports.pacing`, but one that asks the kernel.

    `listeners` gives the ports that listen now. Without `in_pieces` a sysex goes whole.
    """

    def __init__(
        self,
        listeners: Callable[[], Iterable[Address]],
        pool_of: PoolOf,
        buffer_of: BufferOf = lambda port: None,
        in_pieces: bool = True,
    ) -> None:
        self._in_pieces = in_pieces
        self._listeners = listeners
        self._pool_of = pool_of
        self._buffer_of = buffer_of
        self._devices = Rate(_DEVICE_BURST, _DEVICE_RATE)
        self._has_devices = False
        self._trusts_devices = False
        self._room = 0
        self._is_empty = False
        self._smallest = 0

    @property
    def piece(self) -> int | None:
        """How long (bytes) the pieces of a sysex are: half of the smallest pool, and less for devices."""
        if not self._in_pieces:
            return None
        self._ask()
        program = max(self._smallest // 2, 1) * _PIECE
        return min(program, _DEVICE_PIECE if self._has_devices else _LONGEST_PIECE)

    def when(self, message: bytes, now: int) -> int:
        """Now if it fits; a message that never fits goes when nothing else waits there."""
        needed = _records(message)
        if needed > self._room:
            self._ask()
        if needed > self._room and not self._is_empty:
            return now + (_ASK_DEVICE_AGAIN_NS if self._has_devices else _ASK_AGAIN_NS)
        return self._devices.when(message, now) if self._trusts_devices else now

    def spend(self, message: bytes, now: int, times: int = 1) -> None:
        """Count a message, which takes its room."""
        self._room -= _records(message) * times
        if self._trusts_devices:
            self._devices.spend(message, now, times)

    def room(self, now: int) -> int:
        """Return how many short messages fit."""
        self._ask()
        return max(0, min(self._room, self._devices.room(now)) if self._trusts_devices else self._room)

    def _ask(self) -> None:
        pools, buffers = [], []
        self._has_devices = self._trusts_devices = False
        for port in self._listeners():
            if (pool := self._pool_of(port)) is not None:
                pools.append(pool)
                continue
            self._has_devices = True
            if (buffer := self._buffer_of(port)) is not None:
                buffers.append(buffer)
            else:
                self._trusts_devices = True
        rooms = [free - min(_SPARE, size // 4) for size, free in pools] + [free // _PIECE - 1 for _, free in buffers]
        self._room = min(rooms, default=_PLENTY)
        self._smallest = min((size for size, _ in pools), default=_PLENTY)
        self._is_empty = all(size == free for size, free in pools + buffers)


def _records(message: bytes) -> int:
    return 1 if len(message) <= 3 else 1 - (-len(message) // _PIECE)
