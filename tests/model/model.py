"""The slow model: what the rules mean, message by message, without tables. Speed is nobody's concern here.

It offers what the engine offers, so that both can be fed the same and compared. Start reading here: `feed` is one
message, `arriving.py` asks the rules, `booking.py` holds it against what its hand holds, `timing.py` lets it go out.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

from rules.midi.messages import ACTIVE_SENSING, RESET, UNDEFINED
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import Later
from tests.model import facts
from tests.model.agenda import Pending
from tests.model.arriving import Arriving
from tests.model.booking import Booking
from tests.model.chasing import Chasing
from tests.model.keeping import Keeping
from tests.model.ledger import Item
from tests.model.lists import NOBODY, Lists, Plan
from tests.model.merging import Out
from tests.model.resting import Resting
from tests.model.state import State
from tests.model.switching import Switching
from tests.model.timing import Timing
from tests.model.transport import Transport


class Model:
    """A plain interpreter of a RuleSet. Times are in the unit of `later`; ports go by name."""

    def __init__(self, ruleset: RuleSet, later: Later) -> None:
        self.state = state = State(ruleset, later)
        self.agenda = state.agenda
        self.hand_of: dict[str, str] = {}
        self.timing = Timing(state, self._arrive)
        self.resting = Resting(state, self.timing)
        self.booking = Booking(state, self.timing, self.resting)
        self.keeping = Keeping(state, self.booking, self.resting, self.trigger)
        self.chasing = Chasing(state, self.booking)
        self.lists = Lists(state.after, self._add_plan, self._drop_plans)
        self.switching = Switching(state, self.lists, self.chasing, self.keeping.let_go_where_shut)
        self.arriving = Arriving(state, self.booking, self.chasing, self.trigger)
        self.transport = Transport(state, self.booking, self.trigger)

    # Players

    def add_player(self, source: str) -> int:
        """A stream with a ledger of its own, from the input port `source`."""
        return self._add(source, self.hand_of.setdefault(source, f"{source}, source {len(self.state.hands)}"))

    def add_hand(self, source: str) -> int:
        """A stream with a ledger and a hand of its own, from the input port `source`."""
        return self._add(source, f"{source}, a hand of its own {len(self.state.hands)}")

    def _add(self, source: str, hand: str) -> int:
        self.state.players.append(source)
        self.state.hands.append(hand)
        return len(self.state.players) - 1

    def join(self, player: int) -> None:
        """A hand of its own begins to play: here all hands are always asked."""

    def part(self, player: int, now: int, out: Out) -> None:
        """A hand of its own plays no more: what it holds is ended."""
        self.release(player, now, out)
        self.chasing.forget(player)

    def rename(self, old: str, new: str) -> None:
        """A source has another name in the rules that come next."""
        self.state.players = [new if name == old else name for name in self.state.players]
        if old in self.hand_of:
            self.hand_of[new] = self.hand_of.pop(old)

    # Time

    @property
    def next_due(self) -> int:
        """When the next pending message is due; NEVER when none is."""
        return self.agenda.next_due

    def advance(self, now: int, out: Out) -> None:
        """Sends what is due up to and including `now`."""
        self.agenda.advance(now, out)

    def retime(self, now: int) -> None:
        """`later` knows another tempo from now on."""
        self.timing.retime(now)

    # What happens

    def feed(self, player: int, message: bytes, now: int, out: Out) -> bool:
        """One message arrives. False says that a trigger has kept it, of clock and transport."""
        self.advance(now, out)
        status = message[0]
        if status == ACTIVE_SENSING or status in UNDEFINED:
            return True
        if facts.is_signal(message) and status != RESET:
            return self.transport.feed(player, message, now, out)
        if status == RESET:
            self.transport.to_clocked_ports(player, message, now, out)
        else:
            self.arriving.feed(player, message, now, out)
        return True

    def trigger(self, player: int, message: bytes, now: int, out: Out) -> bool:
        """Turns the switches that a message of a player triggers; tells whether it is consumed."""
        return self.switching.trigger(player, message, now, out)

    def turn(self, switch: str, value: bool | int | str, now: int, out: Out) -> None:
        """A switch is set by hand."""
        self.advance(now, out)
        self.switching.set(switch, value, NOBODY, now, out)

    def begin(self, now: int, out: Out) -> None:
        """A live session begins: setups, then what switches send from the beginning (rulings 8, 25)."""
        self.advance(now, out)
        self.lists.begin(self.state.ruleset, self.state.switches, now, out)

    def return_port(self, port: str, now: int, out: Out) -> None:
        """An output is there again: silence, then the sounds of now (ruling 8)."""
        self.advance(now, out)
        self._forget_returned({port})
        self.state.merge.forget_settings(port)
        silence = [message for channel in range(16) for message in _silence(channel)]
        out.extend((port, message, now, NOBODY) for message in silence)
        end = self.lists.bring_back(self.state.ruleset, self.state.switches, port, now, out, sum(map(len, silence)))
        if end > now:
            pending = Pending(
                end, self.state.order(), lambda then, out: self.chasing.chase_at(port, then, out), about=port
            )
            self.agenda.add(pending)
        else:
            self.chasing.chase_at(port, now, out)

    def release(self, player: int, now: int, out: Out) -> None:
        """A source is lost: what it holds is ended."""
        self.advance(now, out)
        self.timing.end_pending(lambda item: item.player == player, now, out)
        self.keeping.forget(player)
        self.booking.release(player, now, out)
        self.resting.end_now([player], now, out)
        self.state.memory.forget(player)
        self.chasing.lose(player)
        self.switching.release(player, self.hand_of.get(self.state.players[player]), now, out)
        self.transport.release(player, now, out)

    def silence(self, now: int, out: Out, every_key: bool = False) -> None:
        """Panic (ruling 17)."""
        self.advance(now, out)
        self.timing.end_pending(lambda item: True, now, out)
        keys = range(128) if every_key else ()
        silence = [[*(facts.made_off(each, key) for key in keys), *_silence(each)] for each in range(16)]
        self.lists.panic(sum(len(message) for messages in silence for message in messages), now)
        self.switching.forget(lambda held: True)
        players = range(len(self.state.players))
        for player in players:
            self.keeping.forget(player)
        for _, sounding in list(self.state.ledger.soundings()):
            self.booking.made_off_now(sounding, now, out)
        self.resting.end_now(players, now, out)
        ports = [name for name, port in self.state.ruleset.ports.items() if port.can_send]
        for port, messages in product(ports, silence):
            out.extend((port, message, now, NOBODY) for message in messages)
        self.state.forget_outputs()
        self.timing.forget()

    def replace(self, new: RuleSet, now: int, out: Out) -> None:
        """Other rules from now on; what is held and pending lives on (ruling 30)."""
        self.advance(now, out)
        old, before = self.state.ruleset, self.state.switches
        sources = {name for name in old.ports if old.ports[name].can_receive}
        for player, source in enumerate(self.state.players):
            if source in sources and not (source in new.ports and new.ports[source].can_receive):
                self.release(player, now, out)
        gone = {port for port in old.ports if port not in new.ports or not new.ports[port].can_send}
        self.state.play_by(new)
        self.timing.end_pending(lambda item: item.port in gone, now, out)
        self.booking.leave_ports(gone, now, out)
        self.state.merge.settle(now, out, lambda output: not self.state.shares_banks(output))
        self.keeping.end_changed(now, out)
        self.switching.carry_on(now, out)
        self._forget_returned(gone)
        self.lists.leave(gone, now, out)
        self.lists.replace(old, before, new, self.state.switches, now, out)

    # The end

    def leave(self, now: int, out: Out) -> None:
        """The session is over: sources are lost; of what the rules still have to send only what ends something goes."""
        self.advance(now, out)
        for player in range(len(self.state.players)):
            self.release(player, now, out)
        self.timing.end_pending(lambda item: True, now, out)  # of switches that fell with their sources
        ports = set(self.state.ruleset.ports)
        self._forget_returned(ports)
        self.lists.leave(ports, now, out)
        self.settle(now, out)

    def close(self, now: int, out: Out) -> None:
        """The last event of a file: what steps keep going by themselves ends; what `thin` keeps arrives in its time."""
        self.advance(now, out)
        self.keeping.end_all(now, out)
        self.switching.forget(lambda held: True)

    def settle(self, now: int, out: Out) -> None:
        """The end of a file: bank selects that still wait go out."""
        self.advance(now, out)
        self.state.merge.settle(now, out)

    # What the parts need of each other

    def _arrive(self, item: Item, now: int, out: Out) -> None:
        self.keeping.arrive(item, now, out)

    def _add_plan(self, due: int, plan: Plan) -> None:
        def send(then: int, out: Out) -> None:
            self.lists.send(plan, then, out)

        self.agenda.add(Pending(due, self.state.order(), send, about=plan))

    def _drop_plans(self, dropped: Callable[[Plan], bool]) -> list[Plan]:
        gone = self.agenda.drop(lambda pending: isinstance(pending.about, Plan) and dropped(pending.about))
        return [pending.about for pending in gone if isinstance(pending.about, Plan)]

    def _forget_returned(self, ports: set[str]) -> None:
        """Nothing is chased any more at ports that had returned."""
        self.agenda.drop(lambda pending: isinstance(pending.about, str) and pending.about in ports)


def _silence(channel: int) -> list[bytes]:
    """What silences a channel (ruling 17)."""
    silence = [bytes((0xB0 | channel, number, 0)) for number in (64, 66, 69, 123, 120)]
    return [*silence, bytes((0xE0 | channel, 0x00, 0x40))]
