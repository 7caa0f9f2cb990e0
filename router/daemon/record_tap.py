"""What a watcher is told of the records that the loop logs: messages, bounded, and which notes sound."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Sequence
from typing import Final

from rules.journal.format import IN, NAMES, OUT, TAKE, Names, Record, names_in
from rules.midi.messages import ACTIVE_SENSING, CLOCK, MTC, PROGRAM, RESET
from rules.midi.sounding_notes import SoundingNote, SoundingNotes

MOST_ENTRIES: Final = 32
"""Messages that one look tells, the last ones: more than a person can read, and little to write down for the daemon."""

_MOST_WAITING: Final = 20_000
"""Records that wait for a watcher that doesn't read; then what sounds has to be asked for again."""

_PULSES: Final = frozenset({CLOCK, ACTIVE_SENSING, MTC})
_MOST_BYTES: Final = 24
_PIECE: Final = 32  # records


Entry = list[int | str]
"""A message: time (µs), "in" or "out", the name of the port, the bytes in hexadecimal (24 at most), how many they are.
A list, since to make and write down anything else takes twice as long."""


class RecordTap:
    """Takes records from any thread (`hear`), and gives what came of them to the thread of one watcher (`take`).

    `is_behind` says that so much was missed that `begin` must be called again.
    """

    def __init__(self) -> None:
        self.is_behind = False
        self.sounding = SoundingNotes()
        self._names = Names()
        self._takes: dict[int, str] = {}
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

    def begin(self, ask: Callable[[], tuple[Names, Iterable[SoundingNote]]]) -> None:
        """Ask what numbers mean and what sounds, and begin with that. Earlier records may follow: they don't harm.

        What is missed after the answer was given isn't in it: then the tap is behind again.
        """
        self.is_behind = False
        self._names, sounding = ask()
        self.sounding.begin(sounding)

    def take(self, rest: Callable[[], object], offset_ns: int = 0) -> tuple[list[Entry], int, bool]:
        """Return the last messages, how many were skipped, and whether anything was logged, messages or not.

        `offset_ns` is added to their times. `rest` is called after each small piece of work. Clock, active sensing and
        time code aren't among the messages.
        """
        with self._guard:
            records, self._waiting = self._waiting, []
            skipped, self._missed = self._missed, 0
        told: list[Record] = []
        for at in range(0, len(records), _PIECE):
            told += [record for record in records[at : at + _PIECE] if self._is_message(record)]
            rest()
        last = told[-MOST_ENTRIES:]
        return [self._entry(record, offset_ns) for record in last], skipped + len(told) - len(last), bool(records)

    def _is_message(self, record: Record) -> bool:
        """Take in a record; return whether it is a message to be told."""
        kind, time, number, data = record
        if kind == OUT:
            status = data[0]
            if status < PROGRAM or status == RESET:
                self.sounding.hear(number, data, time)
            return status not in _PULSES
        if kind == IN:
            return data[0] not in _PULSES
        if kind == NAMES:
            self._names = names_in(data)
        elif kind == TAKE:
            self._takes[number] = data.decode()
        return False

    def _entry(self, record: Record, offset_ns: int) -> Entry:
        kind, time, number, data = record
        length = len(data)
        shown = data.hex() if length <= _MOST_BYTES else data[:_MOST_BYTES].hex()
        at = (time + offset_ns) // 1_000
        if kind == OUT:
            return [at, "out", self._names.port(number), shown, length]
        return [at, "in", self._takes.get(number) or self._names.player(number), shown, length]

    def port(self, number: int) -> str:
        """The name of an output port."""
        return self._names.port(number)
