"""What happens to ports, as data, with words for the user."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from router.midi.input_port import InputPort
from router.midi.output_port import OutputPort
from rules.midi.neutral import silence_messages
from rules.ports.patterns import Wanted

Kind = Literal["found", "lost", "waiting", "ambiguous", "server lost", "server back", "dropping", "unlisted"]
ManagedPort = InputPort | OutputPort


@dataclass(frozen=True, slots=True)
class PortEvent:
    """Something that happened to a port (`wanted` is None: to all of them), in words for the user."""

    kind: Kind
    wanted: Wanted | None
    words: str


def said_once(port: ManagedPort, kind: Kind, words: str) -> list[PortEvent]:
    """Return an event, unless the last one of this port said the same."""
    if words == port.said:
        return []
    port.said = words
    return [PortEvent(kind, port.wanted, f"{port.wanted.words}: {words}")]


def found(port: ManagedPort, words: str) -> list[PortEvent]:
    """Return the event of a port that is open from now on."""
    port.said = ""
    return [PortEvent("found", port.wanted, f"{port.wanted.words}: {words}")]


def found_outputs(events: Iterable[PortEvent]) -> set[str]:
    """Return our names of the outputs that are open from now on."""
    wanted = (event.wanted for event in events if event.kind == "found")
    return {one.name for one in wanted if one is not None and one.direction == "out"}


def is_cut_off(port: ManagedPort) -> bool:
    """Return whether a port of the computer is no longer connected, though it is open."""
    return port.is_cut_off and not port.wanted.virtual


def silence(output_port: OutputPort, now: int) -> None:
    """End what sounds at the old port of a name, since the session knows only the new one."""
    for message in silence_messages():
        output_port.send(message, now)


def renamed_inputs(
    inputs: Mapping[str, InputPort], wanted: Iterable[Wanted], is_same: Callable[[InputPort, Wanted], bool]
) -> dict[str, str]:
    """Return which open `inputs` have another name in `wanted`, by old name; unclear pairs are none."""
    named = {one.name: one for one in wanted if one.direction == "in"}
    gone = [port for name, port in inputs.items() if name not in named and port.is_open]
    new = [one for name, one in named.items() if name not in inputs]
    pairs = [(port.name, one.name) for port in gone for one in new if is_same(port, one)]
    olds, news = ([pair[side] for pair in pairs] for side in (0, 1))
    return {old: name for old, name in pairs if olds.count(old) == news.count(name) == 1}
