"""Outputs that several hands share: notes, pedals, mode messages, parameter numbers, banks (rulings 11, 14-16)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from rules.midi.controllers import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    BANK_LSB,
    BANK_MSB,
    DATA_ENTRY,
    PARAMETER_SELECT,
    PEDALS,
    RESET_CONTROLLERS,
)
from tests.model import facts
from tests.model.facts import Place
from tests.model.ledger import Item, Ledger

Out = list[tuple[str, bytes, int, int]]
"""Port, bytes, the time when it was due, player."""

Hand = tuple[str, int]
Output = tuple[str, int]
NOTE_ENDING_MODES = frozenset({ALL_SOUND_OFF, *range(ALL_NOTES_OFF, 128)})
_NULL = 127


@dataclass(slots=True)
class Selection:
    """A parameter number as selected: the controller of its coarse half (99 NRPN, 101 RPN), and the halves if known."""

    controller: int
    coarse: int | None = None
    fine: int | None = None

    def choose(self, number: int, value: int) -> None:
        """One half is selected anew."""
        if number == self.controller:
            self.coarse = value
        else:
            self.fine = value

    def agrees_with(self, own: Selection) -> bool:
        """Whether whatever is known of `own` is what is selected here."""
        return own.controller == self.controller and own.coarse in (None, self.coarse) and own.fine in (None, self.fine)

    @property
    def is_null(self) -> bool:
        """127 and 127 select nothing."""
        return self.coarse == _NULL and self.fine == _NULL


@dataclass(slots=True)
class Merge:
    """What has gone out for whom.

    `sources` names the source of a player, `shares_banks` says whether two sources can choose sounds at an output,
    `choosing` which have (ruling 16). `ons` and `offs` count what went of a note since nobody sounded it. `chosen` are
    the bank selects that went at once and have no program change yet; some are `overtaken` by another's, or lost.
    """

    ledger: Ledger
    sources: Callable[[int], str]
    shares_banks: Callable[[Output], bool]
    counts: dict[Place, dict[object, int]] = field(default_factory=dict)
    ons: dict[Place, int] = field(default_factory=dict)
    offs: dict[Place, int] = field(default_factory=dict)
    held_back: dict[Place, list[Item]] = field(default_factory=dict)
    note_hands: dict[object, Hand] = field(default_factory=dict)
    pedals: dict[Place, dict[Hand, int]] = field(default_factory=dict)
    pedal_sent: dict[Place, int] = field(default_factory=dict)
    bends: dict[Output, dict[Hand, bytes]] = field(default_factory=dict)
    selections: dict[Output, dict[Hand, Selection]] = field(default_factory=dict)
    selector: dict[Output, Hand] = field(default_factory=dict)
    selected: dict[Output, Selection] = field(default_factory=dict)
    banks: dict[tuple[Output, Hand], dict[int, Item]] = field(default_factory=dict)
    choosing: dict[Output, set[str]] = field(default_factory=dict)
    chosen: dict[tuple[Output, Hand], dict[int, Item]] = field(default_factory=dict)
    overtaken: set[tuple[Output, Hand, int]] = field(default_factory=set)

    def send(self, item: Item, when: int, out: Out) -> None:
        """Sends `item`, or what must go out in its place."""
        message = item.message
        item.was_sent = True
        if not facts.has_channel(message):
            return self.put(item, when, out)
        if facts.is_on(message):
            return self._note_on(item, when, out)
        if facts.is_off(message):
            return self._note_off(item, when, out)
        if facts.is_controller(message):
            return self._controller(item, when, out)
        if message[0] & 0xF0 == 0xC0:
            self._send_banks(item, when, out)
        if message[0] & 0xF0 == 0xE0:
            # The newest stands last.
            bends = self.bends.setdefault(item.output, {})
            bends.pop(item.hand, None)
            bends[item.hand] = message
        self.put(item, when, out)

    def put(self, item: Item, when: int, out: Out) -> None:
        """Sends as it is."""
        out.append((item.port, item.message, when, item.player))

    # Notes (ruling 11)

    def others_sound(self, place: Place, holder: object) -> bool:
        """Whether another holder sounds this note."""
        return any(count > 0 for other, count in self.counts.get(place, {}).items() if other != holder)

    def _is_free(self, place: Place) -> bool:
        return not any(self.counts.get(place, {}).values())

    def _note_on(self, item: Item, when: int, out: Out) -> None:
        place = item.place
        if self._is_free(place):
            self.ons[place] = self.offs[place] = 0
        counts = self.counts.setdefault(place, {})
        counts[item.holder] = counts.get(item.holder, 0) + 1
        self.ons[place] += 1
        self.note_hands[item.holder] = item.hand
        self.put(item, when, out)

    def _note_off(self, item: Item, when: int, out: Out) -> None:
        place, holder = item.place, item.holder
        counts = self.counts.setdefault(place, {})
        ended = sum(sounding.was_sent for sounding in item.ends)
        is_known = ended > 0 and counts.get(holder, 0) > 0
        counts[holder] = max(0, counts.get(holder, 0) - ended)
        if self.others_sound(place, holder):
            # An off with no known on: another's note is not ended by it (ruling 12).
            if is_known:
                self.held_back.setdefault(place, []).append(item)
        elif counts[holder]:
            self.offs[place] += 1
            self.put(item, when, out)
        elif self.held_back.get(place):
            self._let_go_at_last(item, when, out)
        else:
            self.put(item, when, out)

    def _let_go_at_last(self, last: Item, when: int, out: Out) -> None:
        """The last holder lets go of what others waited for: as many offs go out as ons went, less offs gone since."""
        going = [*self.held_back.pop(last.place), last]
        wanted = max(1, self.ons[last.place] - self.offs[last.place])
        while len(going) > wanted:
            del going[0]
        while len(going) < wanted:
            going.append(last)
        for item in going:
            self.put(item, when, out)

    def _let_go(self, place: Place, when: int, out: Out) -> None:
        """The note has ended by other means: the note-offs that were held back go out, as they were."""
        for held in self.held_back.pop(place, []):
            self.put(held, when, out)

    # Controllers

    def _controller(self, item: Item, when: int, out: Out) -> None:
        number = item.message[1]
        if number in PEDALS:
            self._pedal(item, when, out)
        elif number in NOTE_ENDING_MODES:
            self._mode(item, when, out)
        elif number == RESET_CONTROLLERS:
            self.put(item, when, out)
            self.ledger.forget_rests(
                lambda in_key, at: (
                    (self.sources(in_key[0]), facts.in_channel_of(in_key)) == item.hand
                    and (at[0], at[2]) == item.output
                    and self.ledger.rests[in_key][at][2].was_sent
                )
            )
            self._restore(item, when, out)
        elif number in PARAMETER_SELECT:
            self._select(item)
            self.put(item, when, out)
        elif number in DATA_ENTRY:
            self._data(item, when, out)
        elif number in (BANK_MSB, BANK_LSB) and self.shares_banks(item.output):
            self._choose_bank(item, number, when, out)
        else:
            self.put(item, when, out)

    def _pedal(self, item: Item, when: int, out: Out) -> None:
        """The highest value wins (ruling 14)."""
        values = self.pedals.setdefault(item.place, {})
        values[item.hand] = item.message[2]
        shared = any(value > 0 for hand, value in values.items() if hand != item.hand)
        highest = max(values.values())
        if shared and highest == self.pedal_sent.get(item.place, 0):
            return
        self.pedal_sent[item.place] = highest
        self.put(replace(item, message=bytes((*item.message[:2], highest))), when, out)

    def _mode(self, item: Item, when: int, out: Out) -> None:
        """Passes if nobody else sounds on the channel; else it ends this hand's own notes (ruling 15)."""
        places = [place for place in self.counts if place[:1] == (item.port,) and place[2] == item.output[1]]
        others = any(
            count > 0 and self.note_hands[holder] != item.hand
            for place in places
            for holder, count in self.counts[place].items()
        )
        mine = [
            sounding
            for _, sounding in self.ledger.soundings()
            if sounding.was_sent and sounding.on.hand == item.hand and sounding.on.output == item.output
        ]
        self.ledger.forget(lambda sounding: sounding in mine)
        if others:
            for sounding in mine:
                off = facts.made_off(item.output[1], sounding.on.message[1])
                self.send(replace(sounding.on, message=off, sounding=None, ends=[sounding]), when, out)
            return
        self.put(item, when, out)
        ended = dict.fromkeys(sounding.place for sounding in reversed(mine))
        for place in [*reversed(ended), *(place for place in places if place not in ended)]:
            for holder in self.counts[place]:
                self.counts[place][holder] = 0
            self._let_go(place, when, out)

    def _restore(self, item: Item, when: int, out: Out) -> None:
        """After a passed 121: what others hold down is sent again."""
        port, channel = item.output
        for place in sorted(place for place in self.pedals if place[0] == port and place[2] == channel):
            values = self.pedals[place]
            values[item.hand] = 0
            highest = max(values.values())
            self.pedal_sent[place] = highest
            if highest > 0:
                self.put(replace(item, message=bytes((0xB0 | channel, place[3], highest))), when, out)
        bends = self.bends.get(item.output, {})
        bends.pop(item.hand, None)
        if bends and facts.value_of(last := list(bends.values())[-1]) != 0:
            self.put(replace(item, message=last), when, out)

    # Parameter numbers (ruling 16)

    def _select(self, item: Item) -> None:
        number, value = item.message[1:3]
        self._choose(self.selections.setdefault(item.output, {}), item.hand, number, value)
        self._choose(self.selected, item.output, number, value)
        self.selector[item.output] = item.hand

    def _choose(self, selections: dict[Any, Selection], whose: object, number: int, value: int) -> None:
        """One half of a parameter number, for a hand or for the instrument at an output."""
        coarse = number | 1
        selection = selections.get(whose)
        if selection is None or selection.controller != coarse:
            selection = selections[whose] = Selection(coarse)
        selection.choose(number, value)
        if selection.is_null:
            del selections[whose]

    def _data(self, item: Item, when: int, out: Out) -> None:
        """Data belongs to what its own hand selected. Another's null selection is no selection for anybody.

        What the instrument has selected may be mixed of two hands' halves: that is no hand's own.
        """
        selections = self.selections.get(item.output, {})
        selector = self.selector.get(item.output)
        mine = selections.get(item.hand)
        if mine is not None:
            there = self.selected.get(item.output)
            if selector != item.hand or there is None or not there.agrees_with(mine):
                self._select_again(item, mine, when, out)
        elif selector not in (None, item.hand) and selector in selections:
            return
        self.put(item, when, out)

    def _select_again(self, item: Item, selection: Selection, when: int, out: Out) -> None:
        status = item.message[0]
        for number, value in ((selection.controller, selection.coarse), (selection.controller - 1, selection.fine)):
            if value is not None:
                self.put(replace(item, message=bytes((status, number, value))), when, out)
                self._choose(self.selected, item.output, number, value)
        self.selector[item.output] = item.hand

    # Banks (ruling 16)

    def _choose_bank(self, item: Item, number: int, when: int, out: Out) -> None:
        """It waits for its program where another source has chosen a sound, else it goes."""
        name, choosing = (item.output, item.hand), self.choosing.setdefault(item.output, set())
        if choosing - {item.source}:
            self.banks.setdefault(name, {})[number] = item
            return
        choosing.add(item.source)
        self.chosen.setdefault(name, {})[number] = item
        self.overtaken.discard((*name, number))
        self.put(item, when, out)

    def _send_banks(self, program: Item, when: int, out: Out) -> None:
        """What a hand chose goes before its program: what waited, and what went before another source's program."""
        name = (program.output, program.hand)
        if not self.shares_banks(program.output):
            return
        self.choosing.setdefault(program.output, set()).add(program.source)
        self._overtake(lambda output, hand: output == program.output and hand[0] != program.source)
        went = self.chosen.pop(name, {})
        again = {number: item for number, item in went.items() if (*name, number) in self.overtaken}
        self.overtaken = {it for it in self.overtaken if it[:2] != name}
        self.banks[name] = {**again, **self.banks.get(name, {})}
        self._release_bank(name, when, out)

    def _overtake(self, meant: Callable[[Output, Hand], bool]) -> None:
        self.overtaken |= {(*name, number) for name, halves in self.chosen.items() if meant(*name) for number in halves}

    def _release_bank(self, key: tuple[Output, Hand], when: int, out: Out) -> None:
        waiting = self.banks.pop(key, {})
        for number in sorted(waiting):
            self.put(waiting[number], when, out)

    def settle(self, now: int, out: Out, there: Callable[[Output], bool] = lambda output: True) -> None:
        """The bank selects that still wait there go out without their program change."""
        for key in list(self.banks):
            if there(key[0]):
                self._release_bank(key, now, out)

    def forget_settings(self, port: str) -> None:
        """A port that returned has nothing selected, and no pedal down. Who holds what stays."""
        tables: list[dict[Any, Any]] = [self.pedal_sent, self.selected]
        for table in tables:
            for key in [key for key in table if key[0] == port]:
                del table[key]
        self._overtake(lambda output, hand: output[0] == port)

    def forget_port(self, port: str) -> None:
        """A port that is gone holds nothing."""
        tables: list[dict[Any, Any]] = [self.counts, self.held_back, self.pedals, self.pedal_sent]
        tables += [self.bends, self.selections, self.selector, self.selected, self.choosing]
        for table in tables:
            for key in [key for key in table if key[0] == port]:
                del table[key]
        for halves in (self.banks, self.chosen):
            for name in [name for name in halves if name[0][0] == port]:
                del halves[name]
        self.overtaken = {it for it in self.overtaken if it[0][0] != port}
