"""Switches: what turns them, now or when it has been held long enough, and what they do then (ruling 25)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from rules.midi.controllers import SWITCH_ON
from rules.rulefile.switch_tables import AdvanceTrigger, NumberSwitch, OnOffSwitch, SetTrigger, Trigger, ValueSwitch
from rules.timing.delays import Delay
from tests.model import facts
from tests.model.agenda import Pending
from tests.model.chasing import Chasing
from tests.model.lists import NOBODY, Lists, Switches
from tests.model.merging import Out
from tests.model.pressing import Held, TriggerPlace, is_meant, is_momentary, placed_triggers, shortest_long
from tests.model.state import State


class Switching:
    """All switches. `let_go` is done when one has turned: some steps may be shut by that."""

    def __init__(self, state: State, lists: Lists, chasing: Chasing, let_go: Callable[[int, Out], None]) -> None:
        self.state = state
        self.lists = lists
        self.chasing = chasing
        self.pressed: dict[tuple[str | int | None, ...], int] = {}
        self.held: list[Held] = []
        self.turned_by: dict[str, str] = {}
        """Whose hand turned each switch last; nobody's, where that was a command."""
        self._let_go = let_go

    def trigger(self, player: int, message: bytes, now: int, out: Out) -> bool:
        """Turns the switches that this message triggers; tells whether it is consumed."""
        consumed = False
        for at, trigger in placed_triggers(self.state.ruleset):
            if trigger.source == self.state.players[player] and is_meant(trigger, message):
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
        within = shortest_long(self.state.ruleset, self.state.players[player], message)
        held = Held(at, trigger, player, message, now, within)
        before = self.forget(held.is_same_key) if press or release else []
        if press and trigger.long is not None:
            self.held.append(held)
            due = self.state.after(now, Delay(Fraction(trigger.long)))
            order = self.state.order()
            pending = Pending(due, order, lambda then, out: self._press_long(held, then, out), about=held)
            self.state.agenda.add(pending)
        elif press and held.waits:
            self.held.append(held)
        elif press:
            self._press(held, now, out)
        elif release:
            for begun in before:
                if begun.waits and now < self.state.after(begun.since, Delay(Fraction(begun.within))):
                    self._press(begun, now, out)
            if is_momentary(trigger) and at[0] is not None:
                self.turn(at[0], False, player, now, out)

    def _press_long(self, held: Held, now: int, out: Out) -> None:
        self.held.remove(held)
        self._press(held, now, out)

    def _press(self, held: Held, now: int, out: Out) -> None:
        """A press turns its switch, or asks our clock for something."""
        (name, order, _), trigger = held.at, held.trigger
        if name is None:
            self.lists.orders.append(order)
            return
        switch, state = self.state.ruleset.switches[name], self.state.switches[name]
        if isinstance(switch, OnOffSwitch):
            self.turn(name, switch.mode == "momentary" or not state, held.player, now, out)
        elif isinstance(trigger, AdvanceTrigger):
            self.turn(name, _stepped(switch, state, trigger.by), held.player, now, out)
        elif isinstance(trigger, SetTrigger):
            self.set(name, trigger.value, held.player, now, out)

    def forget(self, wanted: Callable[[Held], bool]) -> list[Held]:
        """Presses that will not act any more; they are returned."""
        gone = [held for held in self.held if wanted(held)]
        self.held = [held for held in self.held if held not in gone]
        self.state.agenda.drop(lambda pending: pending.about in gone)
        return gone

    def set(self, name: str, value: bool | int | str, player: int, now: int, out: Out) -> None:
        """A switch is set to a value: where it has that already, what the value sends goes out again (ruling 25)."""
        if self.state.switches[name] != value:
            return self.turn(name, value, player, now, out)
        values = self.state.ruleset.switches[name].states
        others: list[Switches] = [{**self.state.switches, name: other} for other in values]
        self.lists.again(self.state.ruleset, self.state.switches, others, player, now, out)

    def turn(self, name: str, value: bool | int | str, player: int, now: int, out: Out) -> None:
        """A switch gets a value: what it sends, and what the rules that it opens have to chase."""
        before, after = dict(self.state.switches), {**self.state.switches, name: value}
        if self.state.switches[name] == value:
            return
        self.state.switches[name] = value
        self.turned_by.pop(name, None)
        if player != NOBODY:
            self.turned_by[name] = self.state.hands[player]
        self._let_go(now, out)
        self.lists.turned(self.state.ruleset, before, after, player, now, out)
        self.chasing.turned(before, after, now, out)

    def release(self, player: int, standing: str | None, now: int, out: Out) -> None:
        """A source is lost: no press of it is under way, and a momentary switch that it turned on falls.

        `standing` is the hand that turned what nobody is known to have turned.
        """
        self.pressed = {key: value for key, value in self.pressed.items() if key[0] != player}
        self.forget(lambda held: held.player == player)
        source = self.state.players[player]
        for name, switch in self.state.ruleset.switches.items():
            if not isinstance(switch, OnOffSwitch) or switch.mode != "momentary" or switch.source != source:
                continue
            if self.turned_by.get(name, standing) == self.state.hands[player]:
                self.turn(name, False, player, now, out)

    def carry_on(self, now: int, out: Out) -> None:
        """Other rules: states and presses that they know live on."""
        ruleset, players, states = self.state.ruleset, self.state.players, self.state.switches
        self.forget(lambda held: not held.lives_on(ruleset, players[held.player]))
        self.state.switches = {name: _carried(it, states.get(name)) for name, it in ruleset.switches.items()}
        self._let_go(now, out)


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
    return value if exists and value is not None else switch.first


def _stepped(switch: ValueSwitch | NumberSwitch, state: bool | int | str, by: int) -> bool | int | str:
    """The state so many places on: round again with `wrap`, else no further than the ends."""
    states: Sequence[bool | int | str] = switch.states
    place = states.index(state) + by
    place = place % len(states) if switch.wrap else max(0, min(len(states) - 1, place))
    return states[place]
