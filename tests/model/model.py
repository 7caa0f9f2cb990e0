"""The slow model: what the rules mean, message by message, without tables. Speed is nobody's concern here.

It offers what the engine offers, so that both can be fed the same and compared.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import product

from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import ACTIVE_SENSING, CONTINUE, RESET, START, STOP, UNDEFINED
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import AdvanceTrigger, NumberSwitch, OnOffSwitch, Trigger, ValueSwitch
from rules.timing.delays import AT_ONCE, Delay, Later
from tests.model import facts
from tests.model.asking import holds
from tests.model.chain import Flow, Gate, Memory, Moment, Passage, Wait, shaped_release
from tests.model.facts import InKey
from tests.model.ledger import Item, Ledger, Press, Sounding
from tests.model.merging import Merge, Out, Output
from tests.model.reach import Reach
from tests.model.routing import Emission, Way, branches_of, clock_source, once

NEVER = (1 << 62) - 1
NOBODY = -1
"""The player of what nobody played: a switch turned by hand, a panic."""


@dataclass(slots=True)
class Traveller:
    """An item on its way through delays and thins.

    `base + delay` is where it is in time, `extra` is what it had to wait besides. A `twin` goes along with an identical
    message that was sent at once: it only counts if a `thin` makes it late.
    """

    item: Item
    emission: Emission
    base: int
    delay: Delay = AT_ONCE
    extra: int = 0
    waits: list[tuple[tuple[str | int, ...], Delay, int]] = field(default_factory=list)
    station: int = 0
    twin: bool = False


@dataclass(slots=True)
class Pending:
    """Something that becomes due: a message to send, one that reaches a `thin`, or a `thin` that lets go."""

    due: int
    order: int
    item: Item | None = None
    traveller: Traveller | None = None
    thin: Thin | None = None


@dataclass(slots=True)
class Thin:
    """What one `thin` remembers of one thing (ruling 23)."""

    last: int | None = None
    passing: Passage | None = None
    fine_may_follow: bool = False
    coarse: list[Traveller] = field(default_factory=list)
    fine: list[Traveller] = field(default_factory=list)
    pending: Pending | None = None


class Model:
    """A plain interpreter of a RuleSet. Times are in the unit of `later`; ports go by name."""

    def __init__(self, ruleset: RuleSet, later: Later) -> None:
        self.ruleset = ruleset
        self.reach = Reach(ruleset)
        self.later = later
        self.players: list[str] = []
        self.switches: dict[str, bool | int | str] = {name: _start(it) for name, it in ruleset.switches.items()}
        self.memory = Memory()
        self.pressed: dict[tuple[str | int, ...], int] = {}
        self.known: dict[tuple[int, int, int], tuple[InKey, bytes]] = {}
        self.ledger = Ledger()
        self.merge = Merge(self.ledger, self.players.__getitem__, self._shares_banks)
        self.agenda: list[Pending] = []
        self.latest: dict[tuple[str | int, ...], int] = {}
        self.latest_at_ports = self.latest
        self.thins: dict[tuple[str | int, ...], Thin] = {}
        self.running: set[int] = set()
        self.orders = 0

    # What the engine offers

    def add_player(self, source: str) -> int:
        """A stream with a ledger of its own, from the input port `source`."""
        self.players.append(source)
        return len(self.players) - 1

    @property
    def next_due(self) -> int:
        """When the next pending message is due; NEVER when none is."""
        return min((pending.due for pending in self.agenda), default=NEVER)

    def advance(self, now: int, out: Out) -> None:
        """Sends what is due up to and including `now`."""
        while self.next_due <= now:
            pending = min(self.agenda, key=lambda entry: (entry.due, entry.order))
            self.agenda.remove(pending)
            if pending.item is not None:
                self.merge.send(pending.item, pending.due, out)
            elif pending.traveller is not None:
                self._travel(pending.traveller, pending.due, out)
            elif pending.thin is not None:
                self._open(pending.thin, pending.due, out)

    def feed(self, player: int, message: bytes, now: int, out: Out) -> None:
        """One message arrives."""
        self.advance(now, out)
        status = message[0]
        if status == ACTIVE_SENSING or status in UNDEFINED:
            return
        if status == RESET:
            self._to_clocked_ports(player, message, now, out)
        elif facts.is_signal(message):
            self._feed_signal(player, message, now, out)
        else:
            self._feed_message(player, message, now, out)

    def turn(self, switch: str, value: bool | int | str, now: int, out: Out) -> None:
        """A switch is set by hand."""
        self.advance(now, out)
        self._turn(switch, value, NOBODY, now, out)

    def release(self, player: int, now: int, out: Out) -> None:
        """A source is lost: what it holds is ended."""
        self.advance(now, out)
        self._end_pending(lambda item: item.player == player, now, out)
        for in_key, sounding in list(self.ledger.soundings()):
            if in_key[0] == player:
                self._made_off_now(sounding, now, out)
        for in_key in [in_key for in_key in self.ledger.presses if in_key[0] == player]:
            del self.ledger.presses[in_key]
        self._rest_now(player, now, out)
        self.memory.forget(player)
        self.pressed = {key: value for key, value in self.pressed.items() if key[0] != player}
        source = self.players[player]
        for name, switch in self.ruleset.switches.items():
            if isinstance(switch, OnOffSwitch) and switch.mode == "momentary" and switch.source == source:
                self._turn(name, False, player, now, out)
        if player in self.running:
            self._to_clocked_ports(player, bytes((STOP,)), now, out)

    def silence(self, now: int, out: Out, every_key: bool = False) -> None:
        """Panic (ruling 17)."""
        self.advance(now, out)
        self._end_pending(lambda item: True, now, out)
        for _, sounding in list(self.ledger.soundings()):
            self._made_off_now(sounding, now, out)
        for player in range(len(self.players)):
            self._rest_now(player, now, out)
        ports = [name for name in self.ruleset.ports if self.ruleset.ports[name].can_send]
        for port, channel in product(ports, range(16)):
            resets = [facts.made_off(channel, key) for key in range(128)] if every_key else []
            resets += [bytes((0xB0 | channel, number, 0)) for number in (64, 66, 69, 123, 120)]
            resets.append(bytes((0xE0 | channel, 0x00, 0x40)))
            out.extend((port, message, now, NOBODY) for message in resets)
        self.ledger.presses.clear()
        self.ledger.rests.clear()
        self.merge = Merge(self.ledger, self.players.__getitem__, self._shares_banks)
        self.latest.clear()

    def replace(self, new: RuleSet, now: int, out: Out) -> None:
        """Other rules from now on; what is held and pending lives on (ruling 30)."""
        self.advance(now, out)
        for player, source in enumerate(self.players):
            was_there = source in self.ruleset.ports and self.ruleset.ports[source].can_receive
            if was_there and not (source in new.ports and new.ports[source].can_receive):
                self.release(player, now, out)
        gone = {port for port in self.ruleset.ports if port not in new.ports or not new.ports[port].can_send}
        self.ruleset = new
        self.reach = Reach(new)
        self._end_pending(lambda item: item.port in gone, now, out)
        for _, sounding in list(self.ledger.soundings()):
            if sounding.on.port in gone and sounding.was_sent:
                _, _, channel, key = sounding.place
                self.merge.put(replace(sounding.on, message=facts.made_off(channel, key)), now, out)
        for place, held_back in self.merge.held_back.items():
            for item in held_back if place[0] in gone else ():
                self.merge.put(item, now, out)
        for in_key, places in self.ledger.rests.items():
            for place, (_, emission, _) in places.items():
                if place[0] in gone:
                    item = replace(self._item(emission, in_key[0], in_key), message=facts.rest_at(place))
                    self.merge.put(item, now, out)
        self.ledger.forget_rests(lambda in_key, place: place[0] in gone)
        for presses in self.ledger.presses.values():
            for press in presses:
                press.soundings = [sounding for sounding in press.soundings if sounding.on.port not in gone]
        for port in gone:
            self.merge.forget_port(port)
        self.merge.settle(now, out, lambda output: not self._shares_banks(output))
        self.switches = {name: _carried(it, self.switches.get(name)) for name, it in new.switches.items()}

    def settle(self, now: int, out: Out) -> None:
        """The end of a file: bank selects that still wait go out."""
        self.advance(now, out)
        self.merge.settle(now, out)

    # One message

    def _feed_message(self, player: int, message: bytes, now: int, out: Out) -> None:
        in_key = facts.in_key_of(player, message) if facts.has_channel(message) else None
        source, key = self.players[player], in_key or (player, message[0], 0)
        if in_key is not None and not facts.is_note(message):
            self._release_trigger(key, message, now, out)
        moment = Moment(self.switches, self.memory, player, key)
        emissions: list[Emission] = []
        latest = dict(self.latest)
        arrived = self._now().into_rules(source, message, moment)
        let_in = []
        for flow in arrived:
            if not self._trigger(player, flow.message, now, out):
                let_in.append(flow)
                self._know(player, flow.message, message)
                moment.switches = dict(self.switches)
                emissions += self._now().out_of_rules(source, flow, moment)
        emissions = once(emissions)
        held = self.ledger.presses.get((player, message[0] & 0x0F | 0x90, facts.number_of(message)))
        if in_key is not None and facts.is_key_pressure(message) and held:
            emissions = self._following(held, message, in_key) if let_in or not arrived else []
        self.latest_at_ports = latest  # it was through the steps of its port before it turned any switch
        self._dispatch(player, message, in_key, emissions, now, out)
        self.latest_at_ports = self.latest

    def _now(self) -> Way:
        return Way(self.ruleset, dict(self.switches))

    def _dispatch(
        self, player: int, message: bytes, in_key: InKey | None, emissions: list[Emission], now: int, out: Out
    ) -> None:
        """Sends what came of a message, and what is owed to what it lets go."""
        way = self._now()
        if in_key is None:
            return self._emit_all(emissions, player, None, Press(way, []), now, out)
        presses = self.ledger.presses.get(in_key, [])
        if facts.is_off(message) and presses:
            self._end_press(in_key, message, now, out)
            emissions = [emission for emission in emissions if emission.flow.sent or not facts.is_off(emission.message)]
        press = Press(way, [])
        if facts.is_on(message) or any(facts.is_on(emission.message) for emission in emissions):
            self._end_others(in_key, emissions, now, out)
            # Also if nothing comes of a note-on: then its note-off has nothing to end, and goes nowhere.
            self.ledger.presses.setdefault(in_key, []).append(press)
        self._emit_all(emissions, player, in_key, press, now, out)
        self._bring_to_rest(player, message, in_key, emissions, now, out)

    def _emit_all(
        self, emissions: list[Emission], player: int, in_key: InKey | None, press: Press, now: int, out: Out
    ) -> None:
        """Sends emissions, identical ones once, and notes what they leave sounding or away from rest."""
        gone = set()
        for emission in emissions:
            twin = emission.likeness in gone
            if in_key is None:
                left = self._start(emission, player, None, now, out, twin=twin)
            elif facts.is_on(emission.message):
                sounding = self._sounding(emission, player, in_key)
                press.soundings.append(sounding)
                presses = self.ledger.presses.setdefault(in_key, [])
                if press not in presses:  # what a `send` sent had ended all that it had, so far
                    presses.append(press)
                left = self._start(emission, player, in_key, now, out, sounding)
            elif facts.is_off(emission.message) and emission.flow.sent:
                left = self._sent_off(emission, player, in_key, now, out)
            else:
                item = self._item(emission, player, in_key)
                if facts.has_channel(emission.message):
                    self._remember_rest(item, emission, in_key, press.way)
                left = self._start(emission, player, in_key, now, out, item=item, twin=twin)
            if left:
                gone.add(emission.likeness)

    # Presses and releases (rulings 9, 10, 12)

    def _sounding(self, emission: Emission, player: int, in_key: InKey) -> Sounding:
        item = self._item(emission, player, in_key)
        item.sounding = Sounding(item, emission)
        return item.sounding

    def _item(self, emission: Emission, player: int, in_key: InKey | None) -> Item:
        return Item(
            emission.port, emission.message, player, self.players[player], in_key, emission.flow.copy, self._order()
        )

    def _order(self) -> int:
        self.orders += 1
        return self.orders

    def _end_press(self, in_key: InKey, off: bytes, now: int, out: Out) -> None:
        """The oldest press that sounds ends: a note-off for each of its notes, as it came in, form and velocity."""
        presses = self.ledger.presses[in_key]
        press = next((press for press in presses if press.soundings), presses[0])
        presses.remove(press)
        if not presses:
            del self.ledger.presses[in_key]
        for sounding in press.soundings:
            _, _, channel, key = sounding.place
            message = bytes((off[0] & 0xF0 | channel, key, off[2]))
            self._owed(sounding, shaped_release(message, sounding.emission.flow.release), now, out)

    def _owed(self, sounding: Sounding, off: bytes, now: int, out: Out) -> None:
        """Sends a note-off with the delay its note-on got; never before the note-on."""
        for at, delay, extra in sounding.waits:
            self.latest[at] = max(self.latest.get(at, 0), self._after(now, delay) + extra)
        due = max(self._after(now, sounding.delay) + sounding.extra, sounding.due)
        item = replace(sounding.on, message=off, sounding=None, order=self._order())
        self._send_at(item, due, now, out)

    def _made_off_now(self, sounding: Sounding, now: int, out: Out) -> None:
        if sounding.was_sent:
            _, _, channel, key = sounding.place
            item = replace(sounding.on, message=facts.made_off(channel, key), sounding=None)
            self.merge.send(item, now, out)

    def _end_others(self, in_key: InKey, emissions: list[Emission], now: int, out: Out) -> None:
        """A second on of a held key: what sounds elsewhere is ended first (ruling 10)."""
        places = {emission.place for emission in emissions if facts.is_on(emission.message)}
        kept = []
        for press in self.ledger.presses.get(in_key, []):
            for sounding in press.soundings:
                if sounding.place not in places:
                    _, _, channel, key = sounding.place
                    self._owed(sounding, facts.made_off(channel, key), now, out)
            staying = [sounding for sounding in press.soundings if sounding.place in places]
            if staying or not press.soundings:
                kept.append(press)
            press.soundings = staying
        if kept:
            self.ledger.presses[in_key] = kept
        else:
            self.ledger.presses.pop(in_key, None)

    def _sent_off(self, emission: Emission, player: int, in_key: InKey, now: int, out: Out) -> bool:
        """A note-off among the messages of a `send` ends the latest such note, if this hand holds one."""
        for press in reversed(self.ledger.presses.get(in_key, [])):
            for sounding in reversed(press.soundings):
                if sounding.place == emission.place:
                    press.soundings = [other for other in press.soundings if other is not sounding]
                    copy = sounding.on.copy
                    return self._start(emission, player, in_key, now, out, not_before=sounding.due, copy=copy)
        return self._start(emission, player, in_key, now, out)

    def _release_trigger(self, in_key: InKey, message: bytes, now: int, out: Out) -> None:
        """A controller, bend or pressure that made notes lets them go when it falls.

        The way that it took then says what its value is worth; where it says nothing, the value itself does.
        """
        presses = self.ledger.presses.get(in_key, [])
        kept = []
        for press in presses:
            _, moment = press.way.everything(self.players[in_key[0]], message, in_key, self.memory)
            falls = False in moment.heard if moment.heard else facts.is_low(message) or _is_below_on(message)
            if not falls:
                kept.append(press)
                continue
            for sounding in press.soundings:
                _, _, channel, key = sounding.place
                self._owed(sounding, facts.made_off(channel, key), now, out)
        if kept:
            self.ledger.presses[in_key] = kept
        elif presses:
            del self.ledger.presses[in_key]

    def _following(self, presses: list[Press], message: bytes, in_key: InKey) -> list[Emission]:
        """Key pressure follows its held note: by the way of the newest press, to places where the note sounds."""
        emissions, _ = presses[-1].way.everything(self.players[in_key[0]], message, in_key, self.memory)
        sounding = {(s.on.port, *s.place[2:]) for press in presses for s in press.soundings}
        return [
            emission
            for emission in emissions
            if emission.port in self.ruleset.ports
            and (not facts.is_key_pressure(emission.message) or (emission.port, *emission.place[2:]) in sounding)
        ]

    # Coming to rest (ruling 13)

    def _remember_rest(self, item: Item, emission: Emission, in_key: InKey, way: Way) -> None:
        message, place = emission.message, emission.place
        if not self._is_held_down(emission):
            return
        if facts.is_at_rest(message):
            self.ledger.forget_rests(lambda key, at: key == in_key and at == place)
        else:
            self.ledger.rests.setdefault(in_key, {})[place] = (way, emission, item)

    def _is_held_down(self, emission: Emission) -> bool:
        """Whether it comes to rest with the hand. What a `send` sends stays: nobody holds it down."""
        return facts.is_held_like_a_note(emission.message) and not emission.flow.sent

    def _bring_to_rest(
        self, player: int, message: bytes, in_key: InKey, emissions: list[Emission], now: int, out: Out
    ) -> None:
        """Places that got a value before and are not reached any more come to rest with the hand."""
        reached = {emission.place for emission in emissions if facts.has_channel(emission.message)}
        passages: dict[Passage, Passage] = {}
        for place, (way, emission, _) in list(self.ledger.rests.get(in_key, {}).items()):
            if place in reached:
                continue
            then, _ = way.everything(self.players[player], message, in_key, self.memory)
            values = [other.message for other in then if facts.has_channel(other.message) and other.place == place]
            if facts.is_low(values[-1] if values else message):
                self.ledger.forget_rests(lambda key, at, gone=place: key == in_key and at == gone)  # type: ignore[misc]
                rest = replace(emission, flow=emission.flow.with_message(facts.rest_at(place)))
                self._start(_anew(rest, passages), player, in_key, now, out)

    def _rest_now(self, player: int, now: int, out: Out) -> None:
        """All that a player has away from rest comes to rest."""
        for in_key, places in list(self.ledger.rests.items()):
            for place, (_, emission, _) in list(places.items()):
                if in_key[0] == player:
                    item = self._item(emission, player, in_key)
                    self.merge.send(replace(item, message=facts.rest_at(place)), now, out)
        self.ledger.forget_rests(lambda in_key, place: in_key[0] == player)

    # Time (rulings 22, 23, 29)

    def _after(self, now: int, delay: Delay) -> int:
        return now if delay == AT_ONCE else self.later(now, delay)

    def _start(
        self,
        emission: Emission,
        player: int,
        in_key: InKey | None,
        now: int,
        out: Out,
        sounding: Sounding | None = None,
        not_before: int = 0,
        copy: tuple[str | int, ...] | None = None,
        twin: bool = False,
        item: Item | None = None,
    ) -> bool:
        """Sets an emission on its way through the delays and thins that it met; False if a `thin` keeps it."""
        if item is None:
            item = sounding.on if sounding is not None else self._item(emission, player, in_key)
        if copy is not None:
            item.copy = copy
        traveller = Traveller(item, emission, now, twin=twin)
        if not_before:
            reached = self._after(now, emission.flow.delay)
            traveller.extra = max(0, not_before - reached)
        return self._travel(traveller, now, out)

    def _travel(self, traveller: Traveller, now: int, out: Out) -> bool:
        way = traveller.emission.flow.way
        while traveller.station < len(way):
            station = way[traveller.station]
            time = self._after(traveller.base, traveller.delay) + traveller.extra
            if isinstance(station, Wait):
                self._wait(traveller, station)
            elif traveller.emission.passes_gates:
                pass
            elif time > now:
                self.agenda.append(Pending(time, traveller.item.order, traveller=traveller))
                return True
            elif not self._passes(traveller, station, time):
                traveller.twin = False
                return False
            traveller.station += 1
        due = self._after(traveller.base, traveller.delay) + traveller.extra
        sounding = traveller.item.sounding
        if sounding is not None:
            sounding.due, sounding.delay, sounding.extra = due, traveller.delay, traveller.extra
            sounding.waits = traveller.waits
        if traveller.twin:
            traveller.item.was_sent = True
        else:
            self._send_at(traveller.item, due, now, out)
        return True

    def _send_at(self, item: Item, due: int, now: int, out: Out) -> None:
        """Sends, or puts off; what is held like a note waits for what the same hand sent there before (ruling 22)."""
        if facts.is_held_like_a_note(item.message):
            before = [
                pending.due
                for pending in self.agenda
                if pending.item is not None
                and facts.is_held_like_a_note(pending.item.message)
                and (pending.item.player, pending.item.in_key) == (item.player, item.in_key)
                and pending.item.place == item.place
            ]
            due = max([due, *before])
        if due <= now:
            self.merge.send(item, now, out)
        else:
            self.agenda.append(Pending(due, item.order, item=item))

    def _wait(self, traveller: Traveller, wait: Wait) -> None:
        """A `delay`: nothing overtakes on one rule and channel."""
        traveller.delay += wait.delay
        if not wait.at:
            return
        time = self._after(traveller.base, traveller.delay) + traveller.extra
        queue = self.latest_at_ports if wait.at[0] == "port" else self.latest
        latest = max(time, queue.get(wait.at, time))
        self.latest[wait.at] = max(latest, self.latest.get(wait.at, latest))
        traveller.extra += latest - time
        traveller.waits.append((wait.at, traveller.delay, traveller.extra))

    def _passes(self, traveller: Traveller, gate: Gate, time: int) -> bool:
        """A `thin`: whether the traveller passes now; if not, it waits in place of the one that waited."""
        thin = self.thins.setdefault(gate.at, Thin())
        if gate.passage is thin.passing:
            return True
        if gate.is_fine and thin.fine_may_follow:
            thin.passing, thin.fine_may_follow = gate.passage, False
            return True
        if thin.last is None or time >= (opens := self.later(thin.last, gate.interval)):
            thin.last, thin.passing, thin.fine_may_follow = time, gate.passage, not gate.is_fine
            return True
        waiting = thin.fine if gate.is_fine else thin.coarse
        if not (waiting and _passage(waiting[0]) is gate.passage):
            waiting.clear()
            if not gate.is_fine:
                thin.fine.clear()
                thin.fine_may_follow = False
        waiting.append(traveller)
        if thin.pending is None:
            thin.pending = Pending(opens, traveller.item.order, thin=thin)
            self.agenda.append(thin.pending)
        thin.pending.order = (thin.coarse or thin.fine)[0].item.order
        return False

    def _open(self, thin: Thin, now: int, out: Out) -> None:
        """The time of a `thin` has come: what waited passes."""
        waiting = [*thin.coarse, *thin.fine]
        thin.last, thin.passing = now, None
        thin.fine_may_follow = bool(thin.coarse) and not thin.fine
        thin.coarse.clear()
        thin.fine.clear()
        thin.pending = None
        for traveller in waiting:
            traveller.base, traveller.delay, traveller.extra = now, AT_ONCE, 0
            traveller.station += 1
            self._travel(traveller, now, out)

    def _end_pending(self, chosen: Callable[[Item], bool], now: int, out: Out) -> None:
        """What is pending ends at once: offs are sent, and what brings something to rest; all else is dropped."""
        for pending in sorted(self.agenda, key=lambda entry: (entry.due, entry.order)):
            if pending.thin is not None:
                items = self._leave_thin(pending.thin, chosen)
            else:
                items = [item for item in (pending.item, pending.traveller and pending.traveller.item) if item]
                items = [item for item in items if chosen(item)]
                if not items:
                    continue
            if pending.thin is None or pending.thin.pending is None:
                self.agenda.remove(pending)
            for item in items:
                if facts.has_channel(item.message) and _ends_something(item.message):
                    self.merge.send(item, now, out)

    def _leave_thin(self, thin: Thin, chosen: Callable[[Item], bool]) -> list[Item]:
        leaving = [traveller.item for traveller in (*thin.coarse, *thin.fine) if chosen(traveller.item)]
        thin.coarse = [traveller for traveller in thin.coarse if not chosen(traveller.item)]
        thin.fine = [traveller for traveller in thin.fine if not chosen(traveller.item)]
        if not thin.coarse and not thin.fine:
            thin.pending = None
        return leaving

    # Switches (ruling 25)

    def _trigger(self, player: int, message: bytes, now: int, out: Out) -> bool:
        """Turns the switches that this message triggers; tells whether it is swallowed."""
        swallowed = False
        for name, switch in self.ruleset.switches.items():
            triggers: tuple[Trigger, ...] = (
                (switch,) if isinstance(switch, OnOffSwitch) else (*switch.set, *switch.advance)
            )
            for number, trigger in enumerate(triggers):
                if trigger.source == self.players[player] and _is_meant(trigger, message):
                    self._pull(name, number, trigger, player, message, now, out)
                    swallowed = swallowed or not trigger.pass_on
        return swallowed

    def _pull(self, name: str, number: int, trigger: Trigger, player: int, message: bytes, now: int, out: Out) -> None:
        """One trigger, pressed or released."""
        switch, state = self.ruleset.switches[name], self.switches[name]
        press, release = facts.is_on(message), facts.is_off(message)
        if facts.is_controller(message):
            key = (player, name, number, facts.channel_of(message))
            press = self.pressed.get(key, 0) < SWITCH_ON <= message[2]
            release = message[2] < SWITCH_ON
            self.pressed[key] = message[2]
        elif not facts.is_note(message):
            press = True
        if isinstance(switch, OnOffSwitch):
            if switch.mode == "momentary":
                value: bool | int | str = True if press else False if release else state
            else:
                value = not state if press else state
        elif not press:
            value = state
        elif isinstance(trigger, AdvanceTrigger):
            value = _stepped(switch, state, trigger.by)
        else:
            value = trigger.value  # type: ignore[attr-defined]
        self._turn(name, value, player, now, out)

    def _turn(self, name: str, value: bool | int | str, player: int, now: int, out: Out) -> None:
        """A switch gets a value: what it sends, and what the rules that it opens have to chase."""
        before, after = dict(self.switches), {**self.switches, name: value}
        if self.switches[name] == value:
            return
        self.switches[name] = value
        for entry in self.ruleset.on_switch:
            if not holds(entry.when, before) and holds(entry.when, after):
                for target, messages in entry.send.items():
                    channel = self.ruleset.devices[target].channel if target in self.ruleset.devices else None
                    for text in messages:
                        item = Item(self.ruleset.port_of(target), text.moved_to(channel), player, "", None)
                        self.merge.put(item, now, out)
        for rule in self.ruleset.rules:
            for branch in branches_of(rule):
                if rule.chase and not branch.is_open(before) and branch.is_open(after):
                    for known, in_key, message in self._last_known(rule.source, rule.chase):
                        moment = Moment(after, self.memory, known, in_key)
                        flows = self._now().into_rules(self.players[known], message, moment)
                        emissions = once(e for flow in flows for e in self._now().along(rule, [branch], flow, moment))
                        # Values are chased, nothing else: they fire no `send` and make no notes.
                        emissions = [e for e in emissions if not e.flow.sent and not facts.is_note(e.message)]
                        self._emit_all(emissions, known, in_key, Press(self._now(), []), now, out)

    def _know(self, player: int, arrived: bytes, message: bytes) -> None:
        """Remembers the last `message` behind each controller, program, bend and pressure that any rule chases."""
        kind = facts.kind_of(arrived)
        thing = facts.number_of(arrived) if facts.is_controller(arrived) else kind
        if 0xB0 <= arrived[0] <= 0xEF and any(thing in rule.chase for rule in self.ruleset.rules):
            in_key = facts.in_key_of(player, message)
            self.known[player, arrived[0], facts.number_of(arrived)] = (in_key, message)

    def _last_known(self, sources: tuple[str, ...], wanted: tuple[int | str, ...]) -> list[tuple[int, InKey, bytes]]:
        """The last values that a rule chases: by source and player, then as listed, then by channel."""
        statuses = {"program": 0xC0, "channel-pressure": 0xD0, "pitch-bend": 0xE0}
        found = []
        mine = [player for source in sources for player, its in enumerate(self.players) if its == source]
        for player, thing, channel in product(mine, wanted, range(16)):
            status, number = (statuses[thing], 0) if isinstance(thing, str) else (0xB0, thing)
            if (player, status | channel, number) in self.known:
                found.append((player, *self.known[player, status | channel, number]))
        return found

    # Clock and transport (rulings 26, 27)

    def _feed_signal(self, player: int, message: bytes, now: int, out: Out) -> None:
        source = self.players[player]
        in_key = (player, facts.signal_of(message), 0)
        moment = Moment(self.switches, self.memory, player, in_key)
        if self._trigger(player, message, now, out):
            return
        clocked = self._to_clocked_ports(player, message, now, out)
        moment.switches = dict(self.switches)
        emissions = once(self._now().out_of_rules(source, Flow(message), moment))
        # What a `send` keeps goes on, but not where it went as clock.
        gone = {(port, message, AT_ONCE) for port in clocked}
        emissions = [emission for emission in emissions if emission.likeness not in gone]
        self._dispatch(player, message, in_key, emissions, now, out)

    def _to_clocked_ports(self, player: int, message: bytes, now: int, out: Out) -> list[str]:
        source = self.players[player]
        if facts.signal_of(message) in (START, CONTINUE):
            self.running.add(player)
        elif facts.signal_of(message) == STOP:
            self.running.discard(player)
        ports = [
            name
            for name, port in self.ruleset.ports.items()
            if port.can_send and clock_source(self.ruleset, name) == source and (message[0] != RESET or port.pass_reset)
        ]
        out.extend((name, message, now, player) for name in ports)
        return ports

    # The rest

    def _shares_banks(self, output: Output) -> bool:
        return self.reach.shares_banks(output)


def _start(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> bool | int | str:
    return switch.initial if isinstance(switch, OnOffSwitch) else switch.first


def _carried(switch: OnOffSwitch | ValueSwitch | NumberSwitch, value: bool | int | str | None) -> bool | int | str:
    """The value after a reload: the old one where it still exists."""
    if isinstance(switch, OnOffSwitch):
        exists = isinstance(value, bool)
    elif isinstance(switch, ValueSwitch):
        exists = value in switch.values
    else:
        exists = (
            isinstance(value, int) and not isinstance(value, bool) and switch.numbers[0] <= value <= switch.numbers[1]
        )
    return value if exists and value is not None else _start(switch)


def _stepped(switch: ValueSwitch | NumberSwitch, state: bool | int | str, by: int) -> int | str:
    """Numbers stop at their ends, values go round."""
    if isinstance(switch, NumberSwitch):
        return max(switch.numbers[0], min(switch.numbers[1], int(state) + by))
    return switch.values[(switch.values.index(str(state)) + by) % len(switch.values)]


def _is_meant(trigger: Trigger, message: bytes) -> bool:
    if trigger.kind is not None:
        return facts.kind_of(message) == trigger.kind
    if not facts.has_channel(message) or (
        trigger.channel is not None and facts.channel_of(message) + 1 not in trigger.channel
    ):
        return False
    if trigger.note is not None:
        return facts.is_note(message) and message[1] == trigger.note
    if trigger.controller is not None:
        return facts.is_controller(message) and message[1] == trigger.controller
    return message[0] & 0xF0 == 0xC0 and message[1] == trigger.program


def _is_below_on(message: bytes) -> bool:
    return facts.is_controller(message) and message[2] < SWITCH_ON


def _ends_something(message: bytes) -> bool:
    """A note-off, or a value at rest of what is held like a note."""
    return facts.is_off(message) or facts.is_at_rest(message)


def _passage(traveller: Traveller) -> Passage | None:
    station = traveller.emission.flow.way[traveller.station]
    return station.passage if isinstance(station, Gate) else None


def _anew(emission: Emission, passages: dict[Passage, Passage]) -> Emission:
    """The same way once more: at each `thin` as a message of its own."""
    way = tuple(
        replace(station, passage=passages.setdefault(station.passage, Passage()))
        if isinstance(station, Gate)
        else station
        for station in emission.flow.way
    )
    return replace(emission, flow=replace(emission.flow, way=way))
