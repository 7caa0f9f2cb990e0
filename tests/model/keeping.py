"""Steps that keep things: what comes to them, what they let go on, and by which rules (rulings 6, 22, 23)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from rules.steps.latch import LatchStep
from rules.steps.length import LengthStep
from rules.steps.thin import ThinStep
from rules.timing.delays import AT_ONCE
from tests.model import facts
from tests.model.agenda import Pending
from tests.model.asking import holds
from tests.model.booking import Booking
from tests.model.chain import Flow, Moment, resumed
from tests.model.latching import Latch, Latches
from tests.model.ledger import Item, Key
from tests.model.merging import Out
from tests.model.resting import Resting
from tests.model.routing import Emission, Way, WayBehind, at_port_step, once
from tests.model.state import State
from tests.model.thinning import Thins
from tests.model.timing import Start

Trigger = Callable[[int, bytes, int, Out], bool]
"""Turns the switches that a message of a player triggers, and tells whether it is consumed."""


class Keeping:
    """All that steps keep."""

    def __init__(self, state: State, booking: Booking, resting: Resting, trigger: Trigger) -> None:
        self.state = state
        self.booking = booking
        self.resting = resting
        self.thins = Thins(state, self._let_on)
        self.notes: dict[object, tuple[Item, Pending]] = {}
        self.latched: dict[object, Latch] = {}
        self._trigger = trigger

    def arrive(self, item: Item, now: int, out: Out) -> None:
        """An item is due: it goes out, or to its step."""
        if not item.is_kept:
            return self.state.merge.send(item, now, out)
        item.was_sent = True
        assert item.emission is not None
        assert item.emission.flow.stop is not None
        stop = item.emission.flow.stop
        if isinstance(stop.step, ThinStep):
            self.thins.take(item, stop, stop.step, now, out)
        elif isinstance(stop.step, LengthStep):
            self._at_length(item, stop.step, now, out)
        elif isinstance(stop.step, LatchStep):
            self._latches(now, out).take(item, stop.step, stop.at)

    def _latches(self, now: int, out: Out) -> Latches:
        """All latches, with what they do done now."""
        return Latches(
            self.latched,
            lambda item: self._play_behind(item, item.message, item.order, now, out),
            lambda item: any(
                press.soundings for press in self.state.ledger.presses.get(_key_behind(item, item.message), [])
            ),
            lambda item, order: self._end_note(item, order, now, out),
        )

    def let_go_where_shut(self, now: int, out: Out) -> None:
        """Switches have turned: steps whose `when` doesn't hold let go."""
        self._latches(now, out).let_go_where(self._is_shut)

    def end_changed(self, now: int, out: Out) -> None:
        """Other rules: what a step keeps going that is gone, or another by now, ends."""
        self._end_notes(self._is_changed, now, out)
        self._latches(now, out).end_where(lambda latch: self.state.step_at(latch.at) != latch.step)

    def end_all(self, now: int, out: Out) -> None:
        """What steps keep going by themselves ends."""
        self._end_notes(lambda item: True, now, out)
        self._latches(now, out).end_where(lambda latch: True)

    def _is_shut(self, latch: Latch) -> bool:
        """Whether the `when` of a step doesn't hold."""
        stage = self.state.stage_at(latch.at)
        return stage is not None and not holds(stage.when, self.state.switches)

    def _at_length(self, item: Item, step: LengthStep, now: int, out: Out) -> None:
        """`length`: a note ends after its time."""
        if facts.is_off(item.message):
            return
        length = step.span
        name = (item.port, item.player, item.in_key, item.copy, facts.channel_of(item.message), item.message[1])
        if name in self.notes:
            before, pending = self.notes.pop(name)
            self.state.agenda.remove(pending)
            self._end_note(before, item.order, now, out)
        self._play_behind(item, item.message, item.order, now, out)
        base, delay = (now, length) if item.waited else (item.base, item.delay + length)
        due = max(self.state.later(base, delay), now)
        pending = Pending(due, item.order, lambda then, out: self._end_in_time(name, then, out), base=base, delay=delay)
        self.notes[name] = (item, self.state.agenda.add(pending))

    def _end_in_time(self, name: object, now: int, out: Out) -> None:
        item, pending = self.notes.pop(name)
        self._end_note(item, pending.order, now, out)

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
        moment = Moment(stop.switches, self.state.memory, player, in_key)
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
        self.booking.book(start, message, once(emissions), WayBehind(way, emission), now, out)

    def _come_from_port_step(self, flow: Flow, item: Item, moment: Moment, now: int, out: Out) -> list[Emission]:
        """What a step of a port plays turns switches and goes to the rules, unless another step there keeps it."""
        source, family = self.state.players[item.player], item.family
        assert family.ruleset is not None
        if flow.stop is None:
            before = dict(self.state.switches)
            is_swallowed = self._trigger(item.player, flow.message, now, out)
            if self.state.switches != before:
                family.switches = dict(self.state.switches)
            if is_swallowed:
                return []
            moment.switches = family.switches
            return Way(family.ruleset, family.switches).out_of_rules(source, flow, moment)
        behind: list[Emission] = []
        if not facts.is_note(flow.message):
            for each in resumed(flow, flow.message, moment):
                behind += self._come_from_port_step(each, item, moment, now, out)
        way = Way(family.ruleset, family.switches)
        return at_port_step(flow, behind, way, source)

    def _end_notes(self, wanted: Callable[[Item], bool], now: int, out: Out) -> None:
        """Notes end before their time."""
        for name, (item, pending) in list(self.notes.items()):
            if wanted(item):
                del self.notes[name]
                self.state.agenda.remove(pending)
                self._end_note(item, 0, now, out)

    def _is_changed(self, item: Item) -> bool:
        """Whether the step that plays a note is gone, or another by now."""
        assert item.emission is not None
        assert item.emission.flow.stop is not None
        stop = item.emission.flow.stop
        return self.state.step_at(stop.at) != stop.step

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
            for place, (_, away, _) in list(self.state.ledger.rests.get(key, {}).items()):
                self.resting.rest(key, place, away, start, now, out)
            return
        way = WayBehind(self.state.way(), emission)
        self.booking.book(start, item.message, once(emission.behind), way, now, out)

    def forget(self, player: int) -> None:
        """What a player sent is kept no longer."""
        for name, (kept, pending) in list(self.notes.items()):
            if kept.player == player:
                del self.notes[name]
                self.state.agenda.remove(pending)
        for name in [name for name, latch in self.latched.items() if latch.player == player]:
            del self.latched[name]
        self.thins.forget(player)


def _key_behind(item: Item, message: bytes) -> Key:
    """What holds a message down that a step sends on in place of an item."""
    assert item.in_key is not None
    return (*item.in_key, item.port, item.copy, *facts.in_key_of(item.player, message)[1:])
