"""The last minutes of what came and went, in bounded memory."""

from __future__ import annotations

import zlib
from collections import deque
from dataclasses import dataclass
from typing import Final

from rules.journal.format import Record, pack, unpack
from rules.journal.snapshot import Snapshot

_FAST: Final = 1  # a journal shrinks to a quarter at the lowest level already


@dataclass(frozen=True, slots=True)
class _Chunk:
    """Records that came between two looks, packed and compressed; `lasting` are those among them that stay in force.

    Those are compressed too, and counted: a large rule file that is saved again and again would outgrow all else.
    """

    end: int
    data: bytes
    lasting: bytes

    @property
    def size(self) -> int:
        """How many bytes it takes."""
        return len(self.data) + len(self.lasting)


class RingBuffer:
    """Keeps records of the last `limit_ns`, and of less where they'd take more than `limit_bytes`.

    What is given up leaves behind what still counts (`Snapshot`), so that a note that was pressed an hour ago and never
    let go can be told.
    """

    def __init__(self, limit_ns: int, limit_bytes: int) -> None:
        self._limit_ns = limit_ns
        self._limit_bytes = limit_bytes
        self._chunks: deque[_Chunk] = deque()
        self._kept_before = Snapshot()
        self.size = 0

    def add(self, packed: bytes, end: int, lasting: tuple[Record, ...] = ()) -> None:
        """Take packed records; `end` is the time (ns) by which they came."""
        kept = zlib.compress(b"".join(map(pack, lasting)), _FAST) if lasting else b""
        chunk = _Chunk(end, zlib.compress(packed, _FAST), kept)
        self._chunks.append(chunk)
        self.size += chunk.size
        self.trim(end)

    def trim(self, now: int) -> None:
        """Give up what is too old, or too much."""
        while self._chunks and (now - self._chunks[0].end > self._limit_ns or self.size > self._limit_bytes):
            chunk = self._chunks.popleft()
            self.size -= chunk.size
            for record in unpack(zlib.decompress(chunk.data)):
                self._kept_before.give_up(record)

    def span_ns(self, now: int) -> int:
        """Return how far (ns) it reaches back."""
        return now - self._chunks[0].end if self._chunks else 0

    def everything(self) -> bytes:
        """All records that are kept. Before them, what counts of those that are gone: what is still held, then what
        lasts, so that messages before the first rules are those that were pressed long ago."""
        return self._joined([*self._kept_before.held, *self._kept_before.lasting], self._chunks)

    def since(self, begin: int) -> bytes:
        """The records from a time (ns) on, and what came in the same chunk, after the rules and names of then."""
        lasting = {record[0]: record for record in self._kept_before.lasting}
        wanted = deque(self._chunks)
        while wanted and wanted[0].end < begin:
            chunk = wanted.popleft()
            if chunk.lasting:
                lasting.update((record[0], record) for record in unpack(zlib.decompress(chunk.lasting)))
        return self._joined([lasting[kind] for kind in sorted(lasting)], wanted)

    def _joined(self, before: list[Record], chunks: deque[_Chunk]) -> bytes:
        """In small steps: one long step would hold up the music."""
        joined = bytearray().join(map(pack, before))
        for chunk in chunks:
            joined += zlib.decompress(chunk.data)
        return bytes(joined)
