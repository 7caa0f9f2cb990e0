"""What happened in the last seconds of a journal, and why; and what is held now, by whom, and since when.

The journal is played again, so that rules, switches and ledger are known as they were at each moment. Where it lacks
its beginning, what came before is known only as far as its snapshot tells; then `History.is_certain` may be false.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import rules.journal.format as journal
from rules.analysis.trace import trace
from rules.analysis.trace_line import TraceLine
from rules.analysis.trace_sequence import ENDS_NOTE
from rules.engine.delivery import Sent
from rules.engine.held import held_for, held_keys
from rules.engine.player import Player
from rules.fields.when import written_state
from rules.journal.format import Record
from rules.journal.replay import Replay
from rules.midi.controllers import PEDALS
from rules.midi.messages import (
    ACTIVE_SENSING,
    CHANNEL_PRESSURE,
    CLOCK,
    CONTROLLER,
    KEY_PRESSURE,
    MTC,
    PITCH_BEND,
    SYSEX,
    is_note_off,
    split_message,
)
from rules.midi.neutral import rest_message
from rules.midi.notation import STANDARD, Naming
from rules.program.switch_states import State
from rules.program.tables import in_key_of
from rules.rulefile.reading import read_rule_set
from rules.rulefile.ruleset import RuleSet

_PULSES: Final = frozenset({CLOCK, ACTIVE_SENSING, MTC})
_STREAMS: Final = frozenset({KEY_PRESSURE, CHANNEL_PRESSURE, PITCH_BEND})
_NO_EVENTS: Final = journal.LASTING | {journal.OUT, journal.RECORDED, journal.RENAMED}
_EVENTS: Final = journal.RECORD_KINDS - _NO_EVENTS | {journal.RULES}

PortMessage = tuple[str, bytes]
"""Port and message."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """A message that arrived at a time (ns), and what went out at once.

    `count` is how many of its kind arrived one after the other, values of one controller or bend: then it is the last
    of them. `lets_go` says that it ended what an earlier message began, `by_take` that it is of a take that played as
    the source.
    """

    time: int
    source: str
    message: bytes
    outcomes: tuple[PortMessage, ...]
    lets_go: bool
    rules: RuleSet = field(repr=False)
    switches: Mapping[str, State] = field(repr=False)
    count: int = 1
    by_take: bool = False

    @property
    def stream(self) -> tuple[str, bool, int, int] | None:
        """What it is a value of; None for what is no value among many."""
        status, first, _ = split_message(self.message)
        kind = status & 0xF0
        if kind in _STREAMS or (kind == CONTROLLER and first not in PEDALS):
            return self.source, self.by_take, status, first if kind in (CONTROLLER, KEY_PRESSURE) else 0
        return None

    def why(self, naming: Naming) -> list[TraceLine]:
        """The way through the rules and switches of its time."""
        if self.lets_go:
            return [ENDS_NOTE]
        return trace(self.rules, self.source, self.message, self.switches, naming)

    @property
    def agrees(self) -> bool:
        """Whether what went out is just what the rules say; else what was held had its part in it."""
        lines = trace(self.rules, self.source, self.message, self.switches)
        told = {outcome for line in lines if not line.late for outcome in line.outcomes}
        return not self.lets_go and told == set(self.outcomes)


@dataclass(frozen=True, slots=True)
class Departure:
    """A message that went out later than what caused it: delayed, an echo, or sent by a command."""

    time: int
    port: str
    message: bytes
    source: str


@dataclass(frozen=True, slots=True)
class OtherEvent:
    """Something else that happened at a time (ns), in words, and what that sent."""

    time: int
    words: str
    outcomes: tuple[PortMessage, ...] = ()


@dataclass(frozen=True, slots=True)
class Held:
    """What is held by an input: the status of the press, its key or controller, since when (ns; None: from before all
    that is known), and what will be sent where when it is let go. `by_take`: by a take that plays as the input."""

    source: str
    status: int
    number: int
    since: int | None
    releases: tuple[PortMessage, ...]
    by_take: bool = False


@dataclass(frozen=True, slots=True)
class History:
    """What happened, in order; what is held at its end (`now`, ns); how each input's rule file counts notes."""

    happened: Sequence[Arrival | Departure | OtherEvent]
    held: Sequence[Held]
    now: int
    bpm: float | None
    is_certain: bool
    naming: Mapping[str, Naming]
    walls: Sequence[tuple[int, float]]
    sent: Sequence[tuple[int, bytes, int]] = ()

    def wall_s(self, time: int) -> float | None:
        """Return what the clock on the wall showed (seconds since 1970) at a time (ns); None if that isn't known."""
        if not self.walls:
            return None
        at, shown = next((wall for wall in reversed(self.walls) if wall[0] <= time), self.walls[0])
        return shown + (time - at) / 1e9


