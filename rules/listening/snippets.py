"""Lines for the rule file, from what was pressed or moved: each block can be put into a rule file as it is.

Keys are written as numbers, with their names beside them: which C is meant by a name depends on the file (`middle_c`).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from rules.listening.gestures import Control
from rules.midi.controllers import FIRST_MODE
from rules.midi.notation import Naming, format_controller, format_note
from rules.ports.patterns import Found, bare_name, find_port

Value = bool | int | str | list["Value"] | dict[str, "Value"]
"""What can stand behind the = of a line."""

_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_UNWRITABLE: Final = re.compile(r"[\x00-\x1f\x7f\ud800-\udfff]")
_LONGEST_NAME: Final = 24
_WORDS_OF_CONDITIONS: Final = frozenset({"and", "or", "not", "none"})
_SIGNALS_THAT_SWITCH: Final = frozenset({"start", "stop", "continue", "song-select"})


@dataclass(frozen=True, slots=True)
class Block:
    """Lines that belong together in a rule file, and what they are good for."""

    purpose: str
    lines: tuple[str, ...]


def port_block(name: str, pattern: str, both_ways: bool) -> Block:
    """Return the line that makes a port known by a name of ours."""
    value: Value = pattern if both_ways else {"input": pattern}
    return Block("the port", ("[ports]", f"{_key(name)} = {toml(value)}"))


def blocks(control: Control, port: str, naming: Naming) -> list[Block]:
    """Return what can be done with a control of the port that the rule file calls `port`: ready lines."""
    found = []
    if trigger := _trigger(control, naming):
        name, says, note = trigger
        found.append(_switch(name, port, control, says, note))
    if control.kind == "clock":
        found.append(Block("an output follows this clock if its line under [ports] has", (f"# clock = {toml(port)}",)))
    if match := _match(control, naming):
        found.append(_rule(port, match, _steps(control, naming), _named_key(control, naming)))
    return found


def _switch(name: str, port: str, control: Control, says: dict[str, Value], note: str) -> Block:
    place: dict[str, Value] = {"from": port}
    if control.channel is not None:
        place["channel"] = control.channel
    line = f"{_key(name)} = {toml({**place, **says})}{note}"
    return Block(
        "a switch that it changes; the press is not passed on, unless you add pass_on = true", ("[switches]", line)
    )


def _trigger(control: Control, naming: Naming) -> tuple[str, dict[str, Value], str] | None:
    """A name for a switch, what turns it, and a remark; None for what turns no switch."""
    number = control.number if control.number is not None else 0
    match control.kind:
        case "note":
            name = f"note_{format_note(number, naming).replace('#', 's').lower()}"
            return name, {"note": number, "mode": "toggle"}, _named_key(control, naming)
        case "controller" if control.is_pedal:
            named = format_controller(number)
            name = f"pedal_{number}" if named == str(number) else named.replace(" ", "_")
            return name, {"controller": _controller(number), "mode": "momentary"}, ""
        case "program":
            return f"program_{number + naming.first_program}", {"program": number + naming.first_program}, ""
        case kind if kind in _SIGNALS_THAT_SWITCH:
            return f"on_{kind}", {"kind": kind}, ""
    return None


def _match(control: Control, naming: Naming) -> dict[str, Value] | None:
    """The condition that only this control fits; None where rules don't route it (ruling 26)."""
    channel: dict[str, Value] = {} if control.channel is None else {"channel": control.channel}
    number = control.number if control.number is not None else 0
    match control.kind:
        case "note" | "key-pressure":
            return {"kind": control.kind, **channel, "notes": number}
        case "controller":
            both: Value = [_controller(number), _controller(number + 32)]
            return {**channel, "controller": both if control.fine else _controller(number)}
        case "program":
            return {**channel, "program": number + naming.first_program}
        case "pitch-bend" | "channel-pressure" | "sysex":
            return {"kind": control.kind, **channel}
    return None


def _steps(control: Control, naming: Naming) -> dict[str, Value] | None:
    """A step that one may want to begin with."""
    number = control.number if control.number is not None else 0
    match control.kind:
        case "controller" if not control.is_pedal and number < FIRST_MODE:
            to = "volume" if format_controller(number) == "expression" else "expression"
            ends: dict[str, Value] = {"from": f"controller {format_controller(number)}", "to": f"controller {to}"}
            return {"map": {**ends, "bits": 14} if control.fine else {**ends, "out": "0..127"}}
        case "pitch-bend":
            return {"map": {"from": "pitch-bend", "to": "controller modulation", "in": "0..8191"}}
        case "channel-pressure":
            return {"map": {"from": "channel-pressure", "to": "controller modulation", "out": "0..127"}}
        case "program":
            played = number + naming.first_program
            return {"map": {"programs": {str(played): played}}}
    return None


def _rule(port: str, match: dict[str, Value], step: dict[str, Value] | None, note: str) -> Block:
    lines = ["[[rules]]", f"from = {toml(port)}", f"match = {toml(match)}{note}"]
    if step:
        lines += ["# what it becomes; without this line it passes unchanged", f"steps = {toml([step])}"]
    lines.append("to = []  # write a device or a port between the brackets")
    return Block("a rule that matches nothing else", tuple(lines))


def _named_key(control: Control, naming: Naming) -> str:
    if control.kind not in ("note", "key-pressure") or control.number is None:
        return ""
    return f"  # {control.number} is {format_note(control.number, naming)}, with middle C called C{naming.middle_c}"


def _controller(number: int) -> int | str:
    name = format_controller(number)
    return number if name == str(number) else name


# -- names ------------------------------------------------------------------------------------------------------------


def pattern_for(index: int, names: Sequence[str]) -> str:
    """Return the shortest pattern that means the port at `index` of the computer's `names` and no other.

    The name of its device where that is enough, else its whole name; equal names are told apart by ` #2`.
    """
    whole = bare_name(names[index])
    device = whole.partition(":")[0]
    if find_port(device, names) == Found(index):
        return device
    if find_port(whole, names) == Found(index):
        return whole
    equal = (f"{whole} #{number}" for number in range(1, len(names) + 1))
    return next((pattern for pattern in equal if find_port(pattern, names) == Found(index)), whole)


def port_name(pattern: str, taken: Collection[str]) -> str:
    """Return a name for a port that can stand in a rule file, made from its pattern, and that is not `taken`.

    What stands before a colon is the device, which the name of its port mostly repeats.
    """
    word = re.sub(r"[^a-z0-9]+", "_", pattern.rpartition(":")[2].lower()).strip("_")
    word = word[:_LONGEST_NAME].rstrip("_")
    if not word[:1].isalpha() or word in _WORDS_OF_CONDITIONS:
        word = f"port_{word}".rstrip("_")
    name, count = word, 1
    while name in taken:
        count += 1
        name = f"{word}_{count}"
    return name


# -- TOML -------------------------------------------------------------------------------------------------------------


def toml(value: Value) -> str:
    """Return a value as TOML 1.0 on one line. What no TOML text can hold becomes `?`, which fits it in a pattern."""
    match value:
        case bool():
            return "true" if value else "false"
        case int():
            return str(value)
        case str():
            text = _UNWRITABLE.sub("?", value).replace("\\", "\\\\").replace('"', '\\"')
            return f'"{text}"'
        case list():
            return f"[{', '.join(toml(item) for item in value)}]"
    return f"{{ {', '.join(f'{_key(key)} = {toml(item)}' for key, item in value.items())} }}"


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else toml(key)
