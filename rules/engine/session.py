"""A performance: the engine with sources that come and go, ports that return, and the tempo of the clock.

Values in, values out, like the engine: the same calls with the same times give the same messages. That is why the
journal of an evening can be played again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.midi.messages import ACTIVE_SENSING, CLOCK, CONTINUE, START, STOP, SYSEX
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.rulefile.ruleset import RuleSet
from rules.timing.active_sensing import Sensing
from rules.timing.delays import NEVER
from rules.timing.midi_clock import LiveTime
from rules.timing.transport import Transport


class ClockState(NamedTuple):
    """What sets the tempo, and where the song is by it.

    `source` is the port whose clock runs; None where none does. `beats` are quarter notes since the start, None where
    that isn't known.
    """

    source: str | None
    bpm: float
    is_running: bool
    beats: float | None


ClockHeard = tuple[int, int, int]
"""A clock or transport message that was heard: player, status, time (ns)."""

_CLOCKWORK: Final = frozenset({CLOCK, START, CONTINUE, STOP})


class Session:
    """Times are nanoseconds and never go backwards. Every method appends to `out` what goes out.

    `players` are the numbers by which the engine knows our input ports, `takes` those of the hands by which takes play
    as them. Those of `known` come first, in their order, even where the rules have no such port any more: numbers last
    as long as a performance; `known_takes` are those among them that are takes. `most_pending` bounds what is pending
    for one port; see `Engine`. Where `clock_heard` is a list, clock and transport of all players are entered there: the
    one who follows a clock takes them out.
    """

    def __init__(
        self,
        ruleset: RuleSet,
        pipeline: Pipeline,
        known: Sequence[str] = (),
        most_pending: int | None = None,
        known_takes: Collection[int] = (),
    ) -> None:
        self.ruleset = ruleset
        self.time = LiveTime(ruleset.bpm)
        self.engine = Engine(pipeline, self.time.later, most_pending)
        self.players: dict[str, int] = {}
        self.takes: dict[str, int] = {}
        for number, name in enumerate(known):
            if number in known_takes:
                self._join_take(name)  # whether it plays by now isn't known: to ask who else is there is never wrong
            else:
                self._add_players((name,))
        self._add_players(pipeline.sources)
        self._sensing = Sensing()
        self._transports: dict[int, Transport] = {}
        self.clock_heard: list[ClockHeard] | None = None

    @property
    def pipeline(self) -> Pipeline:
        """The rules in force."""
        return self.engine.pipeline

    @property
    def player_names(self) -> tuple[str, ...]:
        """The input port of each player, takes too, by number."""
        return tuple(player.name for player in self.engine.players)

    @property
    def outputs(self) -> list[str]:
        """Our names of the output ports that these rules have."""
        return [self.pipeline.ports[number] for number in self.pipeline.present]

    @property
    def switches(self) -> dict[str, State]:
        """How the switches stand."""
        layout, word = self.engine.layout, self.engine.word
        return {name: layout.state(word, name) for name in self.ruleset.switches}

    @property
    def effects(self) -> list[str]:
        """What switches have asked the daemon for, in order: who does it takes it out. Always the same list."""
        return self.engine.lists.effects

    @property
    def next_due(self) -> int:
        """When `advance` has something to do."""
        return min(self.engine.scheduler.next_due, self._sensing.due)

    def clock_state(self, now: int) -> ClockState:
        """Return how the clock is that counts."""
        number = self.time.running(now)
        transport = None if number is None else self._transports.get(number)
        return ClockState(
            None if number is None else self.engine.players[number].name,
            self.time.bpm,
            transport is not None and transport.is_running,
            None if transport is None else transport.beats(now, self.time.beat),
        )

    def is_started(self, player: int) -> bool:
        """Return whether the transport of a player runs."""
        return player in self._transports and self._transports[player].is_running

    def _add_players(self, names: Iterable[str]) -> None:
        for name in names:
            if name not in self.players:
                self.players[name] = self.engine.add_player(name)

    def start(self, now: int, out: list[Sent]) -> None:
        """Send what devices and switches send at the beginning (rulings 8, 25)."""
        self.engine.begin(now, out)

    def restore(self, states: Mapping[str, State]) -> None:
        """Set switches as they were when another session ended, before this one starts.

        Momentary switches are off: whose pedal was down then, nobody holds it now.
        """
        momentary = self.pipeline.held_by
        self.engine.restore({switch: state for switch, state in states.items() if switch not in momentary})

    # -- messages -----------------------------------------------------------------------------------------------------

    def arrive(self, player: int, message: bytes, now: int, out: list[Sent]) -> None:
        """Play a complete, valid message of a player."""
        if self._sensing.due != NEVER:  # else nobody sends active sensing, as mostly
            if now >= self._sensing.due:
                self._lose_silent(now, out)
            self._sensing.hear(player, now)
        status = message[0]
        if status <= SYSEX:
            self.engine.feed(player, message, now, out)
            return
        if player not in self._transports:
            self._transports[player] = Transport()
        self._transports[player].hear(message, now)
        if self.clock_heard is not None and status in _CLOCKWORK:
            self.clock_heard.append((player, status, now))
        if status == CLOCK:
            if now >= self.engine.scheduler.next_due:
                self.engine.advance(now, out)  # what was due is due by the tempo of then
            if self.time.tick(player, now):
                self._retime(now)
        elif status == ACTIVE_SENSING:
            self._sensing.promise(player, now)
            return
        self.engine.feed(player, message, now, out)

    def advance(self, now: int, out: list[Sent]) -> None:
        """Send what is due by now, and lose sources that fell silent."""
        if now >= self._sensing.due:
            self._lose_silent(now, out)
        self.engine.advance(now, out)

    def _lose_silent(self, now: int, out: list[Sent]) -> None:
        """Lose sources that sent active sensing and fell silent, each at its own time."""
        while (due := self._sensing.due) <= now:
            for player in self._sensing.lost():
                self.engine.release(player, due, out)

    # -- takes --------------------------------------------------------------------------------------------------------

    def begin_take(self, source: str, now: int, out: list[Sent]) -> int:
        """Let a take play as an input, with a hand of its own (ruling 37); the number of its player."""
        self.advance(now, out)
        return self._join_take(source)

    def _join_take(self, source: str) -> int:
        if source not in self.takes:
            self.takes[source] = self.engine.add_hand(source)
        self.engine.join(self.takes[source])
        return self.takes[source]

    def end_take(self, player: int, now: int, out: list[Sent]) -> None:
        """End what a take holds, at once: it plays no more."""
        self.advance(now, out)
        self._sensing.forget(player)
        self.engine.part(player, now, out)

    # -- ports --------------------------------------------------------------------------------------------------------

    def lose(self, player: int, now: int, out: list[Sent]) -> None:
        """End what a player holds, at once: its port has gone."""
        self.advance(now, out)
        self._sensing.forget(player)
        self.engine.release(player, now, out)

    def return_output(self, port: str, now: int, out: list[Sent]) -> None:
        """Silence an output that has returned, and send the sounds of now there (ruling 8)."""
        self.advance(now, out)
        self.engine.return_port(self.pipeline.ports.index(port), now, out)

    # -- commands -----------------------------------------------------------------------------------------------------

    def turn(self, switch: str, state: State, now: int, out: list[Sent]) -> None:
        """Turn a switch. Raises KeyError for an unknown switch, ValueError for a state that it can't be at."""
        self.advance(now, out)
        self.engine.turn(switch, state, now, out)

    def set_tempo(self, bpm: float, now: int, out: list[Sent]) -> None:
        """Set our own tempo (quarter notes a minute), and move what is pending in beats (ruling 29).

        It comes into force unless an outer clock runs.
        """
        self.advance(now, out)
        if self.time.set(bpm, now):
            self._retime(now)

    def _retime(self, now: int) -> None:
        self.time.forget_before(self.engine.retime(now))

    def panic(self, now: int, out: list[Sent], every_key: bool = False) -> None:
        """Silence everything (ruling 17)."""
        self.advance(now, out)
        self.engine.silence(now, out, every_key)

    def rename(self, old: str, new: str) -> None:
        """Give an input the name that it has in the rules that come next, which `replace` brings at once.

        Only for the same port of the computer, and for a name that no input of this performance has had.
        """
        self.engine.rename(old, new)
        self.players = {new if name == old else name: number for name, number in self.players.items()}
        self.takes = {new if name == old else name: number for name, number in self.takes.items()}

    def replace(self, ruleset: RuleSet, pipeline: Pipeline, now: int, out: list[Sent]) -> None:
        """Go on by new rules while notes sound (ruling 30), and send what new devices want first."""
        self.advance(now, out)
        self.engine.replace(pipeline, now, out)
        before, self.ruleset = self.ruleset, ruleset
        if ruleset.bpm != before.bpm and self.time.set(ruleset.bpm, now):
            self._retime(now)
        self._add_players(pipeline.sources)

    def leave(self, now: int, out: list[Sent]) -> None:
        """End everything that is held, and send what waits for note-offs: the session is over (ruling 22)."""
        self.advance(now, out)
        for player in range(len(self.engine.players)):
            self.engine.release(player, now, out)
        self.engine.leave(now, out)
        self.engine.settle(now, out)
