"""Plays a take in the loop: what a command feeds goes through the rules when it is due (ruling 37).

All of it is called in the loop's thread. One command at a time may feed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final, NamedTuple, Protocol

import rules.journal.format as journal
from router.midi.event_loop import MOST_AT_ONCE
from router.text.formatting import plain
from router.text.usage import UsageError
from rules.engine.held import is_pending
from rules.engine.session import Session
from rules.errors import MachineError
from rules.journal.format import Record
from rules.midi.messages import CLOCK, CONTINUE, START, STOP, SYSEX
from rules.playback.held_values import SourceMessage
from rules.playback.playback import Playback
from rules.playback.take_stream import CLOCK_SOURCE, Piece
from rules.playback.transport_follower import TransportFollower
from rules.timing.delays import NEVER

NEXT: Final = "take next"
PAUSE: Final = "take pause"
END: Final = "take end"
AGAIN: Final = "take again"
"""What the one who feeds is told where the clock that a take follows starts again."""
TAKE_ORDERS: Final = frozenset({NEXT, PAUSE, END})
"""What a switch or a command may ask of a take that plays: the next one, a pause or its end, and that it ends."""


class Feeder(Protocol):
    """The one who feeds a take."""

    def wake(self) -> None:
        """Something has happened that it may want to know. For the loop: waits for nothing."""


class WantedTake(NamedTuple):
    """A take that begins: its file and length (s) for `status`, the inputs that it plays as, and whether by a clock."""

    file: str
    seconds: float
    sources: tuple[str, ...]
    by_clock: bool = False


class TakePlayer:
    """`play` plays a message of a player at a time (ns), `call` a method of the session whose last arguments are time
    and list: both send what comes of it. `log` and `log_names` take what belongs into the journal.
    """

    def __init__(
        self,
        session: Session,
        play: Callable[[int, bytes, int], None],
        call: Callable[..., None],
        log: Callable[[Record], None],
        log_names: Callable[[int], None],
    ) -> None:
        self._session = session
        self._play = play
        self._call = call
        self._log = log
        self._log_names = log_names
        self._feeder: Feeder | None = None
        self._wanted: WantedTake | None = None
        self._playback: Playback | None = None
        self._players: list[int] = []
        self._orders: list[str] = []
        self._turn = 0
        self._nowhere = 0
        self._played = 0
        self._clocks_ran = False
        self._follows = TransportFollower(session)

    @property
    def next_due(self) -> int:
        """When there is something to play."""
        return NEVER if self._playback is None else self._playback.next_due

    # -- for the one who feeds ----------------------------------------------------------------------------------------

    def begin(self, feeder: Feeder, wanted: WantedTake, now: int) -> None:
        """Begin a take; one of the same feeder gives way, and its echoes go on.

        Raises MachineError while another one feeds, UsageError for what is no input.
        """
        if self._feeder is not None and self._feeder is not feeder:
            playing = self._wanted.file if self._wanted is not None else ""
            raise MachineError(f"{plain(playing)} plays already: end that first")
        for source in wanted.sources:
            self._require_input(source)
        self._let_go(now)
        before, self._players = self._players, [self._joined(source, now) for source in wanted.sources]
        self._part([player for player in before if player not in self._players], now)
        self._feeder, self._wanted = feeder, wanted
        self._renew(now, by_clock=wanted.by_clock)
        self._follows.set(wanted.by_clock)
        self._join_clock(now)
        self._orders.clear()
        self._nowhere = self._played = 0

    def _renew(self, now: int, *, by_clock: bool) -> Playback:
        """Forget what was fed: another take follows, or the same from its beginning. That is another turn."""
        self._turn += 1
        self._clocks_ran = False
        self._playback = Playback(now, by_clock=by_clock)
        return self._playback

    def _join_clock(self, now: int) -> None:
        """Begin with the next message of the clock to follow, where that runs already."""
        playback = self._playback
        if playback is not None and playback.by_clock and self._follows.is_started(now):
            playback.go_on(now)

    def _require_input(self, source: str) -> None:
        port = self._session.ruleset.ports.get(source)
        if port is None or not port.can_receive:
            raise UsageError(f'the rules have no input named "{plain(source)}" any more')

    def _joined(self, source: str, now: int) -> int:
        """The player of takes of an input, which plays from now on."""
        session = self._session
        if session.takes.get(source) not in self._players:
            is_new = source not in session.takes
            self._call(session.begin_take, source, now)
            self._log((journal.TAKE, now, session.takes[source], source.encode()))
            if is_new:
                self._log_names(now)
        return session.takes[source]

    def _part(self, players: Sequence[int], now: int) -> None:
        """End what players hold: they play no more."""
        for player in players:
            self._log((journal.LOST, now, player, journal.ENDED))
            self._call(self._session.end_take, player, now)

    def feed(self, turn: int, pieces: Sequence[Piece], until: int, now: int, *, is_last: bool) -> None:
        """Take what follows in a turn of the take; what is of an earlier turn comes too late.

        Raises MachineError for more than there is room for.
        """
        playback, wanted = self._playback, self._wanted
        if playback is None or wanted is None or turn != self._turn:
            return  # it was abandoned, ended by a switch, or began again: that is told by `state`
        if any(not 0 <= piece.source < len(wanted.sources) for piece in pieces):
            raise MachineError("a message of a source that the take doesn't have")
        try:
            playback.add(pieces, until, now, is_last=is_last)
        except ValueError as error:
            raise MachineError(str(error)) from None

    def end(self, feeder: Feeder, now: int) -> None:
        """End all of it, if `feeder` is the one who feeds: it has gone."""
        if self._feeder is not feeder:
            return
        self._feeder = self._wanted = self._playback = None
        self._follows.set(False)
        self._part(self._players, now)
        self._players = []

    def state(self, feeder: Feeder, now: int) -> dict[str, Any]:
        """Return how it is, for the one who feeds; what was ordered meanwhile is told once.

        `turn` is what is fed now, `at` the position, `room` how many pieces may come. `over` says that all was played,
        `pending` that echoes of it are still to come, `abandoned` that it was given up.
        """
        playback = self._playback
        if playback is None or self._feeder is not feeder:
            return {"abandoned": True}
        playback.hear(now)
        orders, self._orders = self._orders, []
        engine = self._session.engine
        return {
            "at": playback.position(now),
            "room": playback.room,
            "paused": playback.is_paused,
            "over": playback.is_over,
            "pending": playback.is_over and any(is_pending(engine.bookkeeping, player) for player in self._players),
            "orders": orders,
            "turn": self._turn,
            "bar": playback.mark.bar,
            "seconds": playback.mark.seconds,
            "played": self._played,
            "nowhere": self._nowhere,
        }

    # -- for switches and commands ------------------------------------------------------------------------------------

    def order(self, order: str, now: int) -> bool:
        """Do one of `TAKE_ORDERS`; return whether a take plays. The one who feeds is told."""
        playback = self._playback
        if playback is None or self._feeder is None:
            return False
        if order == PAUSE:
            self._pause(playback, now)
        else:
            self._let_go(now)
            self._renew(now, by_clock=playback.by_clock)
            self._join_clock(now)
            self._orders.append(order)
        self._feeder.wake()
        return True

    def _pause(self, playback: Playback, now: int) -> None:
        """End what sounds, and stay there; or go on, with what was held besides notes."""
        session = self._session
        if playback.is_paused:
            again: list[SourceMessage] = playback.go_on(now)
            if self._clocks_ran:
                again = [(CLOCK_SOURCE, bytes((CONTINUE,))), *again]
            for source, message in again:
                self._play(self._players[source], message, now)
            return
        playback.pause(now)
        self._clocks_ran = bool(self._players) and session.engine.players[self._players[CLOCK_SOURCE]].running
        for player in self._players:
            self._log((journal.LOST, now, player, b""))
            self._call(session.lose, player, now)

    def _let_go(self, now: int) -> None:
        """Let go as a player does, and stop the clock that runs; echoes go on."""
        playback = self._playback
        if playback is None:
            return
        for source, message in playback.held.let_go():
            self._play(self._players[source], message, now)
        for player in self._players:
            if self._session.engine.players[player].running:
                self._play(player, bytes((STOP,)), now)

    # -- for the loop -------------------------------------------------------------------------------------------------

    def tend(self, now: int) -> None:
        """Play what is due, a few messages at a time, so that what arrives has its turn."""
        playback, feeder = self._playback, self._feeder
        if playback is None or feeder is None:
            return
        if playback.is_abandoned(now):
            self.end(feeder, now)
            feeder.wake()
            return
        for status, at in self._follows.heard(now, self._players):
            self._follow(status, at, now)
        playback = self._playback
        if playback is None or now < playback.next_due:
            return
        was_over = playback.is_over
        engine = self._session.engine
        for source, message in playback.due(now, MOST_AT_ONCE):
            player = self._players[source]
            self._played += 1
            self._nowhere += message[0] <= SYSEX and engine.goes_nowhere(player, message)
            self._play(player, message, now)
        if playback.is_over and not was_over:
            feeder.wake()

    def _follow(self, status: int, at: int, now: int) -> None:
        """Do what the clock did, at a time, that the take follows.

        What comes of it happens now: what arrived meanwhile has been played, and times never go backwards.
        """
        playback, feeder = self._playback, self._feeder
        if playback is None or feeder is None:
            return
        if status == CLOCK:
            playback.tick(at, self._follows.clock_ns(at))
        elif status == START and playback.has_moved:
            self._let_go(now)
            self._renew(now, by_clock=True).go_on(now)
            self._orders.append(AGAIN)
            feeder.wake()
        elif status != STOP:
            if playback.is_paused:
                self._pause(playback, now)
        elif not playback.is_paused:
            self._pause(playback, now)

    def hold_up(self, span: int) -> None:
        """The loop could not run for so long (ns)."""
        if self._playback is not None:
            self._playback.hold_up(span)

    def status(self) -> dict[str, Any] | None:
        """Return what plays, for `status`; None if nothing does."""
        playback, wanted = self._playback, self._wanted
        if playback is None or wanted is None:
            return None
        return {
            "file": wanted.file,
            "as": [self._session.engine.players[player].name for player in self._players],
            "seconds": round(playback.mark.seconds, 1),
            "of": round(wanted.seconds, 1),
            "bar": playback.mark.bar,
            "paused": playback.is_paused,
            "waits": not playback.has_begun,
        }
