"""What happens at one moment of a take: what sounds there, what each message becomes, and where it goes.

The take is played through the rules up to that moment, so that switches, held notes and delays are as they are there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from rules.analysis.trace import Tracer
from rules.analysis.trace_line import TraceLine
from rules.analysis.trace_sequence import ends_note, story
from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.engine.held import held_for, held_keys
from rules.engine.player import Player
from rules.errors import MidiFileError
from rules.midi.messages import ACTIVE_SENSING, CLOCK, MTC, SYSEX, is_note_off, routed_status, split_message
from rules.midi.neutral import OutputPlace
from rules.midi.notation import STANDARD, Naming
from rules.program.event import Event
from rules.program.switch_states import State
from rules.program.tables import in_key_of
from rules.rulefile.ruleset import RuleSet
from rules.smf.event_order import in_order
from rules.smf.general_route import MOST_PENDING
from rules.smf.midi_file import MidiFile
from rules.smf.tempo import TempoMap, tempo_map
from rules.smf.track_events import META, content

_PULSES = frozenset({CLOCK, ACTIVE_SENSING, MTC})
_PATTERNS = 2
"""The format whose tracks are pieces of their own."""

SoundingNote = tuple[str, int, int]
"""Port, channel (1-16) and key of a note that sounds."""


@dataclass(frozen=True, slots=True)
class TakeArrival:
    """A message of the take: its tick, track (from 0) and source, its way in lines, and what `went` out at once."""

    tick: int
    track: int
    source: str
    message: bytes
    lines: Sequence[TraceLine]
    went: tuple[tuple[str, bytes], ...]


@dataclass(frozen=True, slots=True)
class TakeDeparture:
    """A message that goes out at a tick because of an earlier message of a track (from 0), delayed or an echo."""

    tick: int
    port: str
    message: bytes
    track: int


@dataclass(frozen=True, slots=True)
class HeldInTake:
    """What a track holds since a tick: the status and number of its message, and the notes that sound of it.

    A key that was let go is among them until its delayed note-off goes out; `since` is when it was pressed. Where
    `sounds` is empty, it is a value away from rest, such as a pedal that is down; `ports` are those it is at.
    """

    since: int
    track: int
    source: str
    status: int
    number: int
    sounds: tuple[SoundingNote, ...]
    ports: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TakeMoment:
    """What is held as a stretch of time begins, how the switches are then, and what happens in it, in order."""

    held: tuple[HeldInTake, ...]
    switches: Mapping[str, State]
    happened: tuple[TakeArrival | TakeDeparture, ...]


def trace_take(
    file: MidiFile,
    sources: Sequence[str],
    ruleset: RuleSet,
    begin: int,
    end: int,
    switches: Mapping[str, State] | None = None,
    naming: Mapping[str, Naming] | None = None,
) -> TakeMoment:
    """Return what happens from tick `begin` to before tick `end`.

    `sources` has the input port of each track, `switches` the states at the beginning of the take (the others are at
    their initial ones), `naming` how the rule file of each port counts notes. Raises MidiFileError for format 2, and
    where too much is delayed at once; KeyError or ValueError for switches and states that don't exist.
    """
    if file.format == _PATTERNS:
        raise MidiFileError(file.begin + 8, "a file of format 2 holds pieces without a common time: export each one")
    reader = _TakeReader(ruleset, sources, tempo_map(file, bpm=ruleset.bpm), begin, naming or {})
    for switch, state in (switches or {}).items():
        reader.engine.word = reader.engine.layout.turned(reader.engine.word, switch, state)
    for batch in in_order([file.events(track) for track in file.tracks]):
        for tick, track, event in batch:
            if tick >= end:
                return reader.moment(end)
            if len(reader.engine.scheduler) > MOST_PENDING:
                raise MidiFileError(file.tracks[track].body + event[1], "too many messages are delayed at once")
            if event[4][0] != META:
                reader.take(tick, track, event[4] if event[4][0] < SYSEX else event[4][:1] + content(event[4]))
    reader.close()
    return reader.moment(end)


class _TakeReader:
    def __init__(
        self,
        ruleset: RuleSet,
        sources: Sequence[str],
        times: TempoMap,
        begin: int,
        naming: Mapping[str, Naming],
    ) -> None:
        self.engine = Engine(compile_rules(ruleset), lambda tick, delay: times.ticks_after(tick, delay.ms, delay.beats))
        self._ruleset = ruleset
        self._sources = sources
        self._begin = begin
        self._naming = {source: naming.get(source, STANDARD) for source in sources}
        self._tracers = {source: Tracer(ruleset, source, naming) for source, naming in self._naming.items()}
        self._since: dict[tuple[int, int], int] = {}
        self._start: tuple[tuple[HeldInTake, ...], dict[str, State]] | None = None
        self._happened: list[TakeArrival | TakeDeparture] = []
        self._last = 0
        for source in sources:
            self.engine.add_player(source)

    def take(self, tick: int, track: int, message: bytes) -> None:
        """Play one message of a track."""
        out: list[Sent] = []
        self._last = tick
        self._advance(tick)
        if tick < self._begin:
            self._note_press(track, message, tick)
            self.engine.feed(track, message, tick, out)
            return
        states, is_end = self._states(), ends_note(self.engine, track, message)
        self.engine.feed(track, message, tick, out)
        if routed_status(message) in _PULSES:
            return
        source = self._sources[track]
        went = [(self.engine.pipeline.ports[target], data) for target, data, _, _ in out]
        lines = story(self._tracers[source].lines(message, states), went, self._naming[source], is_end=is_end)
        self._happened.append(TakeArrival(tick, track, source, message, lines, tuple(went)))

    def close(self) -> None:
        """Let steps end what they keep going: the take is over."""
        out: list[Sent] = []
        self.engine.close(self._last, out)
        if self._last >= self._begin:
            self._depart(out)

    def moment(self, end: int) -> TakeMoment:
        """Return what happened until a tick."""
        self._advance(end - 1)
        assert self._start is not None
        return TakeMoment(*self._start, tuple(self._happened))

    def _advance(self, tick: int) -> None:
        """Let time pass; what is held and how switches are is noted as the moment begins."""
        out: list[Sent] = []
        if self._start is None and tick >= self._begin:
            self.engine.advance(self._begin - 1, out)
            self._start = tuple(self._held()), self._states()
            out.clear()
        self.engine.advance(tick, out)
        if tick >= self._begin:
            self._depart(out)

    def _depart(self, out: Iterable[Sent]) -> None:
        for target, message, due, track in out:
            if routed_status(message) not in _PULSES:
                self._happened.append(TakeDeparture(due, self.engine.pipeline.ports[target], message, track))

    def _states(self) -> dict[str, State]:
        layout, word = self.engine.layout, self.engine.word
        return {name: layout.state(word, name) for name in self._ruleset.switches}

    def _note_press(self, track: int, message: bytes, tick: int) -> None:
        """Note when a track begins to hold something; called before the message is played."""
        if message[0] >= SYSEX or is_note_off(message):
            return
        status, first, _ = split_message(message)
        key = track, in_key_of(status, first)
        if key[1] in held_keys(self.engine.bookkeeping, self.engine.players[track]):
            self._since.setdefault(key, tick)
        else:
            self._since[key] = tick

    def _held(self) -> Iterator[HeldInTake]:
        """Yield what each track holds that has reached a port, and what sounds on until its note-off is due.

        The earliest comes first.
        """
        found = []
        for player in self.engine.players:
            ending: dict[int, list[Event]] = {}
            for note in self.engine.bookkeeping.ending(player.number):
                ending.setdefault(note.in_key, []).append(note)
            for in_key in dict.fromkeys([*held_keys(self.engine.bookkeeping, player), *ending]):
                notes, places = held_for(self.engine.bookkeeping, player, in_key)
                notes = [note for note in notes if note.is_out] + ending.get(in_key, [])
                if notes or places:
                    found.append(self._as_held(player, in_key, notes, places))
        yield from sorted(found, key=lambda one: one.since)

    def _as_held(
        self, player: Player, in_key: int, notes: Sequence[Event], places: Sequence[OutputPlace]
    ) -> HeldInTake:
        ports = self.engine.pipeline.ports
        sounds = dict.fromkeys((ports[note.target], note.channel + 1, note.key) for note in notes)
        names = dict.fromkeys([port for port, _, _ in sounds] + [ports[place[0]] for place in places])
        # what took the fast path has 0 for a time, and nothing that it sent outlasts its key
        since = min((note.base for note in notes), default=0) or self._since.get((player.number, in_key), 0)
        source = self._sources[player.number]
        return HeldInTake(since, player.number, source, 0x80 | in_key >> 7, in_key & 0x7F, tuple(sounds), tuple(names))
