"""What has to be known of a journal whose beginning is gone: the rules in force, and what was held by then."""

from __future__ import annotations

from typing import Final

from rules.journal.format import IN, LASTING, LOST, Record
from rules.midi.controllers import PEDALS, SWITCH_ON
from rules.midi.messages import CONTROLLER, NOTE_ON, SYSEX, split_message

_NOTE_KINDS: Final = frozenset(range(0x80, 0xA0))


class Snapshot:
    """Takes the records that are given up, in order, and keeps those that still count.

    They are few, however many there were: the last of each lasting kind, and for each input the note-ons and pedal
    presses without a release.
    """

    def __init__(self) -> None:
        self._lasting: dict[int, Record] = {}
        self._held: dict[tuple[int, int, int], Record] = {}

    def give_up(self, record: Record) -> None:
        """Take in a record that is about to be forgotten."""
        kind, _, number, data = record
        if kind == IN:
            if data[0] in _NOTE_KINDS or (data[0] & 0xF0 == CONTROLLER and data[1] in PEDALS):
                self._note(record)
        elif kind in LASTING:
            self._lasting[kind] = record
        elif kind == LOST:
            self._held = {key: held for key, held in self._held.items() if key[0] != number}

    def _note(self, record: Record) -> None:
        status, first, second = split_message(record[3])
        key = (record[2], status | 0x10, first)
        if status & 0xF0 == NOTE_ON or (status & 0xF0 == CONTROLLER and second >= SWITCH_ON):
            self._held.setdefault(key, record)
        else:
            self._held.pop(key, None)

    @property
    def lasting(self) -> list[Record]:
        """What is in force, by kind: rules first."""
        return [self._lasting[kind] for kind in sorted(self._lasting)]

    @property
    def held(self) -> list[Record]:
        """What was pressed and not let go, in the order in which it was pressed."""
        return sorted(self._held.values(), key=lambda record: record[1])


def is_played(record: Record) -> bool:
    """Return whether a record is somebody playing: a note, a controller, a sysex, but no clock and nothing of ours."""
    return record[0] == IN and record[3][0] <= SYSEX
