"""Presses and releases: what a message became is held against what its hand holds, and sent (rulings 9, 10, 12)."""

from __future__ import annotations

from dataclasses import replace

from rules.midi.controllers import SWITCH_ON
from tests.model import facts
from tests.model.chain import Memory, shaped_release
from tests.model.facts import InKey
from tests.model.ledger import Family, Item, Key, Press, Sounding, by_note_off
from tests.model.merging import Out
from tests.model.resting import Resting
from tests.model.routing import Emission, Way, WayBehind
from tests.model.state import State
from tests.model.timing import Start, Timing, last_of


class Booking:
    """Keeps the ledger."""

    def __init__(self, state: State, timing: Timing, resting: Resting) -> None:
        self.state = state
        self.ledger = state.ledger
        self.timing = timing
        self.resting = resting

    def dispatch(
        self, player: int, message: bytes, in_key: InKey | None, emissions: list[Emission], now: int, out: Out
    ) -> None:
        """Sends what came of a message, and what is owed to what it lets go."""
        way = self.state.way()
        start = Start(
            player, in_key, in_key, Family(ruleset=self.state.ruleset, switches=dict(self.state.switches)), now
        )
        if in_key is None:
            return self.emit_all(emissions, start, Press(way, []), now, out)
        self.book(start, message, emissions, way, now, out)

    def book(
        self, start: Start, message: bytes, emissions: list[Emission], way: Way | WayBehind, now: int, out: Out
    ) -> None:
        """Holds what a message became against what its hand holds, and sends it."""
        key = start.key
        assert key is not None
        is_off, was_pressed = facts.is_off(message), bool(self.ledger.presses.get(key))
        if is_off and was_pressed:
            self._end_key(key, message, start, now, out)
        if is_off and (was_pressed or (start.is_behind and not start.is_stray)):
            emissions = [emission for emission in emissions if emission.flow.sent or not facts.is_off(emission.message)]
        press = Press(way, [])
        if facts.is_on(message) or any(facts.is_on(emission.message) for emission in emissions):
            self._end_others(start, emissions, now, out)
            # Also if nothing comes of a note-on: then its note-off has nothing to end, and goes nowhere.
            self.ledger.presses.setdefault(key, []).append(press)
        self.emit_all(emissions, start, press, now, out)
        self.resting.bring_to_rest(start, message, emissions, now, out)

    def emit_all(self, emissions: list[Emission], start: Start, press: Press, now: int, out: Out) -> None:
        """Sends emissions, identical ones once, and notes what they leave sounding or away from rest."""
        key, gone = start.key, start.family.gone
        for emission in emissions:
            if start.is_behind and not emission.is_kept and not self.state.exists(emission.port):
                continue
            likeness = (emission.port, emission.message, start.base, start.before + emission.flow.delay)
            twin = likeness in gone
            gone.add(likeness)
            if twin and (emission.is_kept or (facts.has_channel(emission.message) and facts.is_note(emission.message))):
                continue
            item = self.timing.item_of(emission, start)
            if key is None:
                self.timing.start(item, emission, start, now, out, twin=twin)
            elif facts.is_on(emission.message):
                item.sounding = Sounding(item, emission)
                press.soundings.append(item.sounding)
                presses = self.ledger.presses.setdefault(key, [])
                if press not in presses:  # what a `send` sent had ended all that it had, so far
                    presses.append(press)
                self.timing.start(item, emission, start, now, out)
            elif facts.is_off(emission.message) and emission.flow.sent:
                self._sent_off(item, emission, start, now, out)
            else:
                if facts.has_channel(emission.message):
                    self.resting.remember(item, emission, start, press.way)
                self.timing.start(item, emission, start, now, out, twin=twin)

    def _end_key(self, key: Key, off: bytes, start: Start, now: int, out: Out) -> None:
        """Every press of the key ends: a note-off for each place and copy, as it came in, form and velocity."""
        soundings = [sounding for press in self.ledger.presses.pop(key) for sounding in press.soundings]
        for struck in by_note_off(soundings):
            last = last_of(struck)
            _, _, channel, number = last.place
            message = bytes((off[0] & 0xF0 | channel, number, off[2]))
            self.timing.owe(struck, shaped_release(message, last.emission.flow.release), start, now, out)

    def _end_made(self, struck: list[Sounding], start: Start, now: int, out: Out) -> None:
        """The same for what ends without a note-off of its own."""
        _, _, channel, number = struck[0].place
        self.timing.owe(struck, facts.made_off(channel, number), start, now, out)

    def made_off_now(self, sounding: Sounding, now: int, out: Out) -> None:
        """A note that has begun ends at once."""
        if sounding.was_sent and not sounding.on.is_kept:
            _, _, channel, key = sounding.place
            item = replace(sounding.on, message=facts.made_off(channel, key), sounding=None, ends=[sounding])
            self.state.merge.send(item, now, out)

    def release(self, player: int, now: int, out: Out) -> None:
        """All that a player has pressed ends at once."""
        for key, sounding in list(self.ledger.soundings()):
            if key[0] == player:
                self.made_off_now(sounding, now, out)
        for key in [key for key in self.ledger.presses if key[0] == player]:
            del self.ledger.presses[key]

    def leave_ports(self, gone: set[str], now: int, out: Out) -> None:
        """Ports are gone: what sounds there ends, what waits for others goes, what is away from rest comes back."""
        merge = self.state.merge
        for _, sounding in list(self.ledger.soundings()):
            if sounding.on.port in gone and sounding.was_sent:
                _, _, channel, key = sounding.place
                merge.put(replace(sounding.on, message=facts.made_off(channel, key)), now, out)
        for output, held_back in merge.held_back.items():
            for item in held_back if output[0] in gone else ():
                merge.put(item, now, out)
        for emission, holder, place in self.resting.away(lambda place: place[0] in gone):
            rest = replace(self.state.item(emission, holder[0], holder[:3]), message=facts.rest_at(place))
            merge.put(rest, now, out)
        self.ledger.forget_rests(lambda key, place: place[0] in gone)
        for presses in self.ledger.presses.values():
            for press in presses:
                press.soundings = [sounding for sounding in press.soundings if sounding.on.port not in gone]
        for port in gone:
            merge.forget_port(port)

    def _end_others(self, start: Start, emissions: list[Emission], now: int, out: Out) -> None:
        """A second on of a held key: what sounds elsewhere is ended first (ruling 10)."""
        key = start.key
        assert key is not None
        places = {emission.place for emission in emissions if facts.is_on(emission.message)}
        kept, going = [], []
        for press in self.ledger.presses.get(key, []):
            going += [sounding for sounding in press.soundings if sounding.place not in places]
            staying = [sounding for sounding in press.soundings if sounding.place in places]
            if staying or not press.soundings:
                kept.append(press)
            press.soundings = staying
        if kept:
            self.ledger.presses[key] = kept
        else:
            self.ledger.presses.pop(key, None)
        for sounding in going:
            self._end_made([sounding], start, now, out)

    def _sent_off(self, item: Item, emission: Emission, start: Start, now: int, out: Out) -> None:
        """A note-off among the messages of a `send` ends the latest such note, if this hand holds one."""
        for press in reversed(self.ledger.presses.get(start.key or (), [])):
            for sounding in reversed(press.soundings):
                if sounding.place == emission.place:
                    press.soundings = [other for other in press.soundings if other is not sounding]
                    item.copy, item.ends = sounding.on.copy, [sounding]
                    return self.timing.start(item, emission, start, now, out)
        self.timing.start(item, emission, start, now, out)

    def release_trigger(self, in_key: InKey, message: bytes, now: int, out: Out) -> None:
        """A controller, bend or pressure that made notes lets them go when it falls.

        The way that it took then says what its value is worth; where it says nothing, the value itself does.
        """
        presses = self.ledger.presses.get(in_key, [])
        kept: list[Press] = []
        fallen: list[Press] = []
        for press in presses:
            _, moment = press.way.everything(self.state.players[in_key[0]], message, in_key, self.state.memory)
            falls = False in moment.heard if moment.heard else facts.is_low(message) or _is_below_on(message)
            (fallen if falls else kept).append(press)
        if kept:
            self.ledger.presses[in_key] = kept
        elif presses:
            del self.ledger.presses[in_key]
        start = Start(in_key[0], in_key, in_key, Family(), now)
        for struck in by_note_off(sounding for press in fallen for sounding in press.soundings):
            self._end_made(struck, start, now, out)

    def following(self, presses: list[Press], message: bytes, in_key: InKey, memory: Memory) -> list[Emission]:
        """Key pressure follows its held note: by the way of the newest press, to places where the note sounds."""
        emissions, _ = presses[-1].way.everything(self.state.players[in_key[0]], message, in_key, memory)
        note = (in_key[0], message[0] & 0x0F | 0x90, facts.number_of(message))
        sounding = {(s.on.port, *s.place[2:]) for key, s in self.ledger.soundings() if key[:3] == note}
        return [after for emission in emissions for after in self._where_it_sounds(emission, sounding)]

    def _where_it_sounds(self, emission: Emission, sounding: set[tuple[str, int, int]]) -> list[Emission]:
        if emission.is_kept:
            behind = [after for each in emission.behind for after in self._where_it_sounds(each, sounding)]
            return [replace(emission, behind=tuple(behind))]
        follows = not facts.has_channel(emission.message) or not facts.is_key_pressure(emission.message)
        there = follows or (emission.port, *emission.place[2:]) in sounding
        return [emission] if there and self.state.exists(emission.port) else []


def _is_below_on(message: bytes) -> bool:
    return facts.is_controller(message) and message[2] < SWITCH_ON
