"""A live session in the slow model: active sensing, the tempo that beats go by, and our clock, around a `Model`."""

from __future__ import annotations

from fractions import Fraction

from rules.midi.messages import ACTIVE_SENSING, CLOCK
from rules.rulefile.ruleset import RuleSet
from tests.model.agenda import NEVER
from tests.model.asking import holds
from tests.model.heard_clocks import HeardClocks
from tests.model.merging import Out
from tests.model.model import Model
from tests.model.own_clock import MOVING, Order, OwnClock, is_in_use
from tests.model.taps import MINUTE, MS
from tests.model.tempos import Tempos

_PATIENCE = 500 * MS
"""How long a source that sends active sensing may be silent (ruling 27)."""


class Live:
    """Times are nanoseconds. Sources go by name, and `keys+take` is a take that plays as `keys`.

    `has_lost`: a source has fallen silent; who asks sets it back.
    """

    def __init__(self, ruleset: RuleSet) -> None:
        self.tempos = Tempos(MS)
        self.tempos.set(0, ruleset.bpm)
        self.model = Model(ruleset, self.tempos.later)
        self.players: dict[str, int] = {}
        self.heard = HeardClocks()
        self.clock = OwnClock(ruleset, self.tempos, self.heard, self._set_tempo)
        self.has_lost = False
        self._playing: set[str] = set()
        self._sensing: dict[int, int] = {}
        """When those that send active sensing were heard last."""
        self._add_players(ruleset)

    @property
    def ruleset(self) -> RuleSet:
        """The rules in force."""
        return self.model.state.ruleset

    def _add_players(self, ruleset: RuleSet) -> None:
        for name, port in ruleset.ports.items():
            if port.can_receive and name not in self.players:
                self.players[name] = self.model.add_player(name)

    def _player(self, name: str, now: int, out: Out) -> int:
        """The number of an input, or of a take that plays as one from now on."""
        source, is_take, _ = name.partition("+")
        if is_take and name not in self._playing:
            self.advance(now, out)
            self._playing.add(name)
            if name not in self.players:
                self.players[name] = self.model.add_hand(source)
            self.model.join(self.players[name])
        return self.players[name]

    def advance(self, now: int, out: Out) -> None:
        """All that happens by itself until now, each at its time, at one time our clock first (ruling 28)."""
        while True:
            lost = min(((heard + _PATIENCE, player) for player, heard in self._sensing.items()), default=(NEVER, -1))
            due = min(lost[0], self.clock.due, self.model.next_due)
            if due > now:
                return
            if due == lost[0]:
                self.has_lost = True
                self._lose(lost[1], due, out)
            elif due == self.clock.due:
                self.clock.advance(due, out)
            else:
                self.model.advance(due, out)
            self._obey(due, out)

    def _lose(self, player: int, now: int, out: Out, *, is_over: bool = False) -> None:
        self._sensing.pop(player, None)
        end = self.model.part if is_over else self.model.release
        end(player, now, out)
        self.clock.lose(player, now, out)

    def _obey(self, now: int, out: Out) -> None:
        """What switches and triggers have asked our clock for."""
        orders, self.model.lists.orders = self.model.lists.orders, []
        for order in orders:
            self.clock.obey(order, now, out)

    # What happens

    def begin(self, now: int, out: Out) -> None:
        """The session begins."""
        self.model.begin(now, out)
        self._obey(now, out)
        self.clock.tick_from(now)

    def arrive(self, source: str, message: bytes, now: int, out: Out) -> None:
        """A message arrives."""
        player = self._player(source, now, out)
        self.advance(now, out)  # what is due goes before whatever arrives, active sensing too
        if message[0] == ACTIVE_SENSING:
            self._sensing[player] = now
            return
        if player in self._sensing:
            self._sensing[player] = now
        if message[0] in MOVING and self._is_followed(player):
            self.clock.release(now, out)
        if message[0] == CLOCK and self._sets_tempo(player) and not self.clock.is_late(now):
            told = self.heard.hear(player, now, self.tempos.beat)
            if told is not None:
                self._change(MINUTE / told, now)
        passed = self.model.feed(player, message, now, out)
        if passed and self._is_followed(player):
            self.clock.hear(player, message, now, out)
        self._obey(now, out)

    def turn(self, switch: str, value: bool | int | str, now: int, out: Out) -> None:
        """A switch is set by command."""
        self.advance(now, out)
        self.model.turn(switch, value, now, out)
        self._obey(now, out)

    def order(self, order: Order, now: int, out: Out) -> None:
        """Our clock is asked for something by command."""
        self.advance(now, out)
        self.clock.obey(order, now, out)

    def pull(self, source: str, now: int, out: Out) -> None:
        """An input is lost, or a take ends."""
        player = self._player(source, now, out)
        self.advance(now, out)
        self._lose(player, now, out, is_over=source in self._playing)
        self._playing.discard(source)
        self._obey(now, out)

    def return_output(self, port: str, now: int, out: Out) -> None:
        """An output is there again."""
        self.advance(now, out)
        self.model.return_port(port, now, out)
        self.clock.return_port(port)

    def panic(self, every_key: bool, now: int, out: Out) -> None:
        """Silence; clock and song go on."""
        self.advance(now, out)
        self.model.silence(now, out, every_key)

    def replace(self, new: RuleSet, now: int, out: Out) -> None:
        """Other rules. Their tempo counts where it is another one, and no switch has set one."""
        self.advance(now, out)
        before = self.ruleset.bpm
        self.clock.stop_at_leaving(new, now, out)
        self.model.replace(new, now, out)
        self._add_players(new)
        self.clock.replace(new, now)
        for player in self.players.values():
            if not self._sets_tempo(player):
                self.heard.forget(player)
        switches = self.model.state.switches
        if new.bpm != before and not any(entry.bpm and holds(entry.when, switches) for entry in new.on_switch):
            self.clock.own_bpm = new.bpm
            self._set_tempo(new.bpm, now)
        self._obey(now, out)

    def leave(self, now: int, out: Out) -> None:
        """The session is over."""
        self.advance(now, out)
        self.clock.leave(now, out)
        self.model.leave(now, out)

    # The tempo

    def _is_followed(self, player: int) -> bool:
        return self.model.state.players[player] == self.ruleset.clock.follow

    def _sets_tempo(self, player: int) -> bool:
        """Whether beats go by the clock of a player: where ours is in use, only by the one that it follows."""
        return self._is_followed(player) or not is_in_use(self.ruleset)

    def _set_tempo(self, bpm: float, now: int) -> None:
        """Our own tempo: in force if no clock runs."""
        if not self.heard.running(now):
            self._change(Fraction(bpm), now)

    def _change(self, bpm: Fraction, now: int) -> None:
        if MINUTE / bpm != self.tempos.beat:
            self.tempos.set(now, bpm)
            self.model.retime(now)
