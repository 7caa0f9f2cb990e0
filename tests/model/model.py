"""The slow model: what the rules mean, message by message, without tables. Speed is nobody's concern here.

It offers what the engine offers, so that both can be fed the same and compared.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import product

from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import ACTIVE_SENSING, CONTINUE, RESET, START, STOP, UNDEFINED
from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.stages import Stage
from rules.rulefile.switch_tables import AdvanceTrigger, NumberSwitch, OnOffSwitch, SetTrigger, Trigger, ValueSwitch
from rules.steps.latch import LatchStep
from rules.steps.length import LengthStep
from rules.steps.thin import ThinStep
from rules.timing.delays import AT_ONCE, Delay, Later
from tests.model import facts
from tests.model.asking import holds
from tests.model.chain import Flow, Follow, Memory, Moment, Stop, onward, resumed, shaped_release
from tests.model.facts import InKey
from tests.model.latching import Latch, Latches
from tests.model.ledger import Family, Item, Key, Ledger, Press, Sounding, by_note_off
from tests.model.lists import NOBODY, Lists, Plan, Switches
from tests.model.merging import Merge, Out, Output
from tests.model.pressing import Held, TriggerPlace, is_meant, is_momentary, placed_triggers, shortest_long
from tests.model.reach import Reach
from tests.model.routing import Branch, Emission, Way, WayBehind, branches_of, clock_source, once

NEVER = (1 << 62) - 1


@dataclass(frozen=True, slots=True)
class Start:
    """Where a message begins that is to be booked: in a player's hand, or behind a step that kept it.

    `key` is what the ledger knows it by. It comes `before` after `base`, and `waited` later; `order` is its turn (0:
    the latest). `is_stray`: a note-off that ends no known note, which a step let by.
    """

    player: int
    in_key: InKey | None
    key: Key | None
    family: Family
    base: int
    before: Delay = AT_ONCE
    waited: int = 0
    order: int = 0
    is_behind: bool = False
    is_stray: bool = False


@dataclass(slots=True)
class Pending:
    """Something that becomes due: a message for a port or a step, a `thin` that lets go, the end of a note, which comes
    `delay` after `base`.

    Or a message of a list in the rule file, or what is chased at a port that has returned.
    """

    due: int
    order: int
    item: Item | None = None
    thin: Thin | None = None
    note: object = None
    base: int = 0
    delay: Delay = AT_ONCE
    plan: Plan | None = None
    returned: str | None = None
    held: Held | None = None


@dataclass(slots=True)
class Thin:
    """What one `thin` remembers of one thing (ruling 23)."""

    last: int | None = None
    passing: object = None
    fine_may_follow: bool = False
    coarse: list[Item] = field(default_factory=list)
    fine: list[Item] = field(default_factory=list)
    pending: Pending | None = None


class Model:
    """A plain interpreter of a RuleSet. Times are in the unit of `later`; ports go by name."""

    def __init__(self, ruleset: RuleSet, later: Later) -> None:
        self.ruleset = ruleset
        self.reach = Reach(ruleset)
        self.later = later
        self.players: list[str] = []
        self.hands: list[str] = []
        self.hand_of: dict[str, str] = {}
        self.turned_by: dict[str, str] = {}
        """Whose hand turned each switch last; nobody's, where that was a command."""
        self.switches: dict[str, bool | int | str] = {name: _start(it) for name, it in ruleset.switches.items()}
        self.memory = Memory()
        self.pressed: dict[tuple[str | int, ...], int] = {}
        self.known: dict[tuple[int, int, int], tuple[InKey, bytes]] = {}
        self.ledger = Ledger()
        self.merge = Merge(self.ledger, self.hands.__getitem__, self._shares_banks)
        self.agenda: list[Pending] = []
        self.latest: dict[object, int] = {}
        self.thins: dict[tuple[object, ...], Thin] = {}
        self.notes: dict[object, tuple[Item, Pending]] = {}
        self.latched: dict[object, Latch] = {}
        self.running: set[int] = set()
        self.let_in = False
        self.orders = 0
        self.lists = Lists(self._after, self._add_plan, self._drop_plans)
        self.held: list[Held] = []

    # What the engine offers

    def add_player(self, source: str) -> int:
        """A stream with a ledger of its own, from the input port `source`."""
        self.players.append(source)
        self.hands.append(self.hand_of.setdefault(source, f"{source}, source {len(self.hands)}"))
        return len(self.players) - 1

    def add_hand(self, source: str) -> int:
        """A stream with a ledger and a hand of its own, from the input port `source`."""
        self.players.append(source)
        self.hands.append(f"{source}, a hand of its own {len(self.hands)}")
        return len(self.players) - 1

    def join(self, player: int) -> None:
        """A hand of its own begins to play: here all hands are always asked."""

    def part(self, player: int, now: int, out: Out) -> None:
        """A hand of its own plays no more: what it holds is ended."""
        self.release(player, now, out)
        self.known = {place: value for place, value in self.known.items() if place[0] != player}

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
                self._arrive(pending.item, pending.due, out)
            elif pending.thin is not None:
                self._open(pending.thin, pending.due, out)
            elif pending.note is not None:
                item, _ = self.notes.pop(pending.note)
                self._end_note(item, pending.order, pending.due, out)
            elif pending.plan is not None:
                out.append((pending.plan.port, pending.plan.message, pending.due, pending.plan.player))
            elif pending.returned is not None:
                self._chase_at(pending.returned, pending.due, out)
            elif pending.held is not None:
                self.held.remove(pending.held)
                self._press(pending.held, pending.due, out)

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
        self._set(switch, value, NOBODY, now, out)

    def begin(self, now: int, out: Out) -> None:
        """A live session begins: setups, then what switches send from the beginning (rulings 8, 25)."""
        self.advance(now, out)
        self.lists.begin(self.ruleset, self.switches, now, out)

    def return_port(self, port: str, now: int, out: Out) -> None:
        """An output is there again: silence, then the sounds of now (ruling 8)."""
        self.advance(now, out)
        self.agenda = [pending for pending in self.agenda if pending.returned != port]
        self.merge.forget_settings(port)
        out.extend((port, message, now, NOBODY) for channel in range(16) for message in _silence(channel))
        end = self.lists.bring_back(self.ruleset, self.switches, port, now, out)
        if end > now:
            self.agenda.append(Pending(end, self._order(), returned=port))
        else:
            self._chase_at(port, now, out)

    def release(self, player: int, now: int, out: Out) -> None:
        """A source is lost: what it holds is ended."""
        self.advance(now, out)
        self._end_pending(lambda item: item.player == player, now, out)
        self._forget_kept(player)
        for in_key, sounding in list(self.ledger.soundings()):
            if in_key[0] == player:
                self._made_off_now(sounding, now, out)
        for in_key in [in_key for in_key in self.ledger.presses if in_key[0] == player]:
            del self.ledger.presses[in_key]
        self._rest_now([player], now, out)
        self.memory.forget(player)
        self.pressed = {key: value for key, value in self.pressed.items() if key[0] != player}
        self._forget_held(lambda held: held.player == player)
        source = self.players[player]
        for name, switch in self.ruleset.switches.items():
            if not isinstance(switch, OnOffSwitch) or switch.mode != "momentary" or switch.source != source:
                continue
            if self.turned_by.get(name, self.hand_of.get(source)) == self.hands[player]:
                self._turn(name, False, player, now, out)
        if player in self.running:
            self._to_clocked_ports(player, bytes((STOP,)), now, out)

    def silence(self, now: int, out: Out, every_key: bool = False) -> None:
        """Panic (ruling 17)."""
        self.advance(now, out)
        self._end_pending(lambda item: True, now, out)
        self.lists.panic()
        self._forget_held(lambda held: True)
        for player in range(len(self.players)):
            self._forget_kept(player)
        for _, sounding in list(self.ledger.soundings()):
            self._made_off_now(sounding, now, out)
        self._rest_now(range(len(self.players)), now, out)
        ports = [name for name in self.ruleset.ports if self.ruleset.ports[name].can_send]
        for port, channel in product(ports, range(16)):
            resets = [facts.made_off(channel, key) for key in range(128)] if every_key else []
            out.extend((port, message, now, NOBODY) for message in [*resets, *_silence(channel)])
        self.ledger.presses.clear()
        self.ledger.rests.clear()
        choosing = self.merge.choosing
        self.merge = Merge(self.ledger, self.hands.__getitem__, self._shares_banks, choosing=choosing)
        self.latest.clear()

    def rename(self, old: str, new: str) -> None:
        """A source has another name in the rules that come next."""
        self.players = [new if name == old else name for name in self.players]
        if old in self.hand_of:
            self.hand_of[new] = self.hand_of.pop(old)

    def replace(self, new: RuleSet, now: int, out: Out) -> None:
        """Other rules from now on; what is held and pending lives on (ruling 30)."""
        self.advance(now, out)
        for player, source in enumerate(self.players):
            was_there = source in self.ruleset.ports and self.ruleset.ports[source].can_receive
            if was_there and not (source in new.ports and new.ports[source].can_receive):
                self.release(player, now, out)
        gone = {port for port in self.ruleset.ports if port not in new.ports or not new.ports[port].can_send}
        old, before = self.ruleset, self.switches
        self.ruleset = new
        self.reach = Reach(new)
        self._end_pending(lambda item: item.port in gone, now, out)
        for _, sounding in list(self.ledger.soundings()):
            if sounding.on.port in gone and sounding.was_sent:
                _, _, channel, key = sounding.place
                self.merge.put(replace(sounding.on, message=facts.made_off(channel, key)), now, out)
        for output, held_back in self.merge.held_back.items():
            for item in held_back if output[0] in gone else ():
                self.merge.put(item, now, out)
        for emission, holder, place in self._away(lambda place: place[0] in gone):
            self.merge.put(replace(self._item(emission, holder[0], holder[:3]), message=facts.rest_at(place)), now, out)
        self.ledger.forget_rests(lambda in_key, place: place[0] in gone)
        for presses in self.ledger.presses.values():
            for press in presses:
                press.soundings = [sounding for sounding in press.soundings if sounding.on.port not in gone]
        for port in gone:
            self.merge.forget_port(port)
        self.merge.settle(now, out, lambda output: not self._shares_banks(output))
        self._end_notes(self._is_changed, now, out)
        self._latches(now, out).end_where(lambda latch: _step_at(new, latch.at) != latch.step)
        self._forget_held(lambda held: not held.lives_on(new, self.players[held.player]))
        self.switches = {name: _carried(it, self.switches.get(name)) for name, it in new.switches.items()}
        self._latches(now, out).let_go_where(self._is_shut)
        self.agenda = [pending for pending in self.agenda if pending.returned not in gone]
        self.lists.leave(gone, now, out)
        self.lists.replace(old, before, new, self.switches, now, out)

    def retime(self, now: int) -> None:
        """`later` knows another tempo from now on: what is pending is booked again, as it was in turn (ruling 29)."""
        self.latest.clear()
        booked: list[Pending] = []
        for pending in sorted(self.agenda, key=lambda entry: (entry.due, entry.order)):
            if pending.item is not None:
                pending.due = self._due_again(pending.item, booked, now)
            elif pending.note is not None:
                pending.due = max(now, self.later(pending.base, pending.delay))
            booked.append(pending)

    def _due_again(self, item: Item, booked: Sequence[Pending], now: int) -> int:
        """When an item is due by the tempo of now, behind those that are `booked`."""
        if item.is_owed:
            last = _last_of(item.ends)
            item.delay, item.waited, item.queue = last.delay, last.extra, last.queue
            due = self._due_owed(item, last)
        else:
            due = self._book_in_turn(item, is_copy=bool(item.copy))
        return self._in_turn(item, max(now, due), booked)

    def leave(self, now: int, out: Out) -> None:
        """The session is over: sources are lost; of what the rules still have to send only what ends something goes."""
        self.advance(now, out)
        for player in range(len(self.players)):
            self.release(player, now, out)
        self.agenda = [pending for pending in self.agenda if pending.returned is None]
        self.lists.leave(set(self.ruleset.ports), now, out)
        self.settle(now, out)

    def close(self, now: int, out: Out) -> None:
        """The last event of a file: what steps keep going by themselves ends; what `thin` keeps arrives in its time."""
        self.advance(now, out)
        self._end_notes(lambda item: True, now, out)
        self._latches(now, out).end_where(lambda latch: True)
        self._forget_held(lambda held: True)

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
        before = self.memory.frozen()
        arrived = self._now().into_rules(source, message, moment)
        self.let_in = False
        emissions = once(e for flow in arrived for e in self._come_in(flow, player, message, moment, now, out))
        held = self.ledger.presses.get((player, message[0] & 0x0F | 0x90, facts.number_of(message)))
        if in_key is not None and facts.is_key_pressure(message) and held:
            emissions = self._following(held, message, in_key, before) if self.let_in or not arrived else []
        self._dispatch(player, message, in_key, emissions, now, out)

    def _come_in(self, flow: Flow, player: int, message: bytes, moment: Moment, now: int, out: Out) -> list[Emission]:
        """What left the steps of a port turns switches, and goes to the rules; also what a step of the port keeps."""
        if flow.stop is None:
            if self._trigger(player, flow.message, now, out):
                return []
            self.let_in = True
            self._know(player, flow.message, message)
            moment.switches = dict(self.switches)
            return self._now().out_of_rules(self.players[player], flow, moment)
        behind: list[Emission] = []
        if not facts.is_note(flow.message):
            for each in resumed(flow, flow.message, moment):
                behind += self._come_in(each, player, message, moment, now, out)
        way = self._now()
        return _at_port_step(flow, behind, way, self.players[player])

    def _now(self) -> Way:
        return Way(self.ruleset, dict(self.switches))

    def _dispatch(
        self, player: int, message: bytes, in_key: InKey | None, emissions: list[Emission], now: int, out: Out
    ) -> None:
        """Sends what came of a message, and what is owed to what it lets go."""
        way = self._now()
        start = Start(player, in_key, in_key, Family(ruleset=self.ruleset, switches=dict(self.switches)), now)
        if in_key is None:
            return self._emit_all(emissions, start, Press(way, []), now, out)
        self._book(start, message, emissions, way, now, out)

    def _book(
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
        self._emit_all(emissions, start, press, now, out)
        self._bring_to_rest(start, message, emissions, now, out)

    def _emit_all(self, emissions: list[Emission], start: Start, press: Press, now: int, out: Out) -> None:
        """Sends emissions, identical ones once, and notes what they leave sounding or away from rest."""
        key, gone = start.key, start.family.gone
        for emission in emissions:
            if start.is_behind and not emission.is_kept and not self._exists(emission.port):
                continue
            likeness = (emission.port, emission.message, start.base, start.before + emission.flow.delay)
            twin = likeness in gone
            gone.add(likeness)
            if twin and (emission.is_kept or (facts.has_channel(emission.message) and facts.is_note(emission.message))):
                continue
            item = self._item_of(emission, start)
            if key is None:
                self._start(item, emission, start, now, out, twin=twin)
            elif facts.is_on(emission.message):
                item.sounding = Sounding(item, emission)
                press.soundings.append(item.sounding)
                presses = self.ledger.presses.setdefault(key, [])
                if press not in presses:  # what a `send` sent had ended all that it had, so far
                    presses.append(press)
                self._start(item, emission, start, now, out)
            elif facts.is_off(emission.message) and emission.flow.sent:
                self._sent_off(item, emission, start, now, out)
            else:
                if facts.has_channel(emission.message):
                    self._remember_rest(item, emission, start, press.way)
                self._start(item, emission, start, now, out, twin=twin)

    def _exists(self, port: str) -> bool:
        return port in self.ruleset.ports and self.ruleset.ports[port].can_send

    # Presses and releases (rulings 9, 10, 12)

    def _item(self, emission: Emission, player: int, in_key: InKey | None) -> Item:
        return Item(
            emission.port, emission.message, player, self.hands[player], in_key, emission.flow.copy, self._order()
        )

    def _order(self) -> int:
        self.orders += 1
        return self.orders

    def _item_of(self, emission: Emission, start: Start) -> Item:
        item = self._item(emission, start.player, start.in_key)
        item.order = start.order or item.order
        item.emission, item.family = emission, start.family
        return item

    def _end_key(self, key: Key, off: bytes, start: Start, now: int, out: Out) -> None:
        """Every press of the key ends: a note-off for each place and copy, as it came in, form and velocity."""
        soundings = [sounding for press in self.ledger.presses.pop(key) for sounding in press.soundings]
        for struck in by_note_off(soundings):
            last = _last_of(struck)
            _, _, channel, number = last.place
            message = bytes((off[0] & 0xF0 | channel, number, off[2]))
            self._owed(struck, shaped_release(message, last.emission.flow.release), start, now, out)

    def _end_made(self, struck: list[Sounding], start: Start, now: int, out: Out) -> None:
        """The same for what ends without a note-off of its own."""
        _, _, channel, number = struck[0].place
        self._owed(struck, facts.made_off(channel, number), start, now, out)

    def _owed(self, struck: list[Sounding], off: bytes, start: Start, now: int, out: Out) -> None:
        """Sends a note-off with the delay that the latest of its note-ons got; never before that."""
        sounding = _last_of(struck)
        order = start.order or self._order()
        item = replace(sounding.on, message=off, sounding=None, order=order, was_sent=False, family=Family())
        item.base, item.delay, item.waited, item.ends = now, sounding.delay, sounding.extra, struck
        item.queue, item.is_owed = sounding.queue, True
        self._send_at(item, self._due_owed(item, sounding), now, out)

    def _due_owed(self, item: Item, last: Sounding) -> int:
        """When a note-off is due that is owed to a note-on; those that come behind don't overtake it."""
        late = self._after(item.base, item.delay) + item.waited
        if item.queue is not None:
            self.latest[item.queue] = max(self.latest.get(item.queue, 0), late)
        return max(late, last.due) if late > item.base else late

    def _made_off_now(self, sounding: Sounding, now: int, out: Out) -> None:
        if sounding.was_sent and not sounding.on.is_kept:
            _, _, channel, key = sounding.place
            item = replace(sounding.on, message=facts.made_off(channel, key), sounding=None, ends=[sounding])
            self.merge.send(item, now, out)

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
                    return self._start(item, emission, start, now, out)
        self._start(item, emission, start, now, out)

    def _release_trigger(self, in_key: InKey, message: bytes, now: int, out: Out) -> None:
        """A controller, bend or pressure that made notes lets them go when it falls.

        The way that it took then says what its value is worth; where it says nothing, the value itself does.
        """
        presses = self.ledger.presses.get(in_key, [])
        kept: list[Press] = []
        fallen: list[Press] = []
        for press in presses:
            _, moment = press.way.everything(self.players[in_key[0]], message, in_key, self.memory)
            falls = False in moment.heard if moment.heard else facts.is_low(message) or _is_below_on(message)
            (fallen if falls else kept).append(press)
        if kept:
            self.ledger.presses[in_key] = kept
        elif presses:
            del self.ledger.presses[in_key]
        start = Start(in_key[0], in_key, in_key, Family(), now)
        for struck in by_note_off(sounding for press in fallen for sounding in press.soundings):
            self._end_made(struck, start, now, out)

    def _following(self, presses: list[Press], message: bytes, in_key: InKey, memory: Memory) -> list[Emission]:
        """Key pressure follows its held note: by the way of the newest press, to places where the note sounds."""
        emissions, _ = presses[-1].way.everything(self.players[in_key[0]], message, in_key, memory)
        note = (in_key[0], message[0] & 0x0F | 0x90, facts.number_of(message))
        sounding = {(s.on.port, *s.place[2:]) for key, s in self.ledger.soundings() if key[:3] == note}
        return [after for emission in emissions for after in self._where_it_sounds(emission, sounding)]

    def _where_it_sounds(self, emission: Emission, sounding: set[tuple[str, int, int]]) -> list[Emission]:
        if emission.is_kept:
            behind = [after for each in emission.behind for after in self._where_it_sounds(each, sounding)]
            return [replace(emission, behind=tuple(behind))]
        follows = not facts.has_channel(emission.message) or not facts.is_key_pressure(emission.message)
        there = follows or (emission.port, *emission.place[2:]) in sounding
        return [emission] if there and self._exists(emission.port) else []

    # Coming to rest (ruling 13)

    def _remember_rest(self, item: Item, emission: Emission, start: Start, way: Way | WayBehind) -> None:
        message, place, key = emission.message, emission.place, start.key
        assert key is not None
        if not self._is_held_down(emission):
            return
        if facts.is_at_rest(message):
            self._has_come_to_rest(key, place, emission)
        else:
            self.ledger.rests.setdefault(key, {})[place] = (way, emission, item)

    def _has_come_to_rest(self, key: Key, place: facts.Place, emission: Emission) -> None:
        """Nothing is away from rest there any more, whatever way it went there: past a step, or through it."""
        port = not emission.is_kept
        self.ledger.forget_rests(lambda at, there: there == place and (at == key or (port and at[:3] == key[:3])))

    def _is_held_down(self, emission: Emission) -> bool:
        """Whether it comes to rest with the hand. What a `send` sends stays: nobody holds it down."""
        return facts.is_held_like_a_note(emission.message) and not emission.flow.sent

    def _bring_to_rest(self, start: Start, message: bytes, emissions: list[Emission], now: int, out: Out) -> None:
        """Places that got a value before and are not reached any more come to rest with the hand."""
        key = start.key
        assert key is not None
        reached = {emission.place for emission in emissions if facts.has_channel(emission.message)}
        reached |= {place for emission in emissions if emission.is_kept for place in emission.places()}
        going = []
        for place, (way, emission, _) in self.ledger.rests.get(key, {}).items():
            if place in reached:
                continue
            then, _ = way.everything(self.players[start.player], message, key, self.memory)
            values = [
                other.message
                for other in then
                if facts.has_channel(other.message) and other.place == place and not other.flow.sent
            ]
            if facts.is_low(values[-1] if values else message):
                going.append((place, emission))
        for place, _ in going:
            self.ledger.forget_rests(lambda at, there, gone=place: at == key and there == gone)  # type: ignore[misc]
        for place, emission in going:
            self._rest(key, place, emission, start, now, out)

    def _rest(self, key: Key, place: facts.Place, emission: Emission, start: Start, now: int, out: Out) -> None:
        """The value at rest goes the way of the one that was away from it, with the delays from there."""
        rest = replace(emission, flow=emission.flow.with_message(facts.rest_at(place)))
        self._has_come_to_rest(key, place, rest)
        begin = replace(start, base=now, before=AT_ONCE, waited=0)
        item = self._item_of(rest, begin)
        item.copy, item.made = emission.flow.copy, True
        self._start(item, rest, begin, now, out)

    def _away(self, wanted: Callable[[facts.Place], bool]) -> list[tuple[Emission, Key, facts.Place]]:
        """The places at ports that are away from rest, each once for each hand."""
        found: dict[object, tuple[Emission, Key, facts.Place]] = {}
        for key, places in self.ledger.rests.items():
            for place, (_, emission, _) in places.items():
                if not emission.is_kept and wanted(place):
                    found.setdefault((key[:3], place), (emission, key, place))
        return list(found.values())

    def _rest_now(self, players: Collection[int], now: int, out: Out) -> None:
        """All that players have away from rest comes to rest, as if in one moment."""
        items = [
            replace(self._item(emission, key[0], key[:3]), message=facts.rest_at(place))
            for emission, key, place in self._away(lambda place: True)
            if key[0] in players
        ]
        for item in items:
            self.merge.pedals.get(item.place, {}).pop(item.hand, None)
        for item in items:
            self.merge.send(item, now, out)
        self.ledger.forget_rests(lambda key, place: key[0] in players)

    # Time (rulings 22, 23, 29)

    def _after(self, now: int, delay: Delay) -> int:
        return now if delay == AT_ONCE else self.later(now, delay)

    def _start(self, item: Item, emission: Emission, start: Start, now: int, out: Out, *, twin: bool = False) -> None:
        """Sends an item after its delays; nothing overtakes on one rule and output channel (ruling 22)."""
        flow = emission.flow
        item.base, item.delay, item.waited = start.base, start.before + flow.delay, start.waited
        channel = facts.channel_of(item.message) if facts.has_channel(item.message) else -1
        item.queue = (flow.names, item.port, channel) if flow.names else None
        if item.sounding is not None:
            item.sounding.delay = flow.delay
            item.sounding.queue = None if flow.copy else item.queue
        due = self._book_in_turn(item, is_copy=bool(flow.copy))
        if twin:
            item.was_sent = True
        else:
            self._send_at(item, due, now, out)

    def _book_in_turn(self, item: Item, *, is_copy: bool) -> int:
        """When an item is due: after its delays, and where nothing overtakes after what came before it (ruling 22).

        A copy of an echo waits as long as its note did.
        """
        item.waited -= item.extra
        due = self._after(item.base, item.delay) + item.waited
        item.extra = 0
        if item.queue is not None and is_copy:
            item.extra = item.family.waits.get(item.queue, 0)
        elif item.queue is not None:
            item.extra = max(0, self.latest.get(item.queue, due) - due)
            self.latest[item.queue] = due + item.extra
            item.family.waits[item.queue] = item.extra
        item.waited += item.extra
        if item.sounding is not None:
            item.sounding.due, item.sounding.extra = due + item.extra, item.extra
        return due + item.extra

    def _in_turn(self, item: Item, due: int, pending: Sequence[Pending]) -> int:
        """What is held like a note waits for what the same hand sent there before (ruling 22)."""
        if not facts.has_channel(item.message) or not facts.is_held_like_a_note(item.message):
            return due
        before = [
            other.due
            for other in pending
            if other.item is not None
            and facts.has_channel(other.item.message)
            and facts.is_held_like_a_note(other.item.message)
            and (other.item.player, other.item.in_key) == (item.player, item.in_key)
            and other.item.place == item.place
        ]
        return max([due, *before])

    def _send_at(self, item: Item, due: int, now: int, out: Out) -> None:
        """Sends, or puts off."""
        due = self._in_turn(item, due, self.agenda)
        if due <= now:
            self._arrive(item, now, out)
        else:
            self.agenda.append(Pending(due, item.order, item=item))

    # Steps that keep things

    def _arrive(self, item: Item, now: int, out: Out) -> None:
        """An item is due: it goes out, or to its step."""
        if not item.is_kept:
            return self.merge.send(item, now, out)
        item.was_sent = True
        assert item.emission is not None
        assert item.emission.flow.stop is not None
        stop = item.emission.flow.stop
        if isinstance(stop.step, ThinStep):
            self._at_thin(item, stop, stop.step, now, out)
        elif isinstance(stop.step, LengthStep):
            self._at_length(item, stop.step, now, out)
        elif isinstance(stop.step, LatchStep):
            self._latches(now, out).take(item, stop.step, stop.at)

    # `latch`: a note sounds on

    def _latches(self, now: int, out: Out) -> Latches:
        """All latches, with what they do done now."""
        return Latches(
            self.latched,
            lambda item: self._play_behind(item, item.message, item.order, now, out),
            lambda item: any(press.soundings for press in self.ledger.presses.get(_key_behind(item, item.message), [])),
            lambda item, order: self._end_note(item, order, now, out),
        )

    def _is_shut(self, latch: Latch) -> bool:
        """Whether the `when` of a step doesn't hold."""
        stage = _stage_at(self.ruleset, latch.at)
        return stage is not None and not holds(stage.when, self.switches)

    # `length`: a note ends after its time

    def _at_length(self, item: Item, step: LengthStep, now: int, out: Out) -> None:
        if facts.is_off(item.message):
            return
        length = step.span
        name = (item.port, item.player, item.in_key, item.copy, facts.channel_of(item.message), item.message[1])
        if name in self.notes:
            before, pending = self.notes.pop(name)
            self.agenda.remove(pending)
            self._end_note(before, item.order, now, out)
        self._play_behind(item, item.message, item.order, now, out)
        base, delay = (now, length) if item.waited else (item.base, item.delay + length)
        pending = Pending(max(self.later(base, delay), now), item.order, note=name, base=base, delay=delay)
        self.notes[name] = (item, pending)
        self.agenda.append(pending)

    def _end_note(self, item: Item, order: int, now: int, out: Out) -> None:
        ending = replace(item, base=now, delay=AT_ONCE, waited=0)
        self._play_behind(ending, facts.made_off(facts.channel_of(item.message), item.message[1]), order, now, out)

    def _play_behind(self, item: Item, message: bytes, order: int, now: int, out: Out) -> None:
        """A note that a step plays, by the rules and switches that were in force when it came."""
        emission, in_key = item.emission, item.in_key
        assert emission is not None
        assert emission.flow.stop is not None
        assert in_key is not None
        stop, player = emission.flow.stop, item.player
        moment = Moment(stop.switches, self.memory, player, in_key)
        ruleset = item.family.ruleset
        assert ruleset is not None
        way = Way(ruleset, item.family.switches)
        emissions: list[Emission] = []
        if stop.at[0] == "port":
            for flow in resumed(replace(emission.flow, stop=replace(stop, follow=stop.follow[:-1])), message, moment):
                emissions += self._come_from_port_step(flow, item, moment, now, out)
            way = Way(ruleset, item.family.switches)
        else:
            branch = emission.port.removeprefix(f"step {stop.at}")
            for each in resumed(emission.flow, message, moment):
                emissions += way.at_stop(each, moment, branch)
        key = _key_behind(item, message)
        start = Start(player, in_key, key, item.family, item.base, item.delay, item.waited, order, is_behind=True)
        self._book(start, message, once(emissions), WayBehind(way, emission), now, out)

    def _come_from_port_step(self, flow: Flow, item: Item, moment: Moment, now: int, out: Out) -> list[Emission]:
        """What a step of a port plays turns switches and goes to the rules, unless another step there keeps it."""
        source, family = self.players[item.player], item.family
        assert family.ruleset is not None
        if flow.stop is None:
            before = dict(self.switches)
            is_swallowed = self._trigger(item.player, flow.message, now, out)
            if self.switches != before:
                family.switches = dict(self.switches)
            if is_swallowed:
                return []
            moment.switches = family.switches
            return Way(family.ruleset, family.switches).out_of_rules(source, flow, moment)
        behind: list[Emission] = []
        if not facts.is_note(flow.message):
            for each in resumed(flow, flow.message, moment):
                behind += self._come_from_port_step(each, item, moment, now, out)
        way = Way(family.ruleset, family.switches)
        return _at_port_step(flow, behind, way, source)

    def _end_notes(self, wanted: Callable[[Item], bool], now: int, out: Out) -> None:
        """Notes end before their time."""
        for name, (item, pending) in list(self.notes.items()):
            if wanted(item):
                del self.notes[name]
                self.agenda.remove(pending)
                self._end_note(item, 0, now, out)

    def _is_changed(self, item: Item) -> bool:
        """Whether the step that plays a note is gone, or another by now."""
        assert item.emission is not None
        assert item.emission.flow.stop is not None
        stop = item.emission.flow.stop
        return _step_at(self.ruleset, stop.at) != stop.step

    def _at_thin(self, item: Item, stop: Stop, step: ThinStep, now: int, out: Out) -> None:
        """A `thin`: an item passes, or waits in place of the one that waited."""
        kind, channel, number = item.message[0] & 0xF0, facts.channel_of(item.message), facts.number_of(item.message)
        is_fine = kind == 0xB0 and 33 <= number <= 63
        thin = self.thins.setdefault((*stop.at, channel, kind, number - 32 if is_fine else number), Thin())
        alike = self._alike(item, stop)
        if thin.passing is not alike:
            if is_fine and thin.fine_may_follow:
                thin.passing, thin.fine_may_follow = alike, False
            elif thin.last is None or now >= self.later(thin.last, Delay(step.ms)):
                thin.last, thin.passing, thin.fine_may_follow = now, alike, not is_fine
            else:
                return self._wait_at_thin(thin, item, stop, step, is_fine)
        self._let_on(item, now, out)

    def _alike(self, item: Item, stop: Stop) -> object:
        """What one message brings to a step alike, on whatever ways, passes or waits together."""
        return item.family.alike.setdefault((stop.at, item.message, item.delay), object())

    def _wait_at_thin(self, thin: Thin, item: Item, stop: Stop, step: ThinStep, is_fine: bool) -> None:
        waiting = thin.fine if is_fine else thin.coarse
        if not (waiting and self._alike(waiting[0], stop) is self._alike(item, stop)):
            waiting.clear()
            if not is_fine:
                thin.fine.clear()
                thin.fine_may_follow = False
        waiting.append(item)
        if thin.pending is None:
            assert thin.last is not None
            thin.pending = Pending(self.later(thin.last, Delay(step.ms)), item.order, thin=thin)
            self.agenda.append(thin.pending)
        thin.pending.order = (thin.coarse or thin.fine)[0].order

    def _open(self, thin: Thin, now: int, out: Out) -> None:
        """The time of a `thin` has come: what waited passes, from now."""
        waiting = [*thin.coarse, *thin.fine]
        assert thin.pending is not None
        order = thin.pending.order
        thin.last, thin.passing = now, None
        thin.fine_may_follow = bool(thin.coarse) and not thin.fine
        thin.coarse.clear()
        thin.fine.clear()
        thin.pending = None
        for item in waiting:
            item.base, item.delay, item.waited, item.order = now, AT_ONCE, 0, order
            self._let_on(item, now, out)

    def _let_on(self, item: Item, now: int, out: Out) -> None:
        """A step lets a value go on: as it was judged to when it came."""
        emission = item.emission
        assert emission is not None
        assert item.in_key is not None
        key = _key_behind(item, item.message)
        start = Start(
            item.player, item.in_key, key, item.family, item.base, item.delay, item.waited, item.order, is_behind=True
        )
        if facts.has_channel(item.message) and facts.is_off(item.message) and not item.ends:
            start = replace(start, is_stray=True)
        if item.made:
            for place, (_, away, _) in list(self.ledger.rests.get(key, {}).items()):
                self._rest(key, place, away, start, now, out)
            return
        way = WayBehind(self._now(), emission)
        self._book(start, item.message, once(emission.behind), way, now, out)

    def _forget_kept(self, player: int) -> None:
        """What a player sent is kept no longer."""
        for name, (kept, pending) in list(self.notes.items()):
            if kept.player == player:
                del self.notes[name]
                self.agenda.remove(pending)
        for name in [name for name, latch in self.latched.items() if latch.player == player]:
            del self.latched[name]
        for thin in self.thins.values():
            thin.coarse = [item for item in thin.coarse if item.player != player]
            thin.fine = [item for item in thin.fine if item.player != player]
            if thin.pending is not None and not thin.coarse and not thin.fine:
                self.agenda.remove(thin.pending)
                thin.pending = None

    def _end_pending(self, chosen: Callable[[Item], bool], now: int, out: Out) -> None:
        """What is pending for ports ends at once: offs go out, and what brings something to rest; all else is dropped.

        What is on its way to a step never comes there: what the step has let go is ended by the ledgers.
        """
        for pending in sorted(self.agenda, key=lambda entry: (entry.due, entry.order)):
            item = pending.item
            if item is None or not chosen(item):
                continue
            self.agenda.remove(pending)
            if not item.is_kept and facts.has_channel(item.message) and _ends_something(item.message):
                self.merge.send(item, now, out)

    # Switches (ruling 25)

    def _trigger(self, player: int, message: bytes, now: int, out: Out) -> bool:
        """Turns the switches that this message triggers; tells whether it is consumed."""
        consumed = False
        for at, trigger in placed_triggers(self.ruleset):
            if trigger.source == self.players[player] and is_meant(trigger, message):
                self._pull(at, trigger, player, message, now, out)
                consumed = consumed or not trigger.pass_on
        return consumed

    def _pull(self, at: TriggerPlace, trigger: Trigger, player: int, message: bytes, now: int, out: Out) -> None:
        """One trigger, pressed or released; what it does may have to wait."""
        press, release = facts.is_on(message), facts.is_off(message)
        if facts.is_controller(message):
            key = (player, trigger.source, *at, facts.channel_of(message))
            press = self.pressed.get(key, 0) < SWITCH_ON <= message[2]
            release = message[2] < SWITCH_ON
            self.pressed[key] = message[2]
        elif not facts.is_note(message):
            press = True
        held = Held(at, trigger, player, message, now, shortest_long(self.ruleset, self.players[player], message))
        before = self._forget_held(held.is_same_key) if press or release else []
        if press and trigger.long is not None:
            self.held.append(held)
            self.agenda.append(Pending(self._after(now, Delay(Fraction(trigger.long))), self._order(), held=held))
        elif press and held.waits:
            self.held.append(held)
        elif press:
            self._press(held, now, out)
        elif release:
            for begun in before:
                if begun.waits and now < self._after(begun.since, Delay(Fraction(begun.within))):
                    self._press(begun, now, out)
            if is_momentary(trigger):
                self._turn(at[0], False, player, now, out)

    def _press(self, held: Held, now: int, out: Out) -> None:
        """A press turns its switch."""
        name, trigger = held.at[0], held.trigger
        switch, state = self.ruleset.switches[name], self.switches[name]
        if isinstance(switch, OnOffSwitch):
            self._turn(name, switch.mode == "momentary" or not state, held.player, now, out)
        elif isinstance(trigger, AdvanceTrigger):
            self._turn(name, _stepped(switch, state, trigger.by), held.player, now, out)
        elif isinstance(trigger, SetTrigger):
            self._set(name, trigger.value, held.player, now, out)

    def _forget_held(self, wanted: Callable[[Held], bool]) -> list[Held]:
        """Presses that will not act any more; they are returned."""
        gone = [held for held in self.held if wanted(held)]
        self.held = [held for held in self.held if held not in gone]
        self.agenda = [pending for pending in self.agenda if pending.held is None or pending.held not in gone]
        return gone

    def _set(self, name: str, value: bool | int | str, player: int, now: int, out: Out) -> None:
        """A switch is set to a value: where it has that already, what the value sends goes out again (ruling 25)."""
        if self.switches[name] != value:
            return self._turn(name, value, player, now, out)
        others: list[Switches] = [{**self.switches, name: other} for other in _values(self.ruleset.switches[name])]
        self.lists.again(self.ruleset, self.switches, others, player, now, out)

    def _turn(self, name: str, value: bool | int | str, player: int, now: int, out: Out) -> None:
        """A switch gets a value: what it sends, and what the rules that it opens have to chase."""
        before, after = dict(self.switches), {**self.switches, name: value}
        if self.switches[name] == value:
            return
        self.switches[name] = value
        self.turned_by.pop(name, None)
        if player != NOBODY:
            self.turned_by[name] = self.hands[player]
        self._latches(now, out).let_go_where(self._is_shut)
        self.lists.turned(self.ruleset, before, after, player, now, out)
        for rule in self.ruleset.rules:
            for branch in branches_of(rule):
                if rule.chase and not branch.is_open(before) and branch.is_open(after):
                    self._chase(rule, branch, now, out)

    def _chase(self, rule: Rule, branch: Branch, now: int, out: Out, only: str = "") -> None:
        """Sends the last values that a rule wants; for one port only, past the steps that would keep them."""
        for known, in_key, message in self._last_known(rule.source, rule.chase):
            moment = Moment(dict(self.switches), self.memory, known, in_key)
            way = self._now()
            flows = way.into_rules(self.players[known], message, moment)
            outs = onward(flows, _along(way, rule, branch), moment)
            name = f" chase {self.ruleset.rules.index(rule)} {branch.number}"
            emissions = once(e for each in outs for e in way.at_stop(each, moment, name))
            if only:
                emissions = once(end for each in emissions for end in _ends(each) if end.port == only)
            # Values are chased, nothing else: they fire no `send` and make no notes.
            emissions = [e for e in emissions if not e.flow.sent and not facts.is_note(e.message)]
            start = Start(known, in_key, in_key, Family(), now)
            self._emit_all(emissions, start, Press(way, []), now, out)

    def _chase_at(self, port: str, now: int, out: Out) -> None:
        """What a port that has returned is to know: the last values by the rules that are open now."""
        for rule in self.ruleset.rules:
            for branch in branches_of(rule):
                if rule.chase and branch.is_open(self.switches):
                    self._chase(rule, branch, now, out, port)

    def _add_plan(self, due: int, plan: Plan) -> None:
        self.agenda.append(Pending(due, self._order(), plan=plan))

    def _drop_plans(self, dropped: Callable[[Plan], bool]) -> list[Plan]:
        gone = [pending for pending in self.agenda if pending.plan is not None and dropped(pending.plan)]
        self.agenda = [pending for pending in self.agenda if pending not in gone]
        gone.sort(key=lambda pending: (pending.due, pending.order))
        return [pending.plan for pending in gone if pending.plan is not None]

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


def _at_port_step(flow: Flow, behind: Sequence[Emission], way: Way, source: str) -> list[Emission]:
    """A flow that a step of a port keeps, with all that it becomes `behind`; notes go on when the step lets them."""
    assert flow.stop is not None
    stop = flow.stop.then(way.from_port(source))
    if facts.is_note(flow.message):
        return [Emission(f"step {stop.at}", replace(flow, stop=stop))]
    past = [each for each in behind if each.flow.sent or facts.is_note(each.message)]
    kept = tuple(each for each in behind if each not in past)
    return [
        *(replace(each, flow=replace(each.flow, way=(*flow.way, *each.flow.way))) for each in past),
        Emission(f"step {stop.at}", replace(flow, stop=replace(stop, switches=way.switches)), kept),
    ]


def _key_behind(item: Item, message: bytes) -> Key:
    """What holds a message down that a step sends on in place of an item."""
    assert item.in_key is not None
    return (*item.in_key, item.port, item.copy, *facts.in_key_of(item.player, message)[1:])


def _step_at(ruleset: RuleSet, at: tuple[str | int, ...]) -> object:
    """The step at a place of a rule file; None if there is none."""
    stage = _stage_at(ruleset, at)
    return None if stage is None else stage.step


def _stage_at(ruleset: RuleSet, at: tuple[str | int, ...]) -> Stage | None:
    """The step at a place of a rule file with its `when`; None if there is none."""
    kind, name, *numbers = at
    stages: Sequence[Stage] = ()
    if kind == "port" and name in ruleset.ports and ruleset.ports[str(name)].can_receive:
        stages = ruleset.ports[str(name)].steps
    if kind == "device" and name in ruleset.devices:
        stages = ruleset.devices[str(name)].steps
    for rule in ruleset.rules:
        if kind in ("rule", "zone") and rule.name == name:
            stages = rule.steps if kind == "rule" else ()
            if kind == "zone" and int(numbers[0]) < len(rule.zones):
                stages = rule.zones[int(numbers[0])].steps
    number = int(numbers[-1])
    return stages[number] if number < len(stages) else None


def _last_of(struck: Sequence[Sounding]) -> Sounding:
    """The one of several strikes of a note that goes out last."""
    return sorted(struck, key=lambda sounding: sounding.due)[-1]


def _along(way: Way, rule: Rule, branch: Branch) -> Follow:
    """What one branch of a rule makes of a flow."""
    return lambda flow, moment: way.along(rule, [branch], flow, moment)


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


def _stepped(switch: ValueSwitch | NumberSwitch, state: bool | int | str, by: int) -> bool | int | str:
    """The state so many places on: round again with `wrap`, else no further than the ends."""
    states = _values(switch)
    place = states.index(state) + by
    place = place % len(states) if switch.wrap else max(0, min(len(states) - 1, place))
    return states[place]


def _values(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> list[bool | int | str]:
    """All that a switch can be at."""
    if isinstance(switch, OnOffSwitch):
        return [False, True]
    if isinstance(switch, ValueSwitch):
        return list(switch.values)
    return list(range(switch.numbers[0], switch.numbers[1] + 1))


def _ends(emission: Emission) -> list[Emission]:
    """What an emission is at the ports, past the steps that keep things, with the delays before them."""
    if not emission.is_kept:
        return [emission]
    way = emission.flow.way
    ends = [end for each in emission.behind for end in _ends(each)]
    return [replace(end, flow=replace(end.flow, way=(*way, *end.flow.way))) for end in ends]


def _silence(channel: int) -> list[bytes]:
    """What silences a channel (ruling 17)."""
    silence = [bytes((0xB0 | channel, number, 0)) for number in (64, 66, 69, 123, 120)]
    return [*silence, bytes((0xE0 | channel, 0x00, 0x40))]


def _is_below_on(message: bytes) -> bool:
    return facts.is_controller(message) and message[2] < SWITCH_ON


def _ends_something(message: bytes) -> bool:
    """A note-off, or a value at rest of what is held like a note."""
    return facts.is_off(message) or facts.is_at_rest(message)
