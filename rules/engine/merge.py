"""Outputs that holders share: who sounds what there, so that no one ends what another still holds (rulings 11-16).

A holder of a note is (hand, in-key, copy); a holder of what concerns a channel is (hand, incoming channel). What
one holder alone sends is never touched.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from rules.engine.bank_selects import BankSelects, ChannelHolder, Going
from rules.midi.controllers import BANK_LSB, BANK_MSB, DATA_ENTRY, PARAMETER_SELECT, PEDALS, RESET_CONTROLLERS
from rules.midi.messages import BEND_CENTRE, CONTROLLER, PITCH_BEND, PROGRAM
from rules.midi.neutral import OutputPlace
from rules.program.event import Event, Holder, channel_holder_of
from rules.program.tables import OutputChannel, in_channel_of, output_channel_of

_NRPN, _RPN = 98, 100
_NO_PARAMETER: Final = 127


@dataclass(slots=True, eq=False)
class _Note:
    """Who sounds one output note, how often, and the note-offs that wait for the last of them.

    `ons` and `offs` are how many went since nobody sounded it.
    """

    counts: dict[Holder, int] = field(default_factory=dict)
    ons: int = 0
    offs: int = 0
    held_back: list[tuple[bytes, int]] = field(default_factory=list)


@dataclass(slots=True)
class _Parameters:
    """The (N)RPN selections of one output channel: each holder's, whose came last, and what they came to together."""

    selections: dict[ChannelHolder, dict[int, int]] = field(default_factory=dict)
    live: ChannelHolder | None = None
    selected: dict[int, int] = field(default_factory=dict)


