"""What a message's emissions do to ledger, agenda and outputs.

A walk has said what a message becomes. Here it is held against what its player has sounding and away from rest, and
then sent, or put on the agenda, where it is met by what other holders do at the same output.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from rules.agenda import Agenda, Sending
from rules.holder import Copy, holder_of, in_channel_of, note_place
from rules.lag import NO_LAG
from rules.ledger import Press, Rest, Sounding, cell_soundings, sounding_of
from rules.merge import Merge
from rules.messages import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    CONTROLLER,
    NOTE_OFF,
    NOTE_ON,
    POLY_PRESSURE,
    PROGRAM,
    RESET_CONTROLLERS,
    SWITCH_ON,
    SYSEX,
    split_message,
)
from rules.pipeline import SHARED, Cell, Table
from rules.player import Player
from rules.rest import Place, is_at_rest, rest_message, rest_place
from rules.tempo import Later
from rules.walk import Clerk, Emission, Walk

Sent = tuple[int, bytes, int, int]
"""Port number, message, due time, player."""

EVERY_NOTE_ENDS: Final = frozenset({ALL_SOUND_OFF, *range(ALL_NOTES_OFF, 128)})
"""The mode messages that end all notes of a channel (MIDI 1.0 p.20)."""


def is_note_on(message: bytes) -> bool:
    """Whether a message begins a note."""
    return message[0] & 0xF0 == NOTE_ON and message[2] > 0


def is_note_off(message: bytes) -> bool:
    """Whether a message ends a note, in either form."""
    kind = message[0] & 0xF0
    return kind == NOTE_OFF or (kind == NOTE_ON and message[2] == 0)


class Books:
    """Ledgers, agenda and merge of one engine. `out` is the list that the caller gave."""

    def __init__(self, clerk: Clerk, merge: Merge) -> None:
        self.clerk = clerk
        self.merge = merge
        self.agenda = Agenda()
        self.players: list[Player] = []
        self.out: list[Sent] = []

    @property
    def later(self) -> Later:
        """How delays become times."""
        return self.clerk.later

    # -- one message ------------------------------------------------------------------------------------------------

    def enter(self, player: Player, walk: Walk, message: bytes, woken: bool = False) -> None:
        """Books everything that a message became; `woken` says that it came earlier, and was booked then."""
        emissions = _once(walk.emissions)
        begins = is_note_on(message)
        if is_note_off(message) and player.pressed(walk.in_key):
            self._end_first(player, walk.in_key, message)
            emissions = [e for e in emissions if e.literal or not (_is_note(e) and is_note_off(e.message))]
        places = [rest_place(e.target, e.message) for e in emissions]
        new = [e for e in emissions if _is_note(e) and is_note_on(e.message)]
        press = Press([], walk.table, walk.word)
        if begins or new:
            self._end_moved(player, walk, {(e.target, e.message[0], e.message[1]) for e in new})
            # a note-on that comes to nothing is noted too: its note-off shall come to nothing as well
            player.presses[walk.in_key] = [*player.pressed(walk.in_key), press]
        for emission, place in zip(emissions, places, strict=True):
            self._emit(player, walk, emission, place, press)
        if walk.in_key in player.rests and not woken:
            self._bring_to_rest(player, walk, message, {*places, *walk.promised})

    def _emit(self, player: Player, walk: Walk, emission: Emission, place: Place | None, press: Press) -> None:
        due = walk.due(emission.lag)
        copy = emission.copy
        if _is_note(emission):
            if is_note_on(emission.message):
                press.soundings.append(sounding_of(emission, due))
                if press not in player.pressed(walk.in_key):  # a note-off that was sent with it had emptied it
                    player.presses[walk.in_key] = [*player.pressed(walk.in_key), press]
            elif emission.literal:
                copy = self._strike_out(player, walk.in_key, emission)
        elif place is not None and not emission.literal:  # nobody holds down what a `send` sends
            self._remember(player, walk, emission, place)
        self.go(due, Sending(player.number, player.source, walk.in_key, copy, emission.target, emission.message))

    def go(self, due: int, sending: Sending) -> None:
        """Sends now, or later if it is not yet due."""
        if due <= self.clerk.now:
            self.deliver(sending, self.clerk.now)
        else:
            self.agenda.add(due, sending)

    # -- notes ------------------------------------------------------------------------------------------------------

    def let_fall(self, player: Player, in_key: int, message: bytes) -> None:
        """A controller, bend or pressure that made notes ends them when it falls, whatever the rules say by now."""
        for press in list(player.pressed(in_key)):
            if self._falls(player, in_key, message, press):
                self._end_press(player, in_key, press)

    def _falls(self, player: Player, in_key: int, message: bytes, press: Press) -> bool:
        """Whether a value is below 64 for those who made notes of it, else by itself."""
        heard = self._tried(player, in_key, message, press.table, press.word).heard
        if heard or message[0] & 0xF0 == PROGRAM:
            return False in heard
        return is_at_rest(message, fully=False) or (message[0] & 0xF0 == CONTROLLER and message[2] < SWITCH_ON)

    def _tried(self, player: Player, in_key: int, message: bytes, table: Table, word: int) -> Walk:
        """A walk that a message would take now, had nothing changed since."""
        trial = Walk(self.clerk, player.number, in_key, self.clerk.now, word, message, table)
        trial.trying = True
        trial.follow(table, *split_message(message))
        return trial

    def _end_press(self, player: Player, in_key: int, press: Press, came: bytes | None = None) -> None:
        """A press ends, wherever it sounds, as late as it began (ruling 9)."""
        presses = player.pressed(in_key)
        presses.remove(press)
        if not presses:
            del player.presses[in_key]
        for sounding in press.soundings:
            self.end(player, in_key, sounding, came)

    def _end_first(self, player: Player, in_key: int, message: bytes) -> None:
        """A note-off ends the oldest press of its in-key.

        A press that came to nothing waits for the others: not every source ends each of its note-ons.
        """
        presses = player.pressed(in_key)
        press = next((press for press in presses if press.soundings), presses[0])
        self._end_press(player, in_key, press, message)

    def _end_moved(self, player: Player, walk: Walk, places: set[Place]) -> None:
        """A second note-on of a held key: what doesn't sound at the new places ends first (ruling 10)."""
        for sounding in self._strike(player, walk.in_key, lambda sounding: sounding.place not in places):
            self.end(player, walk.in_key, sounding)

    @staticmethod
    def _strike(player: Player, in_key: int, goes: Callable[[Sounding], bool]) -> list[Sounding]:
        """Takes soundings out of the ledger, and presses that this empties; what was taken, in the order pressed."""
        struck: list[Sounding] = []
        left: list[Press] = []
        for press in player.pressed(in_key):
            going = [sounding for sounding in press.soundings if goes(sounding)]
            struck += going
            press.soundings = [sounding for sounding in press.soundings if sounding not in going]
            if press.soundings or not going:
                left.append(press)
        if left:
            player.presses[in_key] = left
        else:
            player.presses.pop(in_key, None)
        return struck

    def end(
        self,
        player: Player,
        in_key: int,
        sounding: Sounding,
        came: bytes | None = None,
        now: bool = False,
    ) -> None:
        """Sends the note-off of what sounds, as late as its note-on went; with `now`, at once."""
        due = self.clerk.now
        if sounding.lag is not NO_LAG and not now:
            due = max(sounding.lag.due(due, self.later), sounding.due)
            sounding.lag.note_due(due)
        message = sounding.off(came)
        self.go(due, Sending(player.number, player.source, in_key, sounding.copy, sounding.target, message))

    def _strike_out(self, player: Player, in_key: int, emission: Emission) -> Copy:
        """A note-off that a `send` wrote ends the latest such note of the same holder; whose copy that was."""
        place = (emission.target, emission.message[0] | 0x10, emission.message[1])
        found = [s for press in player.pressed(in_key) for s in press.soundings if s.place == place]
        if not found:
            return emission.copy
        self._strike(player, in_key, lambda sounding: sounding is found[-1])
        return found[-1].copy

    # -- values away from rest ----------------------------------------------------------------------------------------

    def _remember(self, player: Player, walk: Walk, emission: Emission, place: Place) -> None:
        held = player.resting(walk.in_key)
        if is_at_rest(emission.message, fully=True):
            held.pop(place, None)
            if not held:
                player.rests.pop(walk.in_key, None)
        else:
            held[place] = Rest(walk.table, walk.word, emission.lag)
            player.rests[walk.in_key] = held

    def _bring_to_rest(self, player: Player, walk: Walk, message: bytes, reached: set[Place | None]) -> None:
        """A release goes to every place that got the press, whatever the rules say by now (ruling 13)."""
        held = player.resting(walk.in_key)
        for place, rest in list(held.items()):
            if place in reached or not self._is_released(player, walk, message, place, rest):
                continue
            del held[place]
            if not self.clerk.bring_waiting_to_rest(player.number, walk.in_key):
                self.rest(player, walk.in_key, place, rest)
        if not held:
            del player.rests[walk.in_key]

    def _is_released(self, player: Player, walk: Walk, message: bytes, place: Place, rest: Rest) -> bool:
        """Whether a message, on the way that the press took, comes to rest at its place."""
        for emission in self._tried(player, walk.in_key, message, rest.table, rest.word).emissions:
            if rest_place(emission.target, emission.message) == place:
                return is_at_rest(emission.message, fully=False)
        return is_note_off(message) or (
            message[0] & 0xF0 not in (NOTE_ON, PROGRAM) and is_at_rest(message, fully=False)
        )

    def rest(self, player: Player, in_key: int, place: Place, rest: Rest, now: bool = False) -> None:
        """Brings a place to rest, as late as its press went; with `now`, at once."""
        due = self.clerk.now
        if rest.lag is not NO_LAG and not now:
            due = rest.lag.due(due, self.later)
            rest.lag.note_due(due)
        self.go(due, Sending(player.number, player.source, in_key, (), place[0], rest_message(place)))

    # -- at the outputs -----------------------------------------------------------------------------------------------

    def deliver(self, sending: Sending, due: int) -> None:
        """Sends what is due, as far as other holders at the same output let it."""
        message = sending.message
        status = message[0]
        if status >= SYSEX:
            self.out.append((sending.target, message, due, sending.player))
            return
        if status < POLY_PRESSURE:
            place = note_place(sending.target, status, message[1])
            holder = holder_of(sending.source, sending.in_key, sending.copy)
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
        for target, data, player in going:
            self.out.append((target, data, due, player))

    def _end_every_note(self, sending: Sending, due: int) -> None:
        """A mode message that ends notes: passes if no one else sounds there, else becomes note-offs (ruling 15)."""
        channel = (sending.target, sending.message[0] & 0x0F)
        holder = (sending.source, in_channel_of(sending.in_key))
        shared = self.merge.others_sound(channel, holder)
        if not shared:
            self.out.append((sending.target, sending.message, due, sending.player))
        for player, in_key, sounding in self._strike_channel(channel, holder):
            name = holder_of(player.source, in_key, sounding.copy)
            if shared:
                self.deliver(
                    Sending(
                        player.number,
                        player.source,
                        in_key,
                        sounding.copy,
                        sounding.target,
                        sounding.off(),
                    ),
                    due,
                )
            else:
                for target, data, number in self.merge.forget_note(sounding.note_place, name):
                    self.out.append((target, data, due, number))

    def _strike_channel(
        self, channel: tuple[int, int], holder: tuple[int, int]
    ) -> Iterable[tuple[Player, int, Sounding]]:
        """Takes everything that a holder sounds on an output channel out of the ledgers."""
        found = []
        for player in self.players:
            if player.source != holder[0]:
                continue
            for in_key in [key for key in player.presses if in_channel_of(key) == holder[1]]:
                # what is still to come isn't ended by this, and keeps its note-off
                struck = self._strike(
                    player, in_key, lambda s: (s.target, s.channel) == channel and s.due <= self.clerk.now
                )
                found += [(player, in_key, sounding) for sounding in struck]
        return found

    def _forget_rests(self, sending: Sending) -> None:
        """After reset all controllers the sender holds nothing away from rest on that channel."""
        for player in self.players:
            if player.source != sending.source:
                continue
            for in_key in [key for key in player.rests if in_channel_of(key) == in_channel_of(sending.in_key)]:
                held = player.resting(in_key)
                for place in list(held):
                    if place[0] == sending.target and place[1] & 0x0F == sending.message[0] & 0x0F:
                        del held[place]
                if not held:
                    del player.rests[in_key]

    # -- ends -----------------------------------------------------------------------------------------------------

    def drop_pending(self, wanted: Callable[[Sending], bool]) -> None:
        """What is on the agenda of a sort: note-offs and values at rest go out now, all else never."""
        for entry in self.agenda.take(lambda entry: isinstance(entry, Sending) and wanted(entry)):
            assert isinstance(entry, Sending)
            message = entry.message
            if message[0] >= SYSEX:
                continue
            rests = rest_place(entry.target, message) is not None and is_at_rest(message, fully=True)
            if rests or (message[0] < POLY_PRESSURE and is_note_off(message)):
                self.deliver(entry, self.clerk.now)

    def end_notes(self, player: Player) -> None:
        """Ends everything that a player has sounding, at once."""
        for in_key in list(player.presses):
            for press in player.pressed(in_key):
                for sounding in press.soundings:
                    if sounding.due <= self.clerk.now:  # else it was pending, and was dropped
                        self.end(player, in_key, sounding, now=True)
        player.presses.clear()

    def end_values(self, player: Player) -> None:
        """Brings everything that a player holds away from rest back to rest, at once."""
        for in_key in list(player.rests):
            for place, rest in player.resting(in_key).items():
                self.rest(player, in_key, place, rest, now=True)
        player.rests.clear()

    def send_plain(self, target: int, message: bytes, player: int) -> None:
        """Sends what is nobody's: past ledger and merge."""
        self.out.append((target, message, self.clerk.now, player))

    # -- reload -----------------------------------------------------------------------------------------------------

    def write_out(self, player: Player) -> None:
        """Turns what was noted the short way into full entries, since the tables will change."""
        for in_key, held in player.presses.items():
            if isinstance(held, Cell) and held.way != SHARED:
                for sounding in cell_soundings(held, in_key):
                    self.merge.press(sounding.note_place, holder_of(player.source, in_key, ()))
        player.write_out()

    def leave_ports(self, targets: frozenset[int]) -> None:
        """Ports that are going: what sounds there ends at once, and so does what is pending for them."""
        if not targets:
            return
        self.drop_pending(lambda sending: sending.target in targets)
        for player in self.players:
            self._leave_notes(player, targets)
            self._leave_values(player, targets)
        for target, message, number in self.merge.drop_ports(targets):
            self.send_plain(target, message, number)

    def _leave_notes(self, player: Player, targets: frozenset[int]) -> None:
        """Ends a player's notes there. Their presses stay, so that the note-offs to come find nothing to end."""
        for in_key in player.presses:
            for press in player.pressed(in_key):
                for sounding in press.soundings:
                    if sounding.target in targets and sounding.due <= self.clerk.now:
                        self.send_plain(sounding.target, sounding.off(), player.number)
                press.soundings = [sounding for sounding in press.soundings if sounding.target not in targets]

    def _leave_values(self, player: Player, targets: frozenset[int]) -> None:
        """Brings a player's values there to rest."""
        for in_key in list(player.rests):
            held = player.resting(in_key)
            for place in [place for place in held if place[0] in targets]:
                self.send_plain(place[0], rest_message(place), player.number)
                del held[place]
            if not held:
                del player.rests[in_key]

    def change_banks(self, banks: frozenset[tuple[int, int]]) -> None:
        """Where bank selects wait from now on; those that waited elsewhere go out."""
        for target, message, player in self.merge.change_banks(banks):
            self.out.append((target, message, self.clerk.now, player))


def _is_note(emission: Emission) -> bool:
    return emission.message[0] < POLY_PRESSURE


def _once(emissions: list[Emission]) -> list[Emission]:
    """No message goes twice to one output at one time (ruling 7)."""
    if len(emissions) < 2:
        return emissions
    kept: dict[tuple[object, ...], Emission] = {}
    for emission in emissions:
        kept.setdefault(emission.likeness, emission)
    return list(kept.values())
