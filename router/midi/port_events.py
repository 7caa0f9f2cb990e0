"""What happens to ports, as data, with words for the user."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from router.midi.input_port import InputPort
from router.midi.output_port import OutputPort
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