class Merge:
    """The state of all outputs. `waiting` is what waits there, by player: note-offs and bank selects."""

    def __init__(self, banks: frozenset[OutputChannel]) -> None:
        self.notes: dict[int, Holder | _Note] = {}
        self._pedals: dict[OutputPlace, dict[ChannelHolder, int]] = {}
        self._sent: dict[OutputPlace, int] = {}
        self._bends: dict[OutputChannel, dict[ChannelHolder, bytes]] = {}
        self._parameters: dict[OutputChannel, _Parameters] = {}
        self.waiting: dict[int, list[bytes]] = defaultdict(list)
        self._bank_selects = BankSelects(banks, self.waiting)

    # -- notes ----------------------------------------------------------------------------------------------------

    def press(self, place: int, holder: Holder) -> None:
        """Count a note that a holder sounds once more."""
        if place not in self.notes:
            self.notes[place] = holder
            return
        note = self._note(place)
        note.counts[holder] = note.counts.get(holder, 0) + 1
        note.ons += 1

    def _note(self, place: int) -> _Note:
        """The full entry of a note that sounds; a lone holder who struck it once is kept as its bare name."""
        note = self.notes[place]
        if not isinstance(note, _Note):
            note = self.notes[place] = _Note({note: 1}, ons=1)
        return note

    def held_outside(self, shared: frozenset[OutputChannel]) -> frozenset[int]:
        """The places of notes that are held on other channels than those that are `shared`."""
        return frozenset(place for place in self.notes if output_channel_of(place) not in shared)

    def let_go(self, place: int, holder: Holder, message: bytes, player: int, strikes: int = 1) -> list[Going]:
        """Let a holder's note-off end so many note-ons, 0 if none is known; return what goes out, now or at the end.

        While others sound the note, it waits for the last of them. Then as many go out as note-ons went.
        """
        going = (place >> 11, message, player)
        note = self.notes.get(place)
        if note is None:
            return [going]
        if strikes and note == holder:
            del self.notes[place]
            return [going]
        note = self._note(place)
        others = len(note.counts) > (1 if holder in note.counts else 0)
        known = self._count_down(note, holder, strikes)
        if others:
            if known:
                note.held_back.append((message, player))
                self.waiting[player].append(message)
            return []
        if note.counts:  # other tracks of the same hand sound it: each note-off passes
            note.offs += 1
            return [going]
        del self.notes[place]
        return self._at_last(place, note, going) if note.held_back else [going]

    def _at_last(self, place: int, note: _Note, last: Going) -> list[Going]:
        """Return the note-offs that waited, and the last holder's, made as many as are wanting."""
        wanting = max(1, note.ons - note.offs)
        going = [*self._going(place, note), last]
        return going[-wanting:] + [last] * (wanting - len(going))

    def _going(self, place: int, note: _Note) -> list[Going]:
        """The note-offs that waited at a note."""
        return [self._let_out(place >> 11, message, player) for message, player in note.held_back]

    def _let_out(self, target: int, message: bytes, player: int) -> Going:
        """Return what waited, and waits no more."""
        self.waiting[player].remove(message)
        return target, message, player

    @staticmethod
    def _count_down(note: _Note, holder: Holder, strikes: int) -> bool:
        count = note.counts.get(holder, 0)
        if count > strikes:
            note.counts[holder] = count - strikes
        elif count:
            del note.counts[holder]
        return count > 0 and strikes > 0

    def forget_note(self, place: int, holder: Holder) -> list[Going]:
        """A holder's note was ended by other means; note-offs that waited for it alone go out."""
        if place not in self.notes:
            return []
        note = self._note(place)
        if not self._count_down(note, holder, 1) or note.counts:
            return []
        del self.notes[place]
        return self._going(place, note)

    def forget_channel(self, channel: OutputChannel) -> list[Going]:
        """All notes of an output channel were ended: the note-offs that waited there. Later ones pass as they are."""
        going: list[Going] = []
        for place in [place for place in self.notes if output_channel_of(place) == channel]:
            note = self.notes.pop(place)
            if isinstance(note, _Note):
                going += self._going(place, note)
        return going

    def others_sound(self, channel: OutputChannel, holder: ChannelHolder) -> bool:
        """Return whether another holder sounds anything on an output channel."""
        return any(
            channel_holder_of(each) != holder
            for place, note in self.notes.items()
            if output_channel_of(place) == channel
            for each in (note.counts if isinstance(note, _Note) else (note,))
        )

    # -- what concerns the channel ----------------------------------------------------------------------------------

    def pass_on(self, event: Event) -> list[Going]:
        """Any message but a note, and but 120 and 123-127: what goes out of it."""
        message = event.message
        kind = message[0] & 0xF0
        channel = (event.target, message[0] & 0x0F)
        holder = (event.hand, in_channel_of(event.in_key))
        going = [(event.target, message, event.player)]
        if kind == PITCH_BEND:
            self.bend(channel, holder, message)
        elif kind == PROGRAM:
            return self._bank_selects.before_program(channel, holder) + going
        elif kind == CONTROLLER:
            number, value = message[1:]
            if number in PEDALS:
                return self._pedal((event.target, message[0], number), holder, value, event)
            if number in (BANK_MSB, BANK_LSB) and channel in self._bank_selects.channels:
                return self._bank_selects.choose(channel, holder, number, event)
            if number in PARAMETER_SELECT:
                self._select(channel, holder, number, value)
            elif number in DATA_ENTRY:
                return self._data(channel, holder, event)
            elif number == RESET_CONTROLLERS:
                return going + self._reset(channel, holder, event.player)
        return going

    def _pedal(self, place: OutputPlace, holder: ChannelHolder, value: int, event: Event) -> list[Going]:
        """Two holders' pedals on one channel: the highest value wins (ruling 14)."""
        values = self._pedals.setdefault(place, {})
        values.pop(holder, None)
        others = max(values.values(), default=0)
        if value:
            values[holder] = value
        highest = max(value, others)
        if others and highest == self._sent.get(place):
            return []
        self._sent[place] = highest
        return [(place[0], bytes((place[1], place[2], highest)), event.player)]

    def forget_pedal(self, place: OutputPlace, holder: ChannelHolder) -> None:
        """Count the pedal of a holder, or whatever else is at a place, no more: it is about to come to rest."""
        if place in self._pedals:
            self._pedals[place].pop(holder, None)

    def bend(self, channel: OutputChannel, holder: ChannelHolder, message: bytes) -> None:
        """Note where a holder bends a channel to, in case another resets it; the latest stands last."""
        bends = self._bends.setdefault(channel, {})
        bends.pop(holder, None)
        bends[holder] = message

    def _select(self, channel: OutputChannel, holder: ChannelHolder, number: int, value: int) -> None:
        """Select a parameter number, registered (100, 101) or not (98, 99)."""
        parameters = self._parameters.setdefault(channel, _Parameters())
        parameters.selections[holder] = _selection(parameters.selections.get(holder, {}), {number: value})
        parameters.selected = _selection(parameters.selected, {number: value})
        parameters.live = holder

    def _data(self, channel: OutputChannel, holder: ChannelHolder, event: Event) -> list[Going]:
        """Data for the selected parameter: if another selected since, the own choice goes again (ruling 16)."""
        going = [(event.target, event.message, event.player)]
        parameters = self._parameters.get(channel)
        if parameters is None or parameters.live is None:
            return going
        own = parameters.selections.get(holder)
        if own and (parameters.live != holder or not own.items() <= parameters.selected.items()):
            parameters.live = holder
            parameters.selected = _selection(parameters.selected, own)
            again = [bytes((event.message[0], number, own[number])) for number in sorted(own, reverse=True)]
            return [(event.target, message, event.player) for message in again] + going
        is_anothers = parameters.live != holder and bool(parameters.selections.get(parameters.live))
        return [] if is_anothers else going

    def _reset(self, channel: OutputChannel, holder: ChannelHolder, player: int) -> list[Going]:
        """After reset all controllers: what other holders hold is sent again (ruling 15)."""
        target, number = channel
        going = []
        for place in sorted(self._pedals):
            if place[:2] != (target, CONTROLLER | number):
                continue
            values = self._pedals[place]
            values.pop(holder, None)
            self._sent[place] = max(values.values(), default=0)
            if values:
                going.append((target, bytes((place[1], place[2], self._sent[place])), player))
        bends = self._bends.get(channel, {})
        bends.pop(holder, None)
        last = next(reversed(bends.values()), None)
        if last is not None and last[2] << 7 | last[1] != BEND_CENTRE:
            going.append((target, last, player))
        return going

    def settle(self) -> list[Going]:
        """Take out the bank selects that still wait, at the end of a performance."""
        return self._bank_selects.settle()

    def change_banks(self, banks: frozenset[OutputChannel]) -> list[Going]:
        """Set where bank selects may wait from now on; return those that need not wait any more."""
        return self._bank_selects.change(banks)

    # -- ends -----------------------------------------------------------------------------------------------------

    def clear(self) -> None:
        """Forget all that is held, after a panic. Who chooses sounds where is still known."""
        for state in (self.notes, self._pedals, self._sent, self._bends, self._parameters):
            state.clear()
        self._bank_selects.clear()
        self.waiting.clear()

    def return_port(self, target: int) -> None:
        """Forget what was selected and which pedals were down at a port that has returned. Who holds what stays."""
        self._sent = {place: value for place, value in self._sent.items() if place[0] != target}
        for channel, parameters in self._parameters.items():
            if channel[0] == target:
                parameters.selected = {}
        self._bank_selects.return_port(target)

    def drop_ports(self, targets: Iterable[int]) -> list[Going]:
        """Ports that are going: nothing is held there any more; the note-offs that still waited."""
        gone = frozenset(targets)
        going: list[Going] = []
        for place in [place for place in self.notes if output_channel_of(place)[0] in gone]:
            note = self.notes.pop(place)
            if isinstance(note, _Note):
                going += self._going(place, note)
        self._pedals = {place: values for place, values in self._pedals.items() if place[0] not in gone}
        self._sent = {place: value for place, value in self._sent.items() if place[0] not in gone}
        self._bends = {place: bends for place, bends in self._bends.items() if place[0] not in gone}
        self._parameters = {place: known for place, known in self._parameters.items() if place[0] not in gone}
        self._bank_selects.drop_ports(gone)
        return going


def _selection(before: dict[int, int], halves: dict[int, int]) -> dict[int, int]:
    """Return what is selected after parameter numbers: one sort forgets the other, and 127 twice selects nothing."""
    low = _RPN if min(halves) >= _RPN else _NRPN
    selection = {half: before[half] for half in (low, low + 1) if half in before} | halves
    return {} if selection.get(low) == selection.get(low + 1) == _NO_PARAMETER else selection
