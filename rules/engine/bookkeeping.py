"""What a message's emissions do to ledger and agenda.

A walk has said what a message becomes. Here it is held against what its player has sounding and away from rest, and
then sent, or put on the agenda, alone or on its way through what holds it back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from rules.engine.delivery import Delivery
from rules.engine.evaluation import Clerk, Emission, Walk
from rules.engine.ledger import Press, Rest, Sounding, sounding_of
from rules.engine.merge import Merge
from rules.engine.player import Player
from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import (
    CONTROLLER,
    NOTE_ON,
    POLY_PRESSURE,
    PROGRAM,
    SYSEX,
    is_note_off,
    is_note_on,
    split_message,
)
from rules.midi.neutral import Place, is_at_rest, rest_message, rest_place
from rules.program.holders import Copy, holder_of, in_channel_of
from rules.program.lag import NO_LAG
from rules.program.sending import Mark, Sending
from rules.program.tables import Table
from rules.program.thinning import Entry, Gate, Opening, Passage, Thins, Traveller
from rules.timing.delays import Later
from rules.timing.scheduler import Agenda


class Books:
    """Ledgers, agenda and outputs of one engine."""

    def __init__(self, clerk: Clerk, merge: Merge) -> None:
        self.clerk = clerk
        self.merge = merge
        self.agenda: Agenda[Entry] = Agenda()
        self.players: list[Player] = []
        self.delivery = Delivery(merge, self.players)
        self._thins = Thins(self.agenda)

    @property
    def later(self) -> Later:
        """How delays become times."""
        return self.clerk.later

    # -- one message ------------------------------------------------------------------------------------------------

    def enter(self, player: Player, walk: Walk, message: bytes) -> None:
        """Books everything that a message became."""
        emissions = _once(walk.emissions)
        begins = is_note_on(message)
        if is_note_off(message) and player.ledger.pressed(walk.in_key):
            self._end_first(player, walk.in_key, message)
            emissions = [e for e in emissions if e.literal or not (_is_note(e) and is_note_off(e.message))]
        new = [e for e in emissions if _is_note(e) and is_note_on(e.message)]
        press = Press([], walk.table, walk.word)
        if begins or new:
            self._end_moved(player, walk, {(e.target, e.message[0], e.message[1]) for e in new})
            # a note-on that comes to nothing is noted too: its note-off shall come to nothing as well
            player.presses[walk.in_key] = [*player.ledger.pressed(walk.in_key), press]
        self._emit_all(player, walk, emissions, press)
        if walk.in_key in player.rests:
            self._bring_to_rest(player, walk, message, {rest_place(e.target, e.message) for e in emissions})

    def enter_values(self, player: Player, walk: Walk) -> None:
        """Books what became of a value that came, and was booked, before."""
        emissions = [emission for emission in _once(walk.emissions) if not _is_note(emission)]
        self._emit_all(player, walk, emissions, Press([], walk.table, walk.word))

    def _emit_all(self, player: Player, walk: Walk, emissions: Iterable[Emission], press: Press) -> None:
        gone: set[tuple[object, ...]] = set()
        for emission in emissions:
            if self._emit(player, walk, emission, press, is_twin=emission.likeness in gone):
                gone.add(emission.likeness)

    def _emit(self, player: Player, walk: Walk, emission: Emission, press: Press, is_twin: bool) -> bool:
        """Books one emission; False if a gate keeps it."""
        copy = emission.copy
        emission.lag.join(self.clerk.now, self.later)
        mark: Mark | None = None
        if _is_note(emission):
            if is_note_on(emission.message):
                mark = sounding_of(emission, walk.due(emission.lag))
                press.soundings.append(mark)
                pressed = player.ledger.pressed(walk.in_key)
                if press not in pressed:  # an all notes off that was sent with it had emptied it
                    player.presses[walk.in_key] = [*pressed, press]
            elif emission.literal:
                copy = self._strike_out(player, walk.in_key, emission)
        else:
            mark = self._remember(player, walk, emission)
        sending = Sending(player.number, player.hand, walk.in_key, copy, emission.target, emission.message, mark)
        if emission.way:
            origin = self.agenda.origin()
            return self.travel(Traveller(sending, origin, self.clerk.now, emission.lag, emission.way, is_twin))
        if is_twin:
            sending.mark_out()
        else:
            self.go(walk.due(emission.lag), sending)
        return True

    def go(self, due: int, sending: Sending, origin: int | None = None) -> None:
        """Sends now, or later if it is not yet due."""
        place = rest_place(sending.target, sending.message)
        if place is not None:
            due = self.players[sending.player].in_turn(sending.in_key, place, due, self.clerk.now)
        if due <= self.clerk.now:
            self.delivery.deliver(sending, self.clerk.now)
        else:
            self.agenda.add(due, sending, origin)

    # -- on the way ---------------------------------------------------------------------------------------------------

    def travel(self, traveller: Traveller) -> bool:
        """Takes a message as far on its way as it comes now; False if a gate keeps it."""
        while traveller.way:
            station = traveller.way[0]
            if isinstance(station, Gate):
                time = traveller.lag.due(traveller.base, self.later)
                if time > self.clerk.now:
                    self.agenda.add(time, traveller, traveller.origin)
                    return True
                if not self._thins.passes(traveller, station, time, self.later):
                    traveller.is_twin = False
                    return False
            else:
                traveller.lag = station.after(traveller.lag, traveller.base, self.later)
                traveller.lag.join(traveller.base, self.later)
            traveller.way = traveller.way[1:]
        if traveller.is_twin:
            traveller.sending.mark_out()
        else:
            self.go(traveller.lag.due(traveller.base, self.later), traveller.sending, traveller.origin)
        return True

    def open(self, opening: Opening) -> None:
        """The pause of a gate is over."""
        for traveller in self._thins.open(opening, self.clerk.now):
            self.travel(traveller)

    # -- notes ------------------------------------------------------------------------------------------------------

    def let_fall(self, player: Player, in_key: int, message: bytes) -> None:
        """A controller, bend or pressure that made notes ends them when it falls, whatever the rules say by now."""
        for press in list(player.ledger.pressed(in_key)):
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
        presses = player.ledger.pressed(in_key)
        presses.remove(press)
        if not presses:
            del player.presses[in_key]
        for sounding in press.soundings:
            self.end(player, in_key, sounding, came)

    def _end_first(self, player: Player, in_key: int, message: bytes) -> None:
        """A note-off ends the oldest press of its in-key.

        A press that came to nothing waits for the others: not every source ends each of its note-ons.
        """
        presses = player.ledger.pressed(in_key)
        press = next((press for press in presses if press.soundings), presses[0])
        self._end_press(player, in_key, press, message)

    def _end_moved(self, player: Player, walk: Walk, places: set[Place]) -> None:
        """A second note-on of a held key: what doesn't sound at the new places ends first (ruling 10)."""
        for sounding in player.ledger.strike(walk.in_key, lambda sounding: sounding.place not in places):
            self.end(player, walk.in_key, sounding)

    def end(
        self, player: Player, in_key: int, sounding: Sounding, came: bytes | None = None, now: bool = False
    ) -> None:
        """Sends the note-off of what sounds, as late as its note-on went; with `now`, at once."""
        due = self.clerk.now
        if sounding.lag is not NO_LAG and not now:
            sounding.lag.join(due, self.later)
            due = max(sounding.lag.due(due, self.later), sounding.due)
        message = sounding.off(came)
        self.go(due, Sending(player.number, player.hand, in_key, sounding.copy, sounding.target, message))

    def _strike_out(self, player: Player, in_key: int, emission: Emission) -> Copy:
        """A note-off that a `send` wrote ends the latest such note of the same holder; whose copy that was."""
        place = (emission.target, emission.message[0] | 0x10, emission.message[1])
        for press in reversed(player.ledger.pressed(in_key)):
            for sounding in reversed(press.soundings):
                if sounding.place == place:
                    # the press stays, though it may have nothing left to end, for its own note-off is still to come
                    press.soundings = [other for other in press.soundings if other is not sounding]
                    return sounding.copy
        return emission.copy

    # -- values away from rest ----------------------------------------------------------------------------------------

    def _remember(self, player: Player, walk: Walk, emission: Emission) -> Rest | None:
        """Notes where a value is away from rest; but nobody holds down what a `send` sends."""
        place = rest_place(emission.target, emission.message)
        if place is None or emission.literal:
            return None
        held = player.ledger.resting(walk.in_key)
        if is_at_rest(emission.message, fully=True):
            held.pop(place, None)
            if not held:
                player.rests.pop(walk.in_key, None)
            return None
        rest = held[place] = Rest(walk.table, walk.word, emission.lag, emission.way)
        player.rests[walk.in_key] = held
        return rest

    def _bring_to_rest(self, player: Player, walk: Walk, message: bytes, reached: set[Place | None]) -> None:
        """A release goes to every place that got the press, whatever the rules say by now (ruling 13)."""
        held = player.ledger.resting(walk.in_key)
        passages: dict[Passage, Passage] = {}
        for place, rest in list(held.items()):
            if place not in reached and self._is_released(player, walk.in_key, message, place, rest):
                del held[place]
                self._rest(player, walk.in_key, place, rest, passages)
        if not held:
            del player.rests[walk.in_key]

    def _is_released(self, player: Player, in_key: int, message: bytes, place: Place, rest: Rest) -> bool:
        """Whether a message, on the way that the press took, comes to rest at its place."""
        there = [
            emission.message
            for emission in self._tried(player, in_key, message, rest.table, rest.word).emissions
            if rest_place(emission.target, emission.message) == place
        ]
        if there:
            return is_at_rest(there[-1], fully=False)
        return is_note_off(message) or (
            message[0] & 0xF0 not in (NOTE_ON, PROGRAM) and message[0] < SYSEX and is_at_rest(message, fully=False)
        )

    def _rest(self, player: Player, in_key: int, place: Place, rest: Rest, passages: dict[Passage, Passage]) -> None:
        """Sends the value at rest on the way of the one that was away from it."""
        now, later = self.clerk.now, self.later
        lag = rest.lag.anew(now, later)
        lag.join(now, later)
        sending = Sending(player.number, player.hand, in_key, (), place[0], rest_message(place))
        way = tuple(station.anew(passages) for station in rest.way)
        self.travel(Traveller(sending, self.agenda.origin(), now, lag, way))

    # -- ends -----------------------------------------------------------------------------------------------------

    def drop_pending(self, wanted: Callable[[Sending], bool]) -> None:
        """What is pending of a sort: note-offs and values at rest go out now, all else never."""

        def concerns(entry: Entry) -> bool:
            if isinstance(entry, Opening):
                return True
            return wanted(entry if isinstance(entry, Sending) else entry.sending)

        for entry in self.agenda.take(concerns):
            if isinstance(entry, Opening):
                dropped = self._thins.leave(entry, wanted)
            else:
                dropped = [entry if isinstance(entry, Sending) else entry.sending]
            for sending in dropped:
                place = rest_place(sending.target, sending.message)
                if place is not None:
                    self.players[sending.player].owed.pop((sending.in_key, place), None)
                if _ends_something(sending):
                    self.delivery.deliver(sending, self.clerk.now)

    def end_notes(self, player: Player) -> None:
        """Ends everything that a player has sounding, at once."""
        for in_key in list(player.presses):
            for press in player.ledger.pressed(in_key):
                for sounding in press.soundings:
                    if sounding.is_out:  # else it was pending, and was dropped
                        self.end(player, in_key, sounding, now=True)
        player.presses.clear()

    def end_values(self, player: Player) -> None:
        """Brings everything that a player holds away from rest back to rest, at once."""
        for in_key in list(player.rests):
            for place in player.ledger.resting(in_key):
                self.go(self.clerk.now, Sending(player.number, player.hand, in_key, (), place[0], rest_message(place)))
        player.rests.clear()

    def send_plain(self, target: int, message: bytes, player: int) -> None:
        """Sends what is nobody's: past ledger and merge."""
        self.delivery.send([(target, message, player)], self.clerk.now)

    # -- reload -----------------------------------------------------------------------------------------------------

    def write_out(self, player: Player) -> None:
        """Turns what was noted the short way into full entries, since the tables will change."""
        notes, bends = player.ledger.untold()
        for in_key, place in notes:
            self.merge.press(place, holder_of(player.hand, in_key, ()))
        for in_key, channel, message in bends:
            self.merge.bend(channel, (player.hand, in_channel_of(in_key)), message)
        player.ledger.promote_all()

    def leave_ports(self, targets: frozenset[int]) -> None:
        """Ports that are going: what sounds there ends at once, and so does what is pending for them."""
        if not targets:
            return
        self.drop_pending(lambda sending: sending.target in targets)
        for player in self.players:
            self._leave_notes(player, targets)
            self._leave_values(player, targets)
        self.delivery.send(self.merge.drop_ports(targets), self.clerk.now)

    def _leave_notes(self, player: Player, targets: frozenset[int]) -> None:
        """Ends a player's notes there. Their presses stay, so that the note-offs to come find nothing to end."""
        for in_key in player.presses:
            for press in player.ledger.pressed(in_key):
                for sounding in press.soundings:
                    if sounding.target in targets and sounding.is_out:
                        self.send_plain(sounding.target, sounding.off(), player.number)
                press.soundings = [sounding for sounding in press.soundings if sounding.target not in targets]

    def _leave_values(self, player: Player, targets: frozenset[int]) -> None:
        """Brings a player's values there to rest."""
        for in_key in list(player.rests):
            held = player.ledger.resting(in_key)
            for place in [place for place in held if place[0] in targets]:
                self.send_plain(place[0], rest_message(place), player.number)
                del held[place]
            if not held:
                del player.rests[in_key]

    def change_banks(self, banks: frozenset[tuple[int, int]]) -> None:
        """Where bank selects wait from now on; those that waited elsewhere go out."""
        self.delivery.send(self.merge.change_banks(banks), self.clerk.now)


def _is_note(emission: Emission) -> bool:
    return emission.message[0] < POLY_PRESSURE


def _ends_something(sending: Sending) -> bool:
    """Whether a message ends a note or brings a value to rest."""
    message = sending.message
    if rest_place(sending.target, message) is not None:
        return is_at_rest(message, fully=True)
    return message[0] < POLY_PRESSURE and is_note_off(message)


def _once(emissions: list[Emission]) -> list[Emission]:
    """No message goes twice to one output (ruling 7). What comes through another `thin` may come later, and stays."""
    if len(emissions) < 2:
        return emissions
    kept: dict[tuple[object, ...], Emission] = {}
    for emission in emissions:
        kept.setdefault((emission.likeness, emission.streams), emission)
    return list(kept.values())
