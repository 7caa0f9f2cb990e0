"""The journal of a performance: all that came, went and was asked, as records that can be played again.

A record is (kind, time, number, data), its time in nanoseconds of one clock that never goes back. Packed, it is a head
of twelve bytes (kind, length of the data, number, time; the lowest byte first), then the data. Records only ever follow
one another, so what a killed process leaves behind is a journal with, at most, a piece of a record at its end.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from struct import Struct
from typing import Final

from rules.program.clock_orders import ClockOrder
from rules.program.switch_states import State

Record = tuple[int, int, int, bytes]
"""Kind, time (ns, 0 to 2**64 - 1), number (0 to 65535), data."""

RULES: Final = 1
"""Rules are in force from now on: JSON, a list of [file name, contents read as Latin-1]. The first begins a session."""
NAMES: Final = 2
"""What numbers mean from now on: JSON, {"players": [input ports by number], "ports": [output ports by number],
"takes": [the numbers of players that are takes]}."""
IN: Final = 3
"""A message (data) arrives from a player (number)."""
OUT: Final = 4
"""A message (data) goes out to a port (number); the time is when it was due."""
LOST: Final = 5
"""The port of a player (number) has gone; data 01 (`STALLED`) if it is there, and messages of it may be missing; 02
(`ENDED`) if it was a take."""
BACK: Final = 6
"""An output, our name for it as data in UTF-8, is there again."""
TURN: Final = 7
"""A switch is turned by command: JSON, [switch, state]."""
PANIC: Final = 8
"""Everything is silenced; data 01 if every key gets its note-off."""
LEFT: Final = 9
"""The session ends."""
WALL: Final = 10
"""What the clock on the wall showed: JSON, seconds since 1970 (UTC)."""
STATE: Final = 11
"""How the switches stand, noted now and then: JSON, {switch: state}.

Right behind the first RULES it says how they stood at the beginning."""
RECORDED: Final = 12
"""The recording went on until this time, though nothing happened; data 01 (`TRIMMED`) if silence at its end may go."""

STALLED: Final = b"\x01"
"""The data of a LOST record of a daemon that could not run for a while: what was let go meanwhile is not known."""
RENAMED: Final = 13
"""An input has another name in the RULES that follow at once: JSON, [old, new]."""
ORDER: Final = 15
"""Our clock is asked for something by command: JSON, a word of `rules.program.clock_orders` or a tempo (BPM)."""
SKIPPED: Final = 16
"""Our clock left out what was due since a time: JSON, ns."""
TEMPO: Final = 17
"""Our tempo and whether our clock runs a song, noted when they change: JSON, [BPM, bool].

It is for who reads a journal that lacks its beginning: a replay from there finds out by itself."""

TRIMMED: Final = b"\x01"
"""The data of a RECORDED record of a recording that nobody ended on purpose: it lasts until its last message, or for
as long as something is held."""

ENDED: Final = b"\x02"
"""The data of a LOST record of a take that plays no more."""
TAKE: Final = 14
"""A take plays as an input, our name for it as data in UTF-8, from now on: with a hand of its own, as a player of its
own (number)."""

RECORD_KINDS: Final = frozenset(range(RULES, TEMPO + 1))

LASTING: Final = frozenset({RULES, NAMES, WALL, STATE, TEMPO})
"""What holds until the next record of its kind: a reader that begins in the midst of a journal needs the last ones."""

HEAD: Final = b"pointsman journal 1\n"
"""How a journal's file begins; the records follow."""

_RECORD: Final = Struct("<BBHQ")
_LENGTH: Final = Struct("<I")
_LONG: Final = 0xFF  # in place of a length: four bytes behind the head tell it


def pack(record: Record) -> bytes:
    """A record as bytes. Raises ValueError for a kind, time or number outside its range."""
    kind, time, number, data = record
    length = len(data)
    if kind not in RECORD_KINDS or not 0 <= time < 1 << 64 or not 0 <= number < 1 << 16:
        raise ValueError(f"a record of kind {kind}, time {time}, number {number}: outside what a journal holds")
    if length < _LONG:
        return _RECORD.pack(kind, length, number, time) + data
    return _RECORD.pack(kind, _LONG, number, time) + _LENGTH.pack(length) + data


def unpack(data: bytes, begin: int = 0) -> Iterator[Record]:
    """Yield every whole record from `begin` on, up to the first that isn't one.

    The last may have been torn off by the end of the process. Zeros, as a power cut leaves them, are no records.
    """
    for record, _ in unpack_with_ends(data, begin):
        yield record


