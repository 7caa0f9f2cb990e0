"""How far a journal can be trusted: up to the first byte that no recording can have written.

A killed process tears the last record, and a power cut may leave zeros behind it: that is no damage, and costs nothing
that was written. All else that can't be (a message that is none, a time days away, text that can't be read) is where
disk or stick failed: what lies before it can be trusted, and what lies behind it can't.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import rules.journal.format as journal
from rules.midi.messages import LENGTH, SYSEX, message_fault

_DAY: Final = 86_400_000_000_000  # ns
_SPACE: Final = 0x20  # the first character that isn't a control character

LONGEST_PAUSE: Final = _DAY
"""How far (ns) the times of two messages that follow one another may lie apart: a silent recording is noted too."""

LONGEST_RECORDING: Final = 30 * _DAY
"""How long (ns) a recording may last."""


class Intact(NamedTuple):
    """The part of a journal that can be trusted: up to the byte `end`, counted from the beginning of the file.

    `damage` says what is wrong there; it is empty where the journal is whole, or torn.
    """

    end: int
    damage: str


def intact_part(data: bytes, begin: int = 0) -> Intact:
    """Return which part of a journal can be trusted, whose records begin at the byte `begin`."""
    written = len(data.rstrip(b"\0"))  # zeros behind that may be no part of what was recorded
    times = _Times()
    at = begin
    for (kind, time, _, content), end in journal.unpack_with_ends(data, begin):
        fault = _content_fault(kind, content) or times.fault(kind, time)
        if fault:
            return Intact(at, "" if end > written else fault)
        at = end
    return Intact(at, "" if at >= written else _fault_at_end(data, at))


class _Times:
    """The times of messages so far. Inputs are recorded as they come; outputs by when they were due, a little apart."""

    def __init__(self) -> None:
        self._first = self._latest = self._input = -1

    def fault(self, kind: int, time: int) -> str:
        """Return what is wrong with the time of the next record, in words; empty when nothing is."""
        if kind in journal.LASTING:
            return ""  # rules and names stay in force for days, and their times aren't used
        if self._first < 0:
            self._first = self._latest = time
        if kind == journal.IN:
            if time < self._input:
                return "a message came before the one that it follows"
            self._input = time
        if abs(time - self._latest) > LONGEST_PAUSE:
            return "a time more than a day away from the one before it"
        if abs(time - self._first) > LONGEST_RECORDING:
            return "a time more than 30 days away from the first one"
        self._latest = max(self._latest, time)
        return ""


def _content_fault(kind: int, content: bytes) -> str:
    """Return what is wrong with the data of a record, in words; empty when nothing is."""
    if kind in (journal.IN, journal.OUT):
        return message_fault(content)
    read = _READERS.get(kind)
    if read is None:
        return "" if len(content) <= 1 else "data where there is none"
    try:
        read(content)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return "text that can't be read"
    return ""


def _names(data: bytes) -> None:
    names = journal.names_in(data)
    for name in (*names.players, *names.ports):
        name.encode()


_READERS: Final[dict[int, Callable[[bytes], object]]] = {
    journal.RULES: journal.rules_in,
    journal.NAMES: _names,
    journal.BACK: bytes.decode,
    journal.TURN: journal.turn_in,
    journal.WALL: journal.wall_in,
    journal.STATE: journal.state_in,
    journal.RENAMED: journal.renamed_in,
    journal.TAKE: bytes.decode,
    journal.ORDER: journal.order_in,
    journal.SKIPPED: journal.skipped_in,
    journal.TEMPO: journal.tempo_in,
}


def _fault_at_end(data: bytes, at: int) -> str:
    """Return what is wrong with the last bytes, which are no whole record; empty if they are the beginning of one."""
    kind = data[at]
    if kind not in journal.RECORD_KINDS:
        return f"a record of kind {kind}, which there isn't"
    return "" if _may_be_torn(kind, *journal.torn_record(data, at)) else "a length that can't be right"


def _may_be_torn(kind: int, length: int, begun: bytes) -> bool:
    """Return whether `begun` may be the first bytes of data that was to have `length` bytes.

    A length that was damaged would take all that follows for data of its record.
    """
    begun = begun.rstrip(b"\0")
    if not begun:
        return True
    if kind in _READERS:
        return all(byte >= _SPACE for byte in begun)
    if kind not in (journal.IN, journal.OUT):
        return length <= 1
    if begun[:1] == bytes((SYSEX,)):
        return begun[1:].isascii()
    return length == LENGTH[begun[0]]
