"""A performance: the engine with sources that come and go, ports that return, and the tempo of the clock.

Values in, values out, like the engine: the same calls with the same times give the same messages. That is why the
journal of an evening can be played again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from rules.engine.clockwork import Clockwork
from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.midi.messages import ACTIVE_SENSING, SYSEX
from rules.program.clock_orders import ClockOrder
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.rulefile.ruleset import RuleSet
from rules.timing.active_sensing import Sensing
from rules.timing.delays import NEVER
from rules.timing.midi_clock import LiveTime


class Session:
    """Times are nanoseconds and never go backwards. Every method appends to `out` what goes out.

    `players` are the numbers by which the engine knows our input ports, `takes` those of the hands by which takes play
    as them. Those of `known` come first, in their order, even where the rules have no such port any more: numbers last
    as long as a performance; `known_takes` are those among them that are takes. `most_pending` bounds what is pending
    for one port; see `Engine`. Without `ticks` our clock sends no clock messages.
    """

    def __init__(
        self,
        ruleset: RuleSet,
        pipeline: Pipeline,
        known: Sequence[str] = (),
        most_pending: int | None = None,
        known_takes: Collection[int] = (),
        *,
        ticks: bool = True,
    ) -> None:
        self.ruleset = ruleset
        self.time = LiveTime(ruleset.bpm)
        self.engine = Engine(pipeline, self.time.later, most_pending)
        self.clockwork = Clockwork(self.engine, self.time, ruleset, ticks=ticks)
        self.clock = self.clockwork.own
        self.players: dict[str, int] = {}
        self.takes: dict[str, int] = {}
        for number, name in enumerate(known):
            if number in known_takes:
                self._join_take(name)  # whether it plays by now isn't known: to ask who else is there is never wrong
            else:
                self._add_players((name,))
        self._add_players(pipeline.sources)
        self._sensing = Sensing()
        self._orders = self.engine.lists.orders

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
        return min(self.engine.scheduler.next_due, self._sensing.due, self.clock.due)

    def _add_players(self, names: Iterable[str]) -> None:
        for name in names:
            if name not in self.players:
                self.players[name] = self.engine.add_player(name)

    def start(self, now: int, out: list[Sent], *, in_silence: bool = False) -> None:
        """Send what devices and switches send at the beginning (rulings 8, 25), and begin our clock (ruling 38).

        With `in_silence` all outputs are silenced before that: nobody knows what another session has left there.
        """
        self.engine.begin(now, out, in_silence=in_silence)
        self._obey(now, out)
        self.clock.begin(now)

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
                self.advance(now, out)
            self._sensing.hear(player, now)
        if now >= self.clock.due or now >= self.engine.scheduler.next_due:
            self.advance(now, out)
        if message[0] <= SYSEX:
            self.engine.feed(player, message, now, out)
        else:
            self._hear(player, message, now, out)
        if self._orders:
            self._obey(now, out)

    def _hear(self, player: int, message: bytes, now: int, out: list[Sent]) -> None:
        """Play clock, transport and what else has no channel and is no sysex."""
        status = message[0]
        if status == ACTIVE_SENSING:
            self._sensing.promise(player, now)
            return
        self.clockwork.hear(player, message, now, out)
        self.engine.feed(player, message, now, out)
        if self.engine.passed:
            self.clockwork.follow(player, message, now, out)

    def advance(self, now: int, out: list[Sent]) -> None:
        """Do what is due by now, each at its time: send, and lose sources that fell silent.

        At one time our clock goes first (ruling 28). What it is asked for counts for all that is due later.
        """
        while (due := self.next_due) <= now:
            if due == self._sensing.due:
                self._lose_silent(due, out)
            elif due == self.clock.due:
                self.clock.advance(due, out)
            else:
                self.engine.advance(due, out)
            if self._orders:
                self._obey(due, out)

    def _lose_silent(self, now: int, out: list[Sent]) -> None:
        """Lose sources that sent active sensing and fell silent."""
        for player in self._sensing.lost():
            self._release(player, now, out)

    def _release(self, player: int, now: int, out: list[Sent]) -> None:
        self.engine.release(player, now, out)
        self._end_clock(player, now, out)

    def _end_clock(self, player: int, now: int, out: list[Sent]) -> None:
        """Have our clock do without that of a player."""
        self.clockwork.lose(player, now, out)
        self._obey(now, out)

    def _obey(self, now: int, out: list[Sent]) -> None:
        """Have our clock do what switches and triggers have asked for."""
        while self._orders:
            self.clock.obey(self._orders.pop(0), now, out)

    # -- takes --------------------------------------------------------------------------------------------------------

    def prepare_take(self, source: str) -> None:
        """Make what takes time when a take begins as an input. May be called from any thread."""
        pipeline = self.pipeline
        if source in pipeline.sources:
            _ = pipeline.tables[pipeline.sources.index(source)].open_cells

    def begin_take(self, source: str, now: int, out: list[Sent]) -> int:
        """Let a take play as an input, with a hand of its own (ruling 37); the number of its player."""
        self.advance(now, out)
        return self._join_take(source)

    def _join_take(self, source: str) -> int:
        if source not in self.takes:
            self.takes[source] = self.engine.hands.add_hand(source, self.pipeline)
        self.engine.hands.join(self.takes[source], self.pipeline)
        return self.takes[source]

    def end_take(self, player: int, now: int, out: list[Sent]) -> None:
        """End what a take holds, at once: it plays no more."""
        self.advance(now, out)
        self._sensing.forget(player)
        self.engine.part(player, now, out)
        self._end_clock(player, now, out)

    # -- ports --------------------------------------------------------------------------------------------------------

    def lose(self, player: int, now: int, out: list[Sent]) -> None:
        """End what a player holds, at once: its port has gone."""
        self.advance(now, out)
        self._sensing.forget(player)
        self._release(player, now, out)

    def return_output(self, port: str, now: int, out: list[Sent]) -> None:
        """Silence an output that has returned, and send the sounds of now there (ruling 8)."""
        self.advance(now, out)
        target = self.pipeline.ports.index(port)
        self.engine.return_port(target, now, out)
        self.clock.return_port(target)

    # -- commands -----------------------------------------------------------------------------------------------------

    def turn(self, switch: str, state: State, now: int, out: list[Sent]) -> None:
        """Turn a switch. Raises KeyError for an unknown switch, ValueError for a state that it can't be at."""
        self.advance(now, out)
        self.engine.turn(switch, state, now, out)
        self._obey(now, out)

    def order_clock(self, order: ClockOrder, now: int, out: list[Sent]) -> None:
        """Ask our clock for something (ruling 38)."""
        self.advance(now, out)
        self.clock.obey(order, now, out)

    def skip_clock(self, begin: int, now: int, out: list[Sent]) -> None:
        """Leave out what our clock should have sent from `begin` on, before `now`: the computer stood still."""
        self.advance(begin - 1, out)
        self.clock.skip_to(now, out)

    def set_tempo(self, bpm: float, now: int, out: list[Sent]) -> None:
        """Set our own tempo (quarter notes a minute), and move what is pending in beats (ruling 29).

        It comes into force unless an outer clock runs.
        """
        self.order_clock(bpm, now, out)

    def panic(self, now: int, out: list[Sent], every_key: bool = False) -> None:
        """Silence everything (ruling 17)."""
        self.advance(now, out)
        self.engine.silence(now, out, every_key)

    def rename(self, old: str, new: str) -> None:
        """Give an input the name that it has in the rules that come next, which `replace` brings at once.

        Only for the same port of the computer, and for a name that no input of this performance has had.
        """
        self.engine.hands.rename(old, new)
        self.clockwork.rename(old, new)
        self.players = {new if name == old else name: number for name, number in self.players.items()}
        self.takes = {new if name == old else name: number for name, number in self.takes.items()}

    def replace(self, ruleset: RuleSet, pipeline: Pipeline, now: int, out: list[Sent]) -> None:
        """Go on by new rules while notes sound (ruling 30), and send what new devices want first."""
        self.advance(now, out)
        self.clockwork.stop_leaving(ruleset, now, out)
        self.engine.replace(pipeline, now, out)
        self.ruleset = ruleset
        self._add_players(pipeline.sources)
        self.clockwork.replace(ruleset, now)
        self._obey(now, out)

    def leave(self, now: int, out: list[Sent]) -> None:
        """End everything that is held, and send what waits for note-offs: the session is over (ruling 22)."""
        self.advance(now, out)
        self.clock.leave(now, out)
        for player in range(len(self.engine.players)):
            self.engine.release(player, now, out)
        self._orders.clear()
        self.engine.leave(now, out)
        self.engine.settle(now, out)
