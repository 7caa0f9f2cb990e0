"""What goes out at once: past what other holders do at the same output, into the caller's list.

Mode messages end notes, and a reset brings values to rest, so they reach into the ledgers as well (ruling 15).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from rules.engine.ledger import Ledger, LedgerKey
from rules.engine.merge import Merge
from rules.midi.controllers import EVERY_NOTE_ENDS, RESET_CONTROLLERS
from rules.midi.messages import CONTROLLER, KEY_PRESSURE, SYSEX, is_note_on
from rules.program.event import Event, holder_of
from rules.program.tables import in_channel_of, note_place

Sent = tuple[int, bytes, int, int]
"""Port number, message, due time, player."""

HeldBy = Callable[[int], Iterator[tuple[Ledger, LedgerKey, int]]]
"""Given a hand: each ledger and key under which it may hold something, with the in-key."""


class Delivery:
    """The outputs of one engine. `held_by` finds what a hand holds in all ledgers."""

    def __init__(self, merge: Merge, held_by: HeldBy) -> None:
        self.merge = merge
        self._held_by = held_by

    def deliver(self, event: Event, due: int, out: list[Sent]) -> None:
        """Send what is due, as far as other holders at the same output let it."""
        message = event.message
        status = message[0]
        event.is_out = True
        if status >= SYSEX:
            out.append((event.target, message, due, event.player))
            return
        if status < KEY_PRESSURE:
            place = note_place(event.target, status, message[1])
            holder = holder_of(event.hand, event.in_key, event.copy)
            if is_note_on(message):
                self.merge.press(place, holder)
                out.append((event.target, message, due, event.player))
                return
            strikes = len([each for each in event.ends if each.is_out])
            going = self.merge.let_go(place, holder, message, event.player, strikes)
        elif status & 0xF0 == CONTROLLER and message[1] in EVERY_NOTE_ENDS:
            self._end_every_note(event, due, out)
            return
        else:
            if status & 0xF0 == CONTROLLER and message[1] == RESET_CONTROLLERS:
                self._forget_rests(event)
            going = self.merge.pass_on(event)
        send(going, due, out)

    def _end_every_note(self, event: Event, due: int, out: list[Sent]) -> None:
        """Send a mode message that ends notes; where others sound, only note-offs of the sender's notes (ruling 15)."""
        channel = (event.target, event.message[0] & 0x0F)
        holder = (event.hand, in_channel_of(event.in_key))
        shared = self.merge.others_sound(channel, holder)
        if not shared:
            out.append((event.target, event.message, due, event.player))
        for sounding in self._remove_channel(channel, holder):
            if shared:
                off = sounding.derived(sounding.off())
                off.ends = (sounding,)
                self.deliver(off, due, out)
            else:
                name = holder_of(sounding.hand, sounding.in_key, sounding.copy)
                send(self.merge.forget_note(sounding.note_place, name), due, out)
        if not shared:
            send(self.merge.forget_channel(channel), due, out)

    def _remove_channel(self, channel: tuple[int, int], holder: tuple[int, int]) -> list[Event]:
        """Remove from the ledgers what a holder sounds on an output channel, and return it."""
        found: list[Event] = []
        for ledger, key, in_key in self._held_by(holder[0]):
            if in_channel_of(in_key) == holder[1]:
                # what is still to come isn't ended by this, and keeps its note-off
                found += ledger.remove_soundings(key, lambda s: (s.target, s.channel) == channel and s.is_out)
        return found

    def _forget_rests(self, event: Event) -> None:
        """Forget what the sender of a reset holds away from rest on that channel."""
        channel = (event.target, event.channel)
        for ledger, key, in_key in self._held_by(event.hand):
            if in_channel_of(in_key) == in_channel_of(event.in_key):
                ledger.come_to_rest(
                    key, lambda place, rest: (place[0], place[1] & 0x0F) == channel and rest.event.is_out
                )


def send(going: Iterable[tuple[int, bytes, int]], due: int, out: list[Sent]) -> None:
    """Send what is nobody's any more: past ledger and merge."""
    for target, message, player in going:
        out.append((target, message, due, player))
