"""What goes out at once: past what other holders do at the same output, into the caller's list.

Mode messages end notes, and a reset brings values to rest, so they reach into the ledgers as well (ruling 15).
"""

from __future__ import annotations

from collections.abc import Iterable

from rules.engine.ledger import Sounding
from rules.engine.merge import Merge
from rules.engine.player import Player
from rules.midi.controllers import EVERY_NOTE_ENDS, RESET_CONTROLLERS
from rules.midi.messages import CONTROLLER, POLY_PRESSURE, SYSEX, is_note_on
from rules.program.holders import holder_of, in_channel_of, note_place
from rules.program.sending import Sending

Sent = tuple[int, bytes, int, int]
"""Port number, message, due time, player."""


class Delivery:
    """The outputs of one engine and the players' ledgers. `out` is the list that the caller gave."""

    def __init__(self, merge: Merge, players: list[Player]) -> None:
        self.merge = merge
        self.players = players
        self.out: list[Sent] = []

    def deliver(self, sending: Sending, due: int) -> None:
        """Sends what is due, as far as other holders at the same output let it."""
        message = sending.message
        status = message[0]
        sending.mark_out()
        if status >= SYSEX:
            self.out.append((sending.target, message, due, sending.player))
            return
        if status < POLY_PRESSURE:
            place = note_place(sending.target, status, message[1])
            holder = holder_of(sending.hand, sending.in_key, sending.copy)
            if is_note_on(message):
                self.merge.press(place, holder)
                self.out.append((sending.target, message, due, sending.player))
                return
            going = self.merge.let_go(place, holder, message, sending.player)
        elif status & 0xF0 == CONTROLLER and message[1] in EVERY_NOTE_ENDS:
            self._end_every_note(sending, due)
            return
        else:
            if status & 0xF0 == CONTROLLER and message[1] == RESET_CONTROLLERS:
                self._forget_rests(sending)
            going = self.merge.pass_on(sending)
        self.send(going, due)

    def send(self, going: Iterable[tuple[int, bytes, int]], due: int) -> None:
        """Sends what is nobody's any more: past ledger and merge."""
        for target, message, player in going:
            self.out.append((target, message, due, player))

    def _end_every_note(self, sending: Sending, due: int) -> None:
        """A mode message that ends notes: passes if no one else sounds there, else becomes note-offs (ruling 15)."""
        channel = (sending.target, sending.message[0] & 0x0F)
        holder = (sending.hand, in_channel_of(sending.in_key))
        shared = self.merge.others_sound(channel, holder)
        if not shared:
            self.out.append((sending.target, sending.message, due, sending.player))
        for player, in_key, sounding in self._strike_channel(channel, holder):
            if shared:
                copy, target, off = sounding.copy, sounding.target, sounding.off()
                self.deliver(Sending(player.number, player.hand, in_key, copy, target, off), due)
            else:
                name = holder_of(player.hand, in_key, sounding.copy)
                self.send(self.merge.forget_note(sounding.note_place, name), due)
        if not shared:
            self.send(self.merge.forget_channel(channel), due)

    def _strike_channel(
        self, channel: tuple[int, int], holder: tuple[int, int]
    ) -> Iterable[tuple[Player, int, Sounding]]:
        """Takes everything that a holder sounds on an output channel out of the ledgers."""
        found = []
        for player in self.players:
            if player.hand != holder[0]:
                continue
            for in_key in [key for key in player.presses if in_channel_of(key) == holder[1]]:
                # what is still to come isn't ended by this, and keeps its note-off
                struck = player.ledger.strike(in_key, lambda s: (s.target, s.channel) == channel and s.is_out)
                found += [(player, in_key, sounding) for sounding in struck]
        return found

    def _forget_rests(self, sending: Sending) -> None:
        """After reset all controllers the sender holds nothing away from rest on that channel."""
        channel = (sending.target, sending.message[0] & 0x0F)
        for player in self.players:
            if player.hand != sending.hand:
                continue
            for in_key in [key for key in player.rests if in_channel_of(key) == in_channel_of(sending.in_key)]:
                held = player.ledger.resting(in_key)
                for place, rest in list(held.items()):
                    if (place[0], place[1] & 0x0F) == channel and rest.is_out:
                        del held[place]
                if not held:
                    del player.rests[in_key]
