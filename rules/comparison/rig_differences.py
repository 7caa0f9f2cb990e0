"""What differs between two rule sets beside the ways of messages: ports, clock, switches, setups, chased values."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from rules.compiler.clocks import clock_choices
from rules.fields.when import written_state
from rules.fields.written_messages import DelayedMessage
from rules.midi.notation import Naming, format_controller, format_note
from rules.program.switch_states import State
from rules.rulefile.clock_table import OWN, ClockTable
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import AdvanceTrigger, NumberSwitch, OnOffSwitch, SetTrigger, Trigger, ValueSwitch
from rules.steps.wording import channels
from rules.timing.delays import AT_ONCE, in_words

_CONNECTING: Final = ("both", "input", "output", "virtual", "connection", "pass_reset")
"""Settings of a port that are no part of the ways of messages."""

_Switch = OnOffSwitch | ValueSwitch | NumberSwitch


def rig_differences(old: RuleSet, new: RuleSet, naming: Naming) -> list[str]:
    """Return a line for each difference; none where the rig is the same."""
    return [
        *_ports(old, new),
        *_clocks(old, new),
        *_switches(old.switches, new.switches, naming),
        *_lists("when", _sent(old), _sent(new), naming),
        *_lists("setup of", _setups(old), _setups(new), naming),
        *_effects(old, new),
        *_chased(old, new),
        *_own_clock(old.clock, new.clock, naming),
        *([] if old.bpm == new.bpm else [f"tempo: {old.bpm:g} BPM before, {new.bpm:g} BPM now"]),
    ]


def _new_and_gone(kind: str, old: Iterable[str], new: Iterable[str]) -> Iterator[str]:
    before, now = list(old), list(new)
    yield from (f"{kind} {name}: new" for name in now if name not in before)
    yield from (f"{kind} {name}: gone" for name in before if name not in now)


def _ports(old: RuleSet, new: RuleSet) -> Iterator[str]:
    yield from _new_and_gone("port", old.ports, new.ports)
    for name, port in new.ports.items():
        if name in old.ports:
            changed = [key for key in _CONNECTING if getattr(port, key) != getattr(old.ports[name], key)]
            if changed:
                yield f"port {name}: other {', '.join(changed)}"


def _clocks(old: RuleSet, new: RuleSet) -> Iterator[str]:
    before, now = clock_choices(old), clock_choices(new)
    for name, choice in now.items():
        was = before[name].source if name in before else None
        if was != choice.source:
            yield f"clock of {name}: {_clock_from(was)} before, {_clock_from(choice.source)} now"


def _clock_from(source: str | None) -> str:
    return "none" if source is None else "yours" if source == OWN else f"from {source}"


def _own_clock(old: ClockTable, new: ClockTable, naming: Naming) -> Iterator[str]:
    """What differs in our clock besides its tempo, and who hears it."""
    if old.follow != new.follow:
        yield f"clock: follows {old.follow or 'none'} before, {new.follow or 'none'} now"
    if old.go_on != new.go_on:
        yield f"clock: {'goes' if new.go_on else 'no longer goes'} on when the clock stops that it follows"
    if old.beats_a_bar != new.beats_a_bar:
        yield f"clock: {old.beats_a_bar} beats a bar before, {new.beats_a_bar} now"
    before, now = old.triggers(), new.triggers()
    for what in now:
        was, written = ([_trigger(one, naming) for one in each[what]] for each in (before, now))
        yield from (f"clock: no longer: {what} by {words}" for words in was if words not in written)
        yield from (f"clock: new: {what} by {words}" for words in written if words not in was)


# -- switches ---------------------------------------------------------------------------------------------------------


def _switches(old: Mapping[str, _Switch], new: Mapping[str, _Switch], naming: Naming) -> Iterator[str]:
    yield from _new_and_gone("switch", old, new)
    for name, switch in new.items():
        if name not in old:
            continue
        was = old[name]
        if not _are_same(was.states, switch.states):
            yield f"switch {name}: can be {_span(was.states)} before, {_span(switch.states)} now"
        if not _are_same((was.first,), (switch.first,)):
            yield f"switch {name}: {written_state(was.first)} at first before, {written_state(switch.first)} now"
        if type(was) is type(switch) and _ends(was) != _ends(switch):
            yield f"switch {name}: {_ends(was)} before, {_ends(switch)} now"
        before, now = (list(_triggers(one, naming)) for one in (was, switch))
        yield from (f"switch {name}: no longer: {words}" for words in before if words not in now)
        yield from (f"switch {name}: new: {words}" for words in now if words not in before)


def _are_same(states: Sequence[State], others: Sequence[State]) -> bool:
    return list(map(repr, states)) == list(map(repr, others))  # true is no number here


def _span(states: Sequence[State]) -> str:
    if isinstance(states[0], int) and not isinstance(states[0], bool):
        return f"{states[0]}..{states[-1]}"
    return ", ".join(map(written_state, states))


def _ends(switch: _Switch) -> str:
    wraps = isinstance(switch, OnOffSwitch) or switch.wrap
    return "goes round" if wraps else "stops at its ends"


def _triggers(switch: _Switch, naming: Naming) -> Iterator[str]:
    if isinstance(switch, OnOffSwitch):
        does = "is held by" if switch.mode == "momentary" else "is toggled by"
        yield f"{does} {_trigger(switch, naming)}"
        return
    yield from (_set_by(one, naming) for one in switch.set)
    yield from (_advanced_by(one, naming) for one in switch.advance)


def _set_by(one: SetTrigger, naming: Naming) -> str:
    return f"{_trigger(one, naming)} sets {written_state(one.value)}"


def _advanced_by(one: AdvanceTrigger, naming: Naming) -> str:
    return f"{_trigger(one, naming)} advances by {one.by:+d}"


def _trigger(trigger: Trigger, naming: Naming) -> str:
    if trigger.note is not None:
        what = f"note {format_note(trigger.note, naming)}"
    elif trigger.controller is not None:
        what = f"controller {format_controller(trigger.controller)}"
    elif trigger.program is not None:
        what = f"program {trigger.program + naming.first_program}"
    else:
        what = str(trigger.kind)
    on = f" on {channels(trigger.channel)}" if trigger.channel is not None else ""
    held = f", held {trigger.long} ms" if trigger.long is not None else ""
    return f"{what}{on} from {trigger.source}{held}{', passed on' if trigger.pass_on else ''}"


# -- lists of messages ------------------------------------------------------------------------------------------------

_Lists = Mapping[tuple[str, str], Sequence[DelayedMessage]]
"""By what they belong to, and the device or port that they go to."""


def _sent(ruleset: RuleSet) -> _Lists:
    found: dict[tuple[str, str], list[DelayedMessage]] = {}
    for turned in ruleset.on_switch:
        for name, messages in turned.send.items():
            found.setdefault((f"{turned.when}", name), []).extend(messages)
    return found


def _setups(ruleset: RuleSet) -> _Lists:
    return {("", name): device.setup for name, device in ruleset.devices.items() if device.setup}


def _lists(kind: str, old: _Lists, new: _Lists, naming: Naming) -> Iterator[str]:
    for key in dict.fromkeys((*old, *new)):
        before, now = ([_written(each, naming) for each in lists.get(key, ())] for lists in (old, new))
        if before != now:
            belongs, name = key
            head = f"{kind} {belongs}, to {name}" if belongs else f"{kind} {name}"
            yield f"{head}: {', '.join(before) or 'nothing'} before, {', '.join(now) or 'nothing'} now"


def _written(each: DelayedMessage, naming: Naming) -> str:
    after = "" if each.after == AT_ONCE else f"after {in_words(each.after)} "
    return f"{after}{each.message.words(naming)}"


def _effects(old: RuleSet, new: RuleSet) -> Iterator[str]:
    before, now = (
        [
            f"when {turned.when}: {effect}"
            for turned in ruleset.on_switch
            for effect in (*turned.do, *([] if turned.bpm is None else [f"{turned.bpm:g} BPM"]))
        ]
        for ruleset in (old, new)
    )
    yield from (f"{words} (new)" for words in now if words not in before)
    yield from (f"{words} (gone)" for words in before if words not in now)


def _chased(old: RuleSet, new: RuleSet) -> Iterator[str]:
    before, now = (
        [
            f"chase of {things} from {source}, rule {rule.name}"
            for rule in ruleset.rules
            if rule.chase
            for things in [", ".join(one if isinstance(one, str) else format_controller(one) for one in rule.chase)]
            for source in rule.source
        ]
        for ruleset in (old, new)
    )
    yield from (f"{words}: new" for words in now if words not in before)
    yield from (f"{words}: gone" for words in before if words not in now)