def history_of(records: Sequence[Record], span: int) -> History:
    """The story of the last `span` ns of a journal. Raises RuleFileError for rules that can't be read any more.

    Messages that stand before the first rules were pressed before the journal's beginning, and are held since.
    """
    begin = next((at for at, record in enumerate(records) if record[0] == journal.RULES), len(records))
    rest = next((at for at in range(begin, len(records)) if records[at][0] not in journal.LASTING), len(records))
    now = max((record[1] for record in records), default=0)
    reader = _HistoryReader(now, now - span)
    before = records[:begin]
    reader.learn_walls(before)
    reader.begin(records[begin:rest], [record for record in before if record[0] == journal.IN])
    for record in records[rest:]:
        reader.take(record)
    return reader.history([record for record in records[rest:] if record[0] == journal.OUT])


class _HistoryReader:
    def __init__(self, now: int, begin: int) -> None:
        self._now = now
        self._begin = begin
        self._replay = Replay()
        self._names = journal.Names()
        self._naming: dict[str, Naming] = {}
        self._pressed: dict[tuple[int, int], int] = {}
        self._happened: list[Arrival | Departure | OtherEvent] = []
        self._made: list[Sent] = []
        self._walls: list[tuple[int, float]] = []
        self._knows_grid = True

    # -- record by record ---------------------------------------------------------------------------------------------

    def learn_walls(self, before: Sequence[Record]) -> None:
        """Learn what time it was before the first rules: ports may take their time to open."""
        for record in before:
            if record[0] == journal.WALL:
                self._learn(record)

    def begin(self, lasting: Sequence[Record], held: Sequence[Record]) -> None:
        """What lasts, then what was pressed by then. What that sends was sent long ago, unless all begins here."""
        for record in lasting:
            self._learn(record)
        self._replay = Replay(self._names)
        first = min((record[1] for record in (*held, *lasting[:1])), default=0)
        out: list[Sent] = []
        for kind, _, number, data in lasting:
            self._replay.feed((kind, first, number, data), out)
            if kind == journal.STATE:
                self._stand(journal.state_in(data))
            elif kind == journal.TEMPO:
                self._set_clock(*journal.tempo_in(data))
        if all(record[0] != journal.NAMES for record in lasting):
            self._made += out  # names follow what a session sends first, so this is its very beginning
        for record in held:
            self._replay.feed(record, out)
            self._note_press(record[2], record[3], record[1])

    def _stand(self, states: Mapping[str, State]) -> None:
        """Note the states of the switches."""
        if self._replay.session is not None:
            self._replay.session.engine.restore(states)

    def _set_clock(self, bpm: float, is_running: bool) -> None:
        """Let our clock run as it did. Where on its grid it was isn't known."""
        self._knows_grid = False
        if self._replay.session is not None:
            self._replay.session.set_tempo(bpm, self._replay.now, [])
            self._replay.session.clock.transport.is_running = is_running

    def take(self, record: Record) -> None:
        """Read one record."""
        kind, time, number, data = record
        self._learn(record)
        if kind not in _EVENTS:
            self._replay.feed(record, self._made)  # so much time has passed, or the session begins
            return
        session, is_told = self._replay.session, time >= self._begin
        rules, switches = (session.ruleset, session.switches) if is_told and session is not None else (None, {})
        lets_go = kind == journal.IN and self._lets_go(number, data)
        out: list[Sent] = []
        self._replay.feed(record, out)
        self._made += out
        if kind == journal.IN:
            self._note_press(number, data, time)
        else:
            self._pressed = {key: since for key, since in self._pressed.items() if self._is_held(*key)}
        if not is_told:
            return
        caused = [sent for sent in out if sent[2] == time and (kind != journal.IN or sent[3] == number)]
        others = [sent for sent in out if sent not in caused]
        self._depart(sent for sent in others if sent[2] < time)
        outcomes = tuple((self._names.port(target), message) for target, message, _, _ in caused)
        if kind != journal.IN:
            self._happened.append(OtherEvent(time, self._words(record), outcomes))
        elif data[0] not in _PULSES and rules is not None:
            by_take = number in self._names.takes
            source = self._names.player(number)
            self._arrive(Arrival(time, source, data, outcomes, lets_go, rules, switches, by_take=by_take))
        self._depart(sent for sent in others if sent[2] >= time)  # such as a start that a pad asked for

    def _learn(self, record: Record) -> None:
        kind, time, _, data = record
        if kind == journal.NAMES:
            self._names = journal.names_in(data)
        elif kind == journal.WALL:
            self._walls.append((time, journal.wall_in(data)))
        elif kind == journal.RULES:
            reading = read_rule_set(journal.rules_in(data))
            self._naming = {name: place.source.naming for name, place in reading.ports.items()}

    def _arrive(self, arrival: Arrival) -> None:
        """Add an arrival, or count it with the one before where it is another value of the same stream."""
        last = self._happened[-1] if self._happened else None
        if isinstance(last, Arrival) and arrival.stream is not None and last.stream == arrival.stream:
            self._happened[-1] = replace(arrival, count=last.count + 1)
        else:
            self._happened.append(arrival)

    def _depart(self, out: Iterable[Sent]) -> None:
        for target, message, due, number in out:
            if message[0] not in _PULSES:
                source = self._names.player(number) if number >= 0 else ""
                self._happened.append(Departure(due, self._names.port(target), message, source))

    def _words(self, record: Record) -> str:
        kind, _, number, data = record
        match kind:
            case journal.RULES:
                return f"rules applied: {', '.join(name for name, _ in journal.rules_in(data))}"
            case journal.TAKE:
                return f"a take begins to play as {data.decode()}"
            case journal.LOST if data == journal.ENDED:
                return f"the take that played as {self._names.player(number)} ends"
            case journal.LOST:
                why = "may have missed messages" if data == journal.STALLED else "has gone"
                return f"input {self._names.player(number)} {why}: its notes and pedals end"
            case journal.BACK:
                return f"output {data.decode()} is back"
            case journal.TURN:
                switch, state = journal.turn_in(data)
                return f"switch {switch} set to {written_state(state)} by command"
            case journal.PANIC:
                return "panic: everything was silenced"
            case journal.ORDER:
                order = journal.order_in(data)
                return f"clock: {order}, by command" if isinstance(order, str) else f"clock: {order:g} BPM, by command"
            case journal.SKIPPED:
                return "the daemon could not run: its clock left out what was missed"
            case _:
                return "the daemon ended"

    # -- what is held -------------------------------------------------------------------------------------------------

    def _lets_go(self, number: int, message: bytes) -> bool:
        """Return whether a message is the note-off of a note that is held."""
        if message[0] >= SYSEX or not is_note_off(message):
            return False
        status, first, _ = split_message(message)
        return (number, in_key_of(status, first)) in self._pressed

    def _note_press(self, number: int, message: bytes, time: int) -> None:
        if message[0] >= SYSEX:
            return
        status, first, _ = split_message(message)
        key = (number, in_key_of(status, first))
        if self._is_held(*key):
            self._pressed.setdefault(key, time)
        else:
            self._pressed.pop(key, None)

    def _is_held(self, number: int, in_key: int) -> bool:
        session = self._replay.session
        if session is None:
            return False
        return in_key in held_keys(session.engine.bookkeeping, session.engine.players[number])

    def _held(self) -> Iterable[Held]:
        session = self._replay.session
        if session is None:
            return
        engine = session.engine
        for player in engine.players:
            for in_key in held_keys(engine.bookkeeping, player):
                notes, places = held_for(engine.bookkeeping, player, in_key)
                releases = [(note.target, note.off()) for note in notes]
                yield self._as_held(player, in_key, releases + [(place[0], rest_message(place)) for place in places])

    def _as_held(self, player: Player, in_key: int, releases: Iterable[tuple[int, bytes]]) -> Held:
        named = tuple(dict.fromkeys((self._names.port(target), message) for target, message in releases))
        since = self._pressed.get((player.number, in_key))
        by_take = player.number in self._names.takes
        return Held(player.name, 0x80 | in_key >> 7, in_key & 0x7F, since, named, by_take=by_take)

    # -- the end ------------------------------------------------------------------------------------------------------

    def history(self, told: Sequence[Record]) -> History:
        """Everything, compared with what really went out."""
        out: list[Sent] = []
        self._replay.finish(out)
        self._made += out
        self._depart(sent for sent in out if sent[2] >= self._begin)
        session, now = self._replay.session, self._now
        running = None if session is None else session.time.running(now)
        made = [(target, message, due) for target, message, due, _ in self._made]
        went = [(number, data, time) for _, time, number, data in told]
        if not self._knows_grid:
            made, went = ([sent for sent in each if sent[1][0] != CLOCK] for each in (made, went))
        return History(
            happened=sorted(self._happened, key=lambda one: one.time),
            held=[held for held in self._held() if held.releases],
            now=self._now,
            bpm=None if session is None or running is None else session.time.bpm,
            is_certain=made == went,
            naming=self._naming,
            walls=self._walls,
            sent=made,
        )


def port_naming(story: History, port: str) -> Naming:
    """Return how the rule file of a port counts notes and programs."""
    return story.naming.get(port, STANDARD)
