"""A message arrives: the steps of its port, the switches that it turns, the rules (rulings 5, 6, 25)."""

from __future__ import annotations

from tests.model import facts
from tests.model.booking import Booking
from tests.model.chain import Flow, Moment, resumed
from tests.model.chasing import Chasing
from tests.model.keeping import Trigger
from tests.model.merging import Out
from tests.model.routing import Emission, at_port_step, once
from tests.model.state import State


class Arriving:
    """What becomes of channel messages and sysex."""

    def __init__(self, state: State, booking: Booking, chasing: Chasing, trigger: Trigger) -> None:
        self.state = state
        self.booking = booking
        self.chasing = chasing
        self._trigger = trigger
        self._let_in = False
        """Whether anything of the message has come to the rules."""

    def feed(self, player: int, message: bytes, now: int, out: Out) -> None:
        """One message arrives."""
        state = self.state
        in_key = facts.in_key_of(player, message) if facts.has_channel(message) else None
        source, key = state.players[player], in_key or (player, message[0], 0)
        if in_key is not None and not facts.is_note(message):
            self.booking.release_trigger(key, message, now, out)
        moment = Moment(state.switches, state.memory, player, key)
        before = state.memory.frozen()
        arrived = state.way().into_rules(source, message, moment)
        self._let_in = False
        emissions = once(e for flow in arrived for e in self._come_in(flow, player, message, moment, now, out))
        held = state.ledger.presses.get((player, message[0] & 0x0F | 0x90, facts.number_of(message)))
        if in_key is not None and facts.is_key_pressure(message) and held:
            emissions = self.booking.following(held, message, in_key, before) if self._let_in or not arrived else []
        self.booking.dispatch(player, message, in_key, emissions, now, out)

    def _come_in(self, flow: Flow, player: int, message: bytes, moment: Moment, now: int, out: Out) -> list[Emission]:
        """What left the steps of a port turns switches, and goes to the rules; also what a step of the port keeps."""
        source = self.state.players[player]
        if flow.stop is None:
            if self._trigger(player, flow.message, now, out):
                return []
            self._let_in = True
            self.chasing.know(player, flow.message, message)
            moment.switches = dict(self.state.switches)
            return self.state.way().out_of_rules(source, flow, moment)
        behind: list[Emission] = []
        if not facts.is_note(flow.message):
            for each in resumed(flow, flow.message, moment):
                behind += self._come_in(each, player, message, moment, now, out)
        return at_port_step(flow, behind, self.state.way(), source)
