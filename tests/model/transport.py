"""Clock, transport and what goes with them: by port, past the rules (rulings 26, 27)."""

from __future__ import annotations

from rules.midi.messages import CONTINUE, RESET, START, STOP
from rules.timing.delays import AT_ONCE
from tests.model import facts
from tests.model.booking import Booking
from tests.model.chain import Flow, Moment
from tests.model.keeping import Trigger
from tests.model.merging import Out
from tests.model.routing import clock_source, once
from tests.model.state import State


class Transport:
    """What sources bring of it. `running` are the players that have begun and not stopped."""

    def __init__(self, state: State, booking: Booking, trigger: Trigger) -> None:
        self.state = state
        self.booking = booking
        self.running: set[int] = set()
        self._trigger = trigger

    def feed(self, player: int, message: bytes, now: int, out: Out) -> bool:
        """A message arrives; tells whether triggers have passed it on."""
        source = self.state.players[player]
        in_key = (player, facts.signal_of(message), 0)
        moment = Moment(self.state.switches, self.state.memory, player, in_key)
        if self._trigger(player, message, now, out):
            return False
        clocked = self.to_clocked_ports(player, message, now, out)
        moment.switches = dict(self.state.switches)
        emissions = once(self.state.way().out_of_rules(source, Flow(message), moment))
        # What a `send` keeps goes on, but not where it went as clock.
        gone = {(port, message, AT_ONCE) for port in clocked}
        emissions = [emission for emission in emissions if emission.likeness not in gone]
        self.booking.dispatch(player, message, in_key, emissions, now, out)
        return True

    def to_clocked_ports(self, player: int, message: bytes, now: int, out: Out) -> list[str]:
        """It goes once to every output that this source clocks; those are returned."""
        source, ruleset = self.state.players[player], self.state.ruleset
        if facts.signal_of(message) in (START, CONTINUE):
            self.running.add(player)
        elif facts.signal_of(message) == STOP:
            self.running.discard(player)
        ports = [
            name
            for name, port in ruleset.ports.items()
            if port.can_send and clock_source(ruleset, name) == source and (message[0] != RESET or port.pass_reset)
        ]
        out.extend((name, message, now, player) for name in ports)
        return ports

    def release(self, player: int, now: int, out: Out) -> None:
        """A source that is lost while it runs sends one stop."""
        if player in self.running:
            self.to_clocked_ports(player, bytes((STOP,)), now, out)
