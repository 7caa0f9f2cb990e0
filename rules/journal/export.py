"""A journal as a Standard MIDI File: what was played, ready for a sequencer.

Each port that had something to say has a track of its own, inputs first ("keys in", "rack1 out"). The first track holds
the tempo and the transport of the clock as markers. A file can't hold what only makes sense while it happens (clock,
active sensing, time code, system reset), so that is left out; sysex is kept whole. What an input that is lost held,
ends where it was lost, as it did at the outputs. A take begins with its first message, and ends when the recording
ended (`journal.RECORDED`), so that what was held to the end sounds to the end.

Source: Standard MIDI Files 1.0 (RP-001).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import rules.journal.format as journal
from rules.errors import RuleFileError
from rules.journal.beat_grid import TICKS_A_BEAT, Grid, beat_runs, blur_of
from rules.journal.format import Names, unpack
from rules.midi.controllers import EVERY_NOTE_ENDS, PEDALS, SWITCH_ON
from rules.midi.messages import (
    ACTIVE_SENSING,
    CLOCK,
    CONTINUE,
    CONTROLLER,
    NOTE_OFF,
    NOTE_ON,
    OFF_VELOCITY,
    SONG_POSITION,
    START,
    STOP,
    SYSEX,
    split_message,
)
from rules.rulefile.clock_table import OWN
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import DEFAULT_BPM
from rules.smf.chunks import END
from rules.smf.track_events import MARKER, META, SET_TEMPO, TRACK_NAME
from rules.smf.vlq import encode
from rules.smf.writing import TrackWriter, stored
from rules.timing.active_sensing import Sensing
from rules.timing.delays import NANOSECONDS_PER_MINUTE, NEVER
from rules.timing.midi_clock import CLOCKS_A_BEAT

_MARKERS: Final = {START: b"start", CONTINUE: b"continue", STOP: b"stop"}
_CLOCKWORK: Final = frozenset({CLOCK, SONG_POSITION, *_MARKERS})
_NO_MOMENTS: Final = journal.LASTING | {journal.RECORDED}  # their times are from long before, or a moment after

Held = tuple[int, int]
"""What has to be let go: the status of its note-on or pedal message, and key or controller."""


@dataclass(frozen=True, slots=True)
class TakeTrack:
    """A track of a take: its port's name with "in" or "out", whether that is an input, how many messages it holds, and
    how many notes and pedals were still held at the end and are let go there."""

    name: str
    is_input: bool
    messages: int
    held: int


@dataclass(frozen=True, slots=True)
class Take:
    """A recording: the bytes of the .mid file, its tracks (without the one for tempo), and how long it lasts."""

    data: bytes
    tracks: tuple[TakeTrack, ...]
    seconds: float

    @property
    def messages(self) -> int:
        """How many messages were recorded."""
        return sum(track.messages for track in self.tracks)

    @property
    def played(self) -> bool:
        """Whether anybody played, or only we had something to send."""
        return any(track.is_input for track in self.tracks)

    @property
    def held(self) -> int:
        """How many notes and pedals were still held at the end. The file lets them go, so that none gets stuck.

        They are those of the players. What the rules made of them counts only where no player held anything any more.
        """
        by_players = sum(track.held for track in self.tracks if track.is_input)
        return by_players or sum(track.held for track in self.tracks)


def make_take(data: bytes, begin: int = 0) -> Take:
    """The take of a journal, whose records lie in `data` from `begin` on; a torn end is left out."""
    overview = _Overview(unpack(data, begin))
    clock = overview.clock
    grid = Grid(overview.begin, int(NANOSECONDS_PER_MINUTE / Fraction(overview.bpm)), beat_runs(clock), blur_of(clock))
    tracks: dict[tuple[int, int], _TrackBuilder] = {}
    lost_at = 0
    for kind, time, number, message in _with_silent_losses(unpack(data, begin), overview.recorded):
        if kind == journal.LOST:
            if lost := tracks.get((journal.IN, number)):
                lost.let_go(grid.tick(time))
                lost_at = time
        elif kind in (journal.IN, journal.OUT) and (message[0] <= SYSEX):
            track = tracks.get((kind, number))
            if track is None:
                track = tracks[kind, number] = _TrackBuilder(overview.names, kind, number)
            track.put(grid.tick(time), message)
    parts = [tracks[key] for key in sorted(tracks)]
    summaries = tuple(part.summary for part in parts)  # before the end lets go of what they hold
    last = overview.recorded if any(part.held for part in summaries) else max(overview.end, lost_at)
    end = max((grid.tick(last), *(track.tick for track in tracks.values())))
    bodies = [_conductor(grid, clock, end), *(track.ended(end) for track in parts)]
    return Take(_file(bodies), summaries, (last - overview.begin) / 1e9)


def _with_silent_losses(records: Iterable[journal.Record], end: int) -> Iterator[journal.Record]:
    """Yield the records, and a LOST for each input that fell silent by its active sensing before `end` (ns).

    The journal has a LOST only for cables: a replay finds the others lost by itself.
    """
    sensing = Sensing()

    def silent(time: int) -> Iterator[journal.Record]:
        while (due := sensing.due) <= min(time, NEVER - 1):
            for player in sensing.lost():
                yield journal.LOST, due, player, b""

    for record in records:
        kind, time, number, message = record
        if kind not in _NO_MOMENTS:
            yield from silent(time)
        if kind == journal.LOST:
            sensing.forget(number)
        elif kind == journal.IN:
            sensing.hear(number, time)
            if message[0] == ACTIVE_SENSING:
                sensing.promise(number, time)
        yield record
    yield from silent(end)


class _Overview:
    """A first look at a journal: when it begins and ends, whose clock it follows, and what its numbers mean.

    `end` is when the take ends where nothing is held, `recorded` until when it was recorded.
    """

    def __init__(self, records: Iterable[journal.Record]) -> None:
        self.names = Names()
        self.begin = -1
        self.end = self.recorded = 0
        self._clocks: dict[int, list[tuple[int, bytes]]] = {}
        self._sent_clocks: dict[int, list[tuple[int, bytes]]] = {}
        texts: tuple[tuple[str, bytes], ...] = ()
        for kind, time, number, data in records:
            if kind == journal.RULES:
                texts = texts or journal.rules_in(data)
            elif kind == journal.NAMES:
                self.names = journal.names_in(data)
            elif kind in (journal.IN, journal.OUT):
                self.begin = time if self.begin < 0 else min(self.begin, time)
                if data[0] in _CLOCKWORK:
                    clocks = self._clocks if kind == journal.IN else self._sent_clocks
                    clocks.setdefault(number, []).append((time, data))
            if kind == journal.RECORDED and data == journal.TRIMMED:
                self.recorded = max(self.recorded, time)
            elif kind not in journal.LASTING:
                self.end = max(self.end, time)
        self.begin = max(self.begin, 0)
        self.end = max(self.begin, self.end)
        self.recorded = max(self.end, self.recorded)
        self._own: frozenset[str] = frozenset()
        self.bpm = DEFAULT_BPM
        try:
            ruleset = read_rules(texts)
        except RuleFileError:  # the rules of an older version, perhaps: the music is still the music
            return
        self.bpm = ruleset.bpm
        self._own = frozenset(name for name, port in ruleset.ports.items() if port.clock == OWN)

    @property
    def clock(self) -> list[tuple[int, bytes]]:
        """What the clock to follow sent, if that was more than a beat: ours where an output hears it, else that of the
        first input in the rule files."""
        ours = [sent for number, sent in sorted(self._sent_clocks.items()) if self.names.port(number) in self._own]
        for sent in (*ours, *(sent for _, sent in sorted(self._clocks.items()))):
            if sum(message[0] == CLOCK for _, message in sent) > CLOCKS_A_BEAT:
                return sent
        return []


class _TrackBuilder:
    """The track of one port in the making."""

    def __init__(self, names: Names, kind: int, number: int) -> None:
        self._is_input = kind == journal.IN
        played = ", take" if number in names.takes else ""
        self._name = f"{names.player(number)} in{played}" if self._is_input else f"{names.port(number)} out"
        self._writer = TrackWriter(b"")
        self._writer.put(0, _meta(TRACK_NAME, self._name.encode()))
        self._messages = 0
        self._held: dict[Held, None] = {}  # in the order in which they are let go

    @property
    def tick(self) -> int:
        """The tick of the last event."""
        return self._writer.tick

    @property
    def summary(self) -> TakeTrack:
        """What there is to say about it."""
        return TakeTrack(self._name, self._is_input, self._messages, len(self._held))

    def put(self, tick: int, message: bytes) -> None:
        """Add a message; one that is due a little before the last one comes right after that."""
        self._messages += 1
        self._writer.put(max(tick, self._writer.tick), stored(message))
        self._note(message)

    def _note(self, message: bytes) -> None:
        """Keep what is held. A note-off ends its note, however often that was struck (ruling 10)."""
        status, first, second = split_message(message)
        kind = status & 0xF0
        if kind == NOTE_ON:
            self._held[status, first] = None
        elif kind == NOTE_OFF:
            self._held.pop((status | 0x10, first), None)
        elif kind == CONTROLLER and first in PEDALS:
            self._held.pop((status, first), None)
            if second >= SWITCH_ON:
                self._held[status, first] = None
        elif kind == CONTROLLER and first in EVERY_NOTE_ENDS:
            note_on = NOTE_ON | status & 0x0F
            self._held = {held: None for held in self._held if held[0] != note_on}

    def let_go(self, tick: int) -> None:
        """End all that is held, at the tick or right after the last event."""
        tick = max(tick, self._writer.tick)
        for status, first in self._held:
            is_note = status & 0xF0 == NOTE_ON
            release = bytes((status & 0x8F, first, OFF_VELOCITY)) if is_note else bytes((status, first, 0))
            self._writer.put(tick, release)
        self._held.clear()

    def ended(self, end: int) -> bytes:
        """The whole track, everything held let go at its end."""
        self.let_go(end)
        return _ended(self._writer, end)


def _conductor(grid: Grid, clock: Iterable[tuple[int, bytes]], end: int) -> bytes:
    """The first track: tempo, and what the transport did."""
    events = [(tempo.tick, _meta(SET_TEMPO, tempo.beat.to_bytes(3))) for tempo in grid.tempos()]
    events += _markers(grid, clock)
    writer = TrackWriter(b"")
    for tick, event in sorted(events, key=lambda event: event[0]):
        writer.put(tick, event)
    return _ended(writer, max(end, writer.tick))


def _markers(grid: Grid, clock: Iterable[tuple[int, bytes]]) -> Iterator[tuple[int, bytes]]:
    for time, message in clock:
        if message[0] in _MARKERS:
            yield grid.tick(time), _meta(MARKER, _MARKERS[message[0]])


def _ended(writer: TrackWriter, end: int) -> bytes:
    writer.put(end, END)
    return writer.body()


def _meta(kind: int, content: bytes) -> bytes:
    return bytes((META, kind)) + encode(len(content)) + content


def _file(bodies: Iterable[bytes]) -> bytes:
    """Format 1: one piece of music in several tracks."""
    chunks = [b"MTrk" + len(body).to_bytes(4) + body for body in bodies]
    return (
        b"MThd" + (6).to_bytes(4) + b"".join(n.to_bytes(2) for n in (1, len(chunks), TICKS_A_BEAT)) + b"".join(chunks)
    )
