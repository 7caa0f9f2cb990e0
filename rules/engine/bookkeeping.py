"""What a message's events do to ledgers.

An evaluation has said what a message becomes. Here it is held against what its holder has sounding and away from rest.
The same is done for what comes from a player, and for what a waiting node emits: only the ledger is another one.
"""

from __future__ import annotations

from collections.abc import Sequence, Set

from rules.engine.delivery import Sent
from rules.engine.dispatch import Dispatch, last_of
from rules.engine.evaluation import Evaluation
from rules.engine.ledger import Ledger, LedgerKey, Press, Rest, by_note_off
from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import (
    CONTROLLER,
    KEY_PRESSURE,
    NOTE_ON,
    PROGRAM,
    SYSEX,
    is_note_off,
    is_note_on,
    split_message,
)
from rules.midi.neutral import OutputPlace, is_at_rest, rest_message, rest_place
from rules.program.event import Event, Family
from rules.program.tables import Table, in_key_of


class Bookkeeping(Dispatch):
    """Ledgers of players and behind nodes, and what goes out of them."""

    # -- one message ------------------------------------------------------------------------------------------------

    def enter(self, ledger: Ledger, key: LedgerKey, evaluation: Evaluation, out: list[Sent]) -> None:
        """Enter everything that a message became."""
        message, events = evaluation.start.message, evaluation.events
        sounding = evaluation.start.family.sounding
        if sounding is not None:
            events = [event for event in events if _may_follow(event, sounding)]
        begins = is_note_on(message)
        if is_note_off(message):
            if ledger.pressed(key):
                self._end_key(ledger, key, evaluation.start, evaluation.now, out)
                events = [
                    event for event in events if event.literal or not (_is_note(event) and is_note_off(event.message))
                ]
            elif ledger.player < 0 and evaluation.start.ends:
                # a node ends what it began: what was ended by other means has no note-off to come
                events = [event for event in events if event.literal]
        new = [event for event in events if _is_note(event) and is_note_on(event.message)]
        press = Press([], evaluation.table, evaluation.word)
        if begins or new:
            press.places = {event.place for event in new}
            # a key can be struck thousands of times before it is let go, each time at the same places
            if not ledger.sounds_only_at(key, press.places):
                self._end_moved(ledger, key, press.places, evaluation.start.origin, evaluation.now, out)
            # a note-on that comes to nothing is noted too: its note-off shall come to nothing as well
            ledger.add_press(key, press)
        self._enter_events(ledger, key, evaluation, events, press, out)
        if key in ledger.rests:
            self._bring_to_rest(ledger, key, evaluation, events, out)

    def enter_values(self, ledger: Ledger, key: LedgerKey, evaluation: Evaluation, out: list[Sent]) -> None:
        """Enter what became of a value that came, and was entered, before."""
        events = [event for event in evaluation.events if not _is_note(event)]
        self._enter_events(ledger, key, evaluation, events, Press([], evaluation.table, evaluation.word), out)

    def _enter_events(
        self,
        ledger: Ledger,
        key: LedgerKey,
        evaluation: Evaluation,
        events: Sequence[Event],
        press: Press,
        out: list[Sent],
    ) -> None:
        gone = evaluation.start.family.gone
        # One event alone, with no others of its family, can't be sent twice.
        watch = bool(gone) or len(events) > 1
        entered: set[object] = set()
        for event in events:
            if ledger.player < 0 and event.target >= 0 and not self.host.is_present(event.target):
                continue  # a node kept it while its port went
            is_duplicate = is_entered = False
            if watch:
                likeness = (event.target, id(event.node), event.message, event.base, event.lasting)
                is_duplicate = likeness in gone
                if is_duplicate and (_is_note(event) or event.target < 0):
                    continue
                gone.add(likeness)
                is_entered = likeness in entered
                entered.add(likeness)
            if is_entered:
                # what the first one holds may have ended by now, by a reset that was sent with it
                self.find_due(event)
                event.is_out = True
            else:
                self._enter_event(ledger, key, evaluation, event, press, is_duplicate, out)

    def _enter_event(
        self,
        ledger: Ledger,
        key: LedgerKey,
        evaluation: Evaluation,
        event: Event,
        press: Press,
        is_duplicate: bool,
        out: list[Sent],
    ) -> None:
        """Enter one event. A duplicate goes with an identical one, which was sent (ruling 7)."""
        now = evaluation.now
        self.find_due(event)
        if _is_note(event):
            if is_note_on(event.message):
                press.soundings.append(event)
                if not ledger.has_press(key, press):  # an all notes off that was sent with it had emptied it
                    ledger.add_press(key, press)
            elif event.literal:
                self._end_written(ledger, key, event)
        else:
            self._remember(ledger, key, evaluation, event)
        if is_duplicate:
            event.is_out = True
        else:
            self.go(event, now, out)

    # -- behind a node that waits -------------------------------------------------------------------------------------

    def emitted(self, start: Event, now: int, out: list[Sent]) -> None:
        """Evaluate what a waiting node emits behind the node, and enter it into the ledger there."""
        node = start.node
        assert node is not None
        assert node.after is not None
        ledger = self.waiting_nodes.ledger(start.target)
        status, first, _ = split_message(start.message)
        key = (start.player, start.in_key, start.copy, in_key_of(status, first))
        if start.made:
            # the ledger before the node made it, for what the node's own has away from rest: nothing else concerns it
            for rest in ledger.come_to_rest(key, lambda place, rest: True):
                self._rest(rest, start, now, out)
            return
        evaluation = Evaluation(self.host, start, node.after, now, out)
        if status >= KEY_PRESSURE and key in ledger.presses:
            self.let_fall(ledger, key, start, now, out)
        evaluation.run()
        self.enter(ledger, key, evaluation, out)

    # -- notes ------------------------------------------------------------------------------------------------------

    def sounding_at(self, player: int, held: list[Press]) -> set[tuple[int, int, int]]:
        """Return the ports, channels and keys where presses of a player sound, also behind nodes."""
        soundings = [sounding for press in held for sounding in press.soundings]
        if any(sounding.target < 0 for sounding in soundings):
            in_key = soundings[0].in_key
            for ledger, key, holder in self.waiting_nodes.held_by(player):
                if holder == in_key:
                    soundings += [sounding for press in ledger.pressed(key) for sounding in press.soundings]
        return {(sounding.target, sounding.channel, sounding.key) for sounding in soundings}

    def let_fall(self, ledger: Ledger, key: LedgerKey, start: Event, now: int, out: list[Sent]) -> None:
        """End the notes that a controller, bend or pressure made, where it falls; the rules of now do not matter."""
        fallen: list[Press] = []
        left: list[Press] = []
        for press in ledger.pressed(key):
            (fallen if self._falls(start, press, now, out) else left).append(press)
        if left:
            ledger.presses[key] = left
        else:
            del ledger.presses[key]
        for struck in by_note_off([sounding for press in fallen for sounding in press.soundings]):
            self._end(struck, start.origin, now, out)

    def _falls(self, start: Event, press: Press, now: int, out: list[Sent]) -> bool:
        """Return whether a value is below 64 for those who made notes of it, else by itself."""
        heard = self._tried(start, press.table, press.word, now, out).heard
        message = start.message
        if heard or message[0] & 0xF0 == PROGRAM:
            return False in heard
        return is_at_rest(message, fully=False) or (message[0] & 0xF0 == CONTROLLER and message[2] < SWITCH_ON)

    def _tried(self, start: Event, table: Table, word: int, now: int, out: list[Sent]) -> Evaluation:
        """The evaluation that a message would have now, had nothing changed since."""
        again = start.derived(start.message)
        again.family = Family(word)
        again.word = word
        trial = Evaluation(self.host, again, table, now, out)
        trial.trying = True
        trial.run()
        return trial

    def _end_key(self, ledger: Ledger, key: LedgerKey, off: Event, now: int, out: list[Sent]) -> None:
        """End all note-ons of a key by a note-off, wherever they sound, as late as they began (rulings 9, 10)."""
        soundings = [sounding for press in ledger.pressed(key) for sounding in press.soundings]
        del ledger.presses[key]
        for struck in by_note_off(soundings):
            self._end(struck, off.origin, now, out, off.message)

    def _end_moved(
        self, ledger: Ledger, key: LedgerKey, places: Set[OutputPlace], origin: int, now: int, out: list[Sent]
    ) -> None:
        """End what does not sound at the new places, before a second note-on of a held key (ruling 10)."""
        for sounding in ledger.remove_soundings(key, lambda sounding: sounding.place not in places):
            self._end((sounding,), origin, now, out)

    def _end(self, struck: Sequence[Event], origin: int, now: int, out: list[Sent], came: bytes | None = None) -> None:
        """Send the one note-off of what a key has sounding at one place as one echo copy.

        It goes as late as the note-on that goes out last did, counted from the table where that began.
        """
        last = last_of(struck)
        off = last.derived_now(last.off(came), now)
        off.origin = origin
        off.ends = struck
        if self.limit is not None:
            for sounding in struck:
                sounding.ended_by = None if sounding.is_out else off
        self.find_off_due(off, last)
        self.go(off, now, out)

    def end_now(self, sounding: Event, now: int, out: list[Sent]) -> None:
        """Send the note-off of what sounds at a port, at once."""
        if sounding.target >= 0 and sounding.is_out:  # else it was pending, and was dropped
            off = sounding.derived_now(sounding.off(), now)
            off.ends = (sounding,)
            self.go(off, now, out)

    def _end_written(self, ledger: Ledger, key: LedgerKey, event: Event) -> None:
        """End the latest such note of the same holder, also an echo copy, by a note-off that a `send` wrote."""
        place = (event.target, event.message[0] | 0x10, event.message[1])
        for press in reversed(ledger.pressed(key)):
            for sounding in reversed(press.soundings):
                if sounding.place == place:
                    # the press stays, though it may have nothing left to end, for its own note-off is still to come
                    press.soundings = [other for other in press.soundings if other is not sounding]
                    event.copy, event.ends = sounding.copy, (sounding,)
                    return

    # -- values away from rest ----------------------------------------------------------------------------------------

    def _remember(self, ledger: Ledger, key: LedgerKey, evaluation: Evaluation, event: Event) -> None:
        """Note where a value is away from rest; but nobody holds down what a `send` sends."""
        place = rest_place(event.target, event.message)
        if place is None or event.literal:
            return
        if not is_at_rest(event.message, fully=True):
            held = ledger.resting(key)
            held[place] = Rest(event, evaluation.table, evaluation.word)
            ledger.rests[key] = held
            return
        ledger.come_to_rest(key, lambda at, rest: at == place)
        self._forget_everywhere(event, place)

    def _forget_everywhere(self, event: Event, place: OutputPlace) -> None:
        """Forget a value at rest in all ledgers: it may have gone past a node before, or through one."""
        if self.waiting_nodes and event.target >= 0:
            for other, name, in_key in self.held_by(self.players[event.player]):
                if in_key == event.in_key:
                    other.come_to_rest(name, lambda at, rest: at == place)

    def _bring_to_rest(
        self, ledger: Ledger, key: LedgerKey, evaluation: Evaluation, events: Sequence[Event], out: list[Sent]
    ) -> None:
        """Send a release to every place that got the press; the rules of now do not matter (ruling 13)."""
        reached = {rest_place(event.target, event.message) for event in events}
        left = {place: rest for place, rest in ledger.resting(key).items() if place not in reached}
        if left:
            reached = self._reached_behind(events, evaluation.now, out)

        def comes(place: OutputPlace, rest: Rest) -> bool:
            return place in left and place not in reached and self._is_released(evaluation, place, rest, out)

        for rest in ledger.come_to_rest(key, comes):
            self._rest(rest, evaluation.start, evaluation.now, out)

    def _reached_behind(self, events: Sequence[Event], now: int, out: list[Sent]) -> set[OutputPlace | None]:
        """The places that events will come to through nodes that wait."""
        found: set[OutputPlace | None] = set()
        for event in events:
            if event.node is not None and event.node.after is not None:
                start = event.derived(event.message)
                start.family = Family(event.word)
                passing = Evaluation(self.host, start, event.node.after, now, out)
                passing.trying = passing.through = True
                passing.run()
                found |= {rest_place(each.target, each.message) for each in passing.events}
        return found

    def _is_released(self, evaluation: Evaluation, place: OutputPlace, rest: Rest, out: list[Sent]) -> bool:
        """Return whether a message, on the way that the press took, comes to rest at its place."""
        message = evaluation.start.message
        trial = self._tried(evaluation.start, rest.table, rest.word, evaluation.now, out)
        there = [event.message for event in trial.events if rest_place(event.target, event.message) == place]
        if there:
            return is_at_rest(there[-1], fully=False)
        return is_note_off(message) or (
            message[0] & 0xF0 not in (NOTE_ON, PROGRAM) and message[0] < SYSEX and is_at_rest(message, fully=False)
        )

    def _rest(self, rest: Rest, release: Event, now: int, out: list[Sent]) -> None:
        """Send the value at rest on the way of the one that was away from it; it is of the family of its release."""
        place = rest_place(rest.event.target, rest.event.message)
        assert place is not None
        event = rest.event.derived_now(rest_message(place), now)
        event.family = release.family
        event.origin = release.origin
        event.made = True
        self._forget_everywhere(event, place)
        self.find_due(event)
        self.go(event, now, out)


def _is_note(event: Event) -> bool:
    return event.message[0] < KEY_PRESSURE


def _may_follow(event: Event, sounding: set[tuple[int, int, int]]) -> bool:
    """Return whether an event isn't poly pressure for a port where its note doesn't sound (ruling 13)."""
    if event.target < 0 or event.message[0] & 0xF0 != KEY_PRESSURE:
        return True
    return (event.target, event.channel, event.message[1]) in sounding
