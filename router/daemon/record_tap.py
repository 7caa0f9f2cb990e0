"""What a watcher is told of the records that the loop logs: messages, bounded, and which notes sound."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Sequence
from typing import Final, NamedTuple

from router.daemon.sounding_notes import SoundingNote, SoundingNotes
from rules.journal.format import IN, NAMES, OUT, Names, Record, names_in
from rules.midi.messages import ACTIVE_SENSING, CLOCK, MTC

MOST_ENTRIES: Final = 32
"""Messages that one look tells, the last ones: more than a person can read, and little to write down for the daemon."""

_MOST_WAITING: Final = 20_000
"""Records that wait for a watcher that doesn't read; then what sounds has to be asked for again."""

_PULSES: Final = frozenset({CLOCK, ACTIVE_SENSING, MTC})
_MOST_BYTES: Final = 24


class Entry(NamedTuple):
    """A message at a port, at a time (ns); of a long sysex, how it begins."""

    time: int
    port: str
    direction: str
    data: bytes
    length: int


class RecordTap:
    """Takes records from any thread (`hear`), and gives what came of them to the thread of one watcher (`take`).

    `is_behind` says that so much was missed that `begin` must be called again.
    """

    def __init__(self) -> None:
        self.is_behind = False
        self.sounding = SoundingNotes()
        self._names = Names()
        self._guard = threading.Lock()
        self._waiting: list[Record] = []
        self._missed = 0

    def hear(self, records: Sequence[Record]) -> None:
        """Take in records."""
        with self._guard:
            if len(self._waiting) + len(records) > _MOST_WAITING:
                self._missed += len(self._waiting) + len(records)
                self._waiting = []
                self.is_behind = True
            else:
                self._waiting += records

    def begin(self, names: Names, sounding: Iterable[SoundingNote]) -> None:
        """Begin with what numbers mean, and with what sounds. Records that came earlier may follow: they don't harm."""
        self.is_behind = False
        self._names = names
        self.sounding.begin(sounding)

    def take(self, rest: Callable[[], object]) -> tuple[list[Entry], int, bool]:
        """Return the last messages, how many were skipped, and whether anything was logged, messages or not.

        `rest` is called after each small piece of work. Clock, active sensing and time code aren't among the messages.
        """
        with self._guard:
            records, self._waiting = self._waiting, []
            skipped, self._missed = self._missed, 0
        told: list[Record] = []
        for record in records:
            kind, time, number, data = record
            if kind == OUT:
                self.sounding.hear(number, data, time)
            elif kind == NAMES:
                self._names = names_in(data)
            if kind in (IN, OUT) and data[0] not in _PULSES:
                told.append(record)
            rest()
        last = told[-MOST_ENTRIES:]
        return [self._entry(record) for record in last], skipped + len(told) - len(last), bool(records)

    def _entry(self, record: Record) -> Entry:
        kind, time, number, data = record
        is_in = kind == IN
        port = self._names.player(number) if is_in else self._names.port(number)
        return Entry(time, port, "in" if is_in else "out", data[:_MOST_BYTES], len(data))

    def port(self, number: int) -> str:
        """The name of an output port."""
        return self._names.port(number)
