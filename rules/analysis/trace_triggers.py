"""What a message does to switches and to our clock, and what that sends, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from rules.analysis.node_recorder import NodeRecorder, Passing
from rules.analysis.trace_chain import later_words
from rules.analysis.trace_line import TraceLine
from rules.compiler.sources import PulledTrigger
from rules.compiler.switch_guards import guard_of
from rules.fields.when import written_state
from rules.fields.written_messages import DelayedMessage
from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import CONTROLLER, NOTE_OFF, SYSEX, split_message
from rules.midi.notation import Naming, format_message
from rules.program.clock_orders import CONTINUE_ORDER, START_ORDER, STOP_ORDER, TAP_ORDER
from rules.program.forms import Form
from rules.program.guards import Guard, holds
from rules.program.switch_states import Layout
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import AdvanceTrigger, OnOffSwitch
from rules.steps.clock_trigger_node import ClockTriggerNode
from rules.steps.press_node import PressNode


class TriggerStory:
    """Pulls triggers. `word` is how the switches stand, as rules see them behind the triggers."""

    def __init__(self, ruleset: RuleSet, layout: Layout, word: int, naming: Naming) -> None:
        self._ruleset = ruleset
        self._layout = layout
        self._naming = naming
        self.word = word

    def pull(self, pulling: Sequence[PulledTrigger], one: Passing, form: Form) -> Iterator[TraceLine]:
        """Return what a message does that pulls these triggers: first what it does at once."""
        for pulled in pulling:
            if not self._acts_later(pulled, one, form):
                yield from self._pull(pulled, one, form)
        yield from self._pull_later([pulled for pulled in pulling if self._acts_later(pulled, one, form)], one, form)

    def _acts_later(self, pulled: PulledTrigger, one: Passing, form: Form) -> bool:
        """Return whether a message is a press that acts when it has been held, or is let go."""
        is_press = _is_press(form.status, split_message(one.message)[2])
        return is_press and bool(_acting(pulled.node, form.status))

    def _pull(self, pulled: PulledTrigger, one: Passing, form: Form) -> Iterator[TraceLine]:
        """Return what a message does to a switch at once, and what that sends."""
        before = self.word
        recorder = NodeRecorder(self._layout, self.word, one)
        recorder.hand(pulled.node, form.status, *split_message(one.message)[1:])
        self.word = recorder.word
        told = _turning(pulled, self._layout, before, self.word)
        if within := _within(pulled.node, form.status):
            told += f", unless it ends a press of less than {within} ms"
        yield TraceLine(0, f"{told}, {_passing_words(pulled)}")
        yield from self._sent_by_turning(before, recorder.chosen)

    def _pull_later(self, pulling: Sequence[PulledTrigger], one: Passing, form: Form) -> Iterator[TraceLine]:
        """Return what a press does to switches when it is held, in order of time, or let go. Rules see it before."""
        at_once = self.word
        for pulled in sorted(pulling, key=lambda pulled: pulled.node.long):
            is_sure = pulled.node.long > 0
            before = self.word if is_sure else at_once
            recorder = NodeRecorder(self._layout, before, one)
            pulled.node.pressed(0, recorder)
            self.word = recorder.word
            told = _turning(pulled, self._layout, before, self.word)
            yield TraceLine(0, f"{_acting(pulled.node, form.status)}: {told}, {_passing_words(pulled)}")
            for line in self._sent_by_turning(before, recorder.chosen):
                yield replace(line, late=True, outcomes=line.outcomes if is_sure else ())
            if not is_sure:
                self.word = at_once
        self.word = at_once

    def _sent_by_turning(self, before: int, chosen: str | None) -> Iterator[TraceLine]:
        """Return what switches send that were at `before`; one of them may be `chosen` in the state that it was in."""
        for turned in self._ruleset.on_switch:
            guard = guard_of(self._layout, turned.when)
            if not holds(guard, self.word):
                continue
            if not holds(guard, before):
                yield TraceLine(1, f"now {turned.when}, which sends:" if turned.send else f"now {turned.when}")
            elif chosen is not None and self._decides(chosen, guard):
                yield TraceLine(1, f"again {turned.when}, which sends:" if turned.send else f"again {turned.when}")
            else:
                continue
            for name, messages in turned.send.items():
                yield from (self._sent_to(name, message) for message in messages)
            if turned.bpm is not None:
                yield TraceLine(2, f"sets the tempo to {turned.bpm:g} BPM")
            yield from (TraceLine(2, f"asks for: {effect}") for effect in turned.do)

    def _decides(self, switch: str, guard: Guard) -> bool:
        """Return whether a condition that holds now is true because of a switch."""
        states = self._layout.fields[switch].states
        return not all(holds(guard, self._layout.turned(self.word, switch, state)) for state in states)

    def _sent_to(self, name: str, written: DelayedMessage) -> TraceLine:
        device = self._ruleset.devices.get(name)
        message = written.message.moved_to(device.channel if device is not None else None)
        port = self._ruleset.port_of(name)
        words = f"to port {port}: {format_message(message, self._naming)}{later_words(written.after)}"
        return TraceLine(2, words, ((port, message),))


def _is_press(status: int, second: int) -> bool:
    """Return whether a message presses what it pulls, rather than letting it go."""
    kind = status & 0xF0
    return second >= SWITCH_ON if kind == CONTROLLER else kind != NOTE_OFF


def _within(node: PressNode, status: int) -> int:
    """Return how many ms a press may last so that its release acts; 0 where that doesn't act."""
    return 0 if node.long or node.has_release or status >= SYSEX else node.patience[status & 0x0F]


def _acting(node: PressNode, status: int) -> str:
    """Return when a press acts, in words; empty where that is at once."""
    if node.long:
        return f"when held for {node.long} ms"
    within = _within(node, status)
    return f"when let go within {within} ms" if within else ""


def _passing_words(pulled: PulledTrigger) -> str:
    return "and passes on" if pulled.trigger.pass_on else "and is not passed on"


_TO_CLOCK: Final = {
    START_ORDER: "starts your clock",
    CONTINUE_ORDER: "lets your clock continue",
    STOP_ORDER: "stops your clock",
    TAP_ORDER: "taps the tempo",
}


def _turning(pulled: PulledTrigger, layout: Layout, before: int, after: int) -> str:
    """Return what becomes of a switch, or is asked of our clock, in words."""
    if isinstance(pulled.node, ClockTriggerNode):
        return _TO_CLOCK[str(pulled.node.order)]
    name, trigger = pulled.node.switch, pulled.trigger
    state = written_state(layout.state(after, name))
    if before == after:
        return f'leaves the switch "{name}" at {state}'
    if isinstance(trigger, AdvanceTrigger):
        return f'advances the switch "{name}" by {trigger.by:+d} to {state}'
    verb = "toggles" if isinstance(trigger, OnOffSwitch) and trigger.mode == "toggle" else "sets"
    return f'{verb} the switch "{name}" to {state}'