def unpack_with_ends(data: bytes, begin: int = 0) -> Iterator[tuple[Record, int]]:
    """Yield the same records, each with the place where it ends in `data`."""
    at, finish = begin, len(data)
    unpack_from = _RECORD.unpack_from
    while at + _RECORD.size <= finish:
        kind, length, number, time = unpack_from(data, at)
        at += _RECORD.size
        if length == _LONG:
            if at + _LENGTH.size > finish:
                return
            (length,) = _LENGTH.unpack_from(data, at)
            at += _LENGTH.size
        end = at + length
        if end > finish or kind not in RECORD_KINDS:
            return
        yield (kind, time, number, data[at:end]), end
        at = end


def torn_record(data: bytes, at: int) -> tuple[int, bytes]:
    """The length that the torn record at `at` was to have (0 if that is torn, too), and what there is of its data."""
    head = data[at : at + _RECORD.size]
    if len(head) < _RECORD.size:
        return 0, b""
    at += _RECORD.size
    length = head[1]
    if length == _LONG:
        if at + _LENGTH.size > len(data):
            return 0, b""
        (length,) = _LENGTH.unpack_from(data, at)
        at += _LENGTH.size
    return length, data[at:]


@dataclass(frozen=True, slots=True)
class Names:
    """What the numbers in records mean: input ports by number of player, output ports by number of port.

    `takes` are the players that are takes: each plays as the input port that it has the name of.
    """

    players: tuple[str, ...] = ()
    ports: tuple[str, ...] = ()
    takes: frozenset[int] = frozenset()

    def player(self, number: int) -> str:
        """The name of an input port, also of one that the journal doesn't tell."""
        return self.players[number] if number < len(self.players) else f"input {number + 1}"

    def port(self, number: int) -> str:
        """The name of an output port, also of one that the journal doesn't tell."""
        return self.ports[number] if number < len(self.ports) else f"output {number + 1}"


NO_NAMES: Final = Names()
"""Before any name is known."""


def names_data(names: Names) -> bytes:
    """The data of a NAMES record."""
    told = {"players": names.players, "ports": names.ports}
    return json.dumps({**told, "takes": sorted(names.takes)} if names.takes else told).encode()


def names_in(data: bytes) -> Names:
    """Return what a NAMES record tells."""
    told = json.loads(data)
    return Names(tuple(told["players"]), tuple(told["ports"]), frozenset(told.get("takes", ())))


def rules_data(texts: tuple[tuple[str, bytes], ...]) -> bytes:
    """The data of a RULES record: rule files by name, their bytes kept as they are."""
    return json.dumps([[name, content.decode("latin-1")] for name, content in texts]).encode()


def rules_in(data: bytes) -> tuple[tuple[str, bytes], ...]:
    """The rule files of a RULES record."""
    return tuple((name, content.encode("latin-1")) for name, content in json.loads(data))


def state_data(states: Mapping[str, State]) -> bytes:
    """The data of a STATE record."""
    return json.dumps(dict(states)).encode()


def state_in(data: bytes) -> dict[str, State]:
    """Return how the switches stand by a STATE record."""
    return dict(json.loads(data))


def turn_data(switch: str, state: State) -> bytes:
    """The data of a TURN record."""
    return json.dumps([switch, state]).encode()


def turn_in(data: bytes) -> tuple[str, State]:
    """The switch of a TURN record, and how it is to stand."""
    switch, state = json.loads(data)
    return switch, state


def order_data(order: ClockOrder) -> bytes:
    """The data of an ORDER record."""
    return json.dumps(order).encode()


def order_in(data: bytes) -> ClockOrder:
    """Return what an ORDER record asks for."""
    order: ClockOrder = json.loads(data)
    return order


def skipped_data(begin: int) -> bytes:
    """The data of a SKIPPED record."""
    return json.dumps(begin).encode()


def skipped_in(data: bytes) -> int:
    """Return since when our clock left out what was due, by a SKIPPED record."""
    return int(json.loads(data))


def tempo_data(bpm: float, *, is_running: bool) -> bytes:
    """The data of a TEMPO record."""
    return json.dumps([bpm, is_running]).encode()


def tempo_in(data: bytes) -> tuple[float, bool]:
    """Return our tempo (BPM) by a TEMPO record, and whether our clock runs a song."""
    bpm, is_running = json.loads(data)
    return float(bpm), bool(is_running)


def renamed_data(old: str, new: str) -> bytes:
    """The data of a RENAMED record."""
    return json.dumps([old, new]).encode()


def renamed_in(data: bytes) -> tuple[str, str]:
    """The old and the new name of a RENAMED record."""
    old, new = json.loads(data)
    return old, new


def wall_data(seconds: float) -> bytes:
    """The data of a WALL record."""
    return json.dumps(seconds).encode()


def wall_in(data: bytes) -> float:
    """The seconds since 1970 (UTC) that a WALL record tells."""
    return float(json.loads(data))
