"""The clocks of a performance, those of sources and ours, and which of them sets the tempo (rulings 28, 29, 38)."""

from __future__ import annotations

from dataclasses import replace
from typing import Final, NamedTuple

from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.engine.own_clock import ClockPlan, OwnClock
from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START, STOP
from rules.program.clock_orders import START_ORDER
from rules.program.guards import holds
from rules.rulefile.clock_table import NO_CLOCK, OWN
from rules.rulefile.ruleset import RuleSet
from rules.timing.midi_clock import LiveTime
from rules.timing.transport import Transport


class ClockState(NamedTuple):
    """What sets the tempo, and where the song is by it.

    `source` is the port whose clock runs, `OWN` for ours, None where the rule files have none and none runs. `player`
    is the number of the player there, None where that is nobody. `beats` are quarter notes since the start, None where
    that isn't known. `will_run` says that a song runs, or does as soon as our clock has sent the message that is due.
    """

    source: str | None
    player: int | None
    bpm: float
    is_running: bool
    will_run: bool
    beats: float | None


ClockHeard = tuple[int, int, int]
"""A clock or transport message that was heard: player, status, time (ns)."""

_HEARD: Final = frozenset({CLOCK, START, CONTINUE, STOP})

_MOVING: Final = frozenset({START, CONTINUE, STOP, SONG_POSITION})
"""What moves a song, or its place."""


class Clockwork:
    """The clocks that are heard, and ours (`own`). `time` is the tempo that beats go by.

    Where `heard` is a list, clock and transport of all players are entered there, and ours as those of `NOBODY`: the
    one who follows a clock takes them out. Without `ticks` our clock sends no clock messages.
    """

    def __init__(self, engine: Engine, time: LiveTime, ruleset: RuleSet, *, ticks: bool) -> None:
        self._engine = engine
        self._ruleset = ruleset
        self._transports: dict[int, Transport] = {}
        self.heard: list[ClockHeard] | None = None
        self.time = time
        self.own = OwnClock(time, self._change_tempo, self._note, ticks=ticks)
        self.own.plan = self._plan()

    def _plan(self) -> ClockPlan:
        """Return who hears our clock by the rules of now, and whom it follows."""
        written, pipeline, hearing = self._ruleset.clock, self._engine.pipeline, _hearing(self._ruleset)
        ports = tuple(number for number in pipeline.present if pipeline.ports[number] in hearing)
        return ClockPlan(ports, written.follow, written.go_on)

    def state(self, now: int) -> ClockState:
        """Return how the clock is that counts."""
        own, number = self.own, self.time.running(now)
        is_ours = own.plan.is_in_use or (number is None and self._ruleset.clock != NO_CLOCK)
        if is_ours:
            number = own.leader
            transport: Transport | None = own.transport
        else:
            transport = None if number is None else self._transports.get(number)
        source = None if number is None else self._engine.players[number].name
        is_running = transport is not None and transport.is_running
        asked = own.asked if is_ours else None
        beats = None if transport is None else transport.beats(now, self.time.beat)
        return ClockState(
            OWN if is_ours and source is None else source,
            number,
            self.time.bpm,
            is_running,
            is_running or asked is not None,
            0.0 if asked == START_ORDER else beats,
        )

    def is_followed(self, player: int) -> bool:
        """Return whether our clock follows that of a player, while it runs."""
        return self._engine.players[player].name == self.own.plan.follows

    def _sets_tempo(self, player: int) -> bool:
        """Return whether beats go by the clock of a player: where ours is in use, only by the one that it follows."""
        return not self.own.plan.is_in_use or self.is_followed(player)

    # -- what is heard ------------------------------------------------------------------------------------------------

    def hear(self, player: int, message: bytes, now: int, out: list[Sent]) -> None:
        """Note what a player's clock says, before its message is played: beats go by its tempo from now on.

        Where it moves the song of ours, what ours was asked for before goes first.
        """
        if message[0] in _MOVING and self.is_followed(player):
            self.own.release(now, out)
        if player not in self._transports:
            self._transports[player] = Transport()
        self._transports[player].hear(message, now)
        self._note(player, message[0], now)
        if message[0] != CLOCK or not self._sets_tempo(player) or self.own.is_late(now):
            return  # what comes late comes all at once, and tells no tempo
        if self.time.tick(player, now):
            self._retime(now)

    def follow(self, player: int, message: bytes, now: int, out: list[Sent]) -> None:
        """Have ours follow what was played of a player's clock, where it does."""
        if self.is_followed(player):
            self.own.hear(player, message, now, out)

    def _note(self, player: int, status: int, now: int) -> None:
        if self.heard is not None and status in _HEARD:
            self.heard.append((player, status, now))

    def lose(self, player: int, now: int, out: list[Sent]) -> None:
        """Do without the clock of a player."""
        self._transports.pop(player, None)
        self.own.lose(player, now, out)

    # -- tempo --------------------------------------------------------------------------------------------------------

    def _change_tempo(self, bpm: float, now: int) -> None:
        if self.time.set(bpm, now):
            self._retime(now)

    def _retime(self, now: int) -> None:
        self.time.forget_before(self._engine.retime(now))
        self.own.retime(now)

    # -- rules that come and go ---------------------------------------------------------------------------------------

    def rename(self, old: str, new: str) -> None:
        """Follow the same source under the name that it has in the rules that come next."""
        if self.own.plan.follows == old:
            self.own.plan = replace(self.own.plan, follows=new)

    def stop_leaving(self, ruleset: RuleSet, now: int, out: list[Sent]) -> None:
        """Stop a song that runs at ports that don't hear ours by new rules, before these are in force."""
        ports, hearing = self._engine.pipeline.ports, _hearing(ruleset)
        self.own.stop_at((port for port in self.own.plan.hears if ports[port] not in hearing), now, out)

    def replace(self, ruleset: RuleSet, now: int) -> None:
        """Go on by new rules. A tempo that is written anew counts, unless a song has its own."""
        before, self._ruleset = self._ruleset, ruleset
        self.own.replace(self._plan(), now)
        for player in range(len(self._engine.players)):
            if not self._sets_tempo(player):
                self.time.forget(player)
        if ruleset.bpm != before.bpm and not self._has_song_tempo():
            self._change_tempo(ruleset.bpm, now)

    def _has_song_tempo(self) -> bool:
        """Return whether the song of now, or another switch, has set the tempo."""
        actions, word = self._engine.pipeline.actions, self._engine.word
        return any(action.tempo is not None and holds(action.guard, word) for action in actions)


def _hearing(ruleset: RuleSet) -> set[str]:
    """The ports that hear our clock."""
    return {port for port, written in ruleset.ports.items() if written.clock == OWN}
