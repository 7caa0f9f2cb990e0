"""What a name stands for, and why it can't be used as it is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

from rules.midi.suggestions import nearest, those_known
from rules.rulefile.draft import Draft

_MOST_COMPARED: Final = 100
"""How many unknown names are compared with the known ones: that takes time for each pair."""

_MOST_LISTED: Final = 30


class _Sort(NamedTuple):
    """What a name may stand for, in the words for one and for many, and under which header it belongs."""

    one: str
    many: str
    header: str


_SOURCES: Final = _Sort("port that messages come from", "ports that messages come from", "[ports]")
_DESTINATIONS: Final = _Sort("device or port to send to", "devices and ports to send to", "[devices] or [ports]")
_OUTPUTS: Final = _Sort("port to send to", "ports to send to", "[ports]")
_SWITCHES: Final = _Sort("switch", "switches", "[switches]")
_RULES: Final = _Sort("rule", "rules", "[[rules]]")


def source_fault(draft: Draft, name: str) -> str:
    """Return why no message can come from a name; empty when one can."""
    if name in draft.broken:
        return ""
    if name in draft.ports:
        return "" if draft.ports[name].value.can_receive else f'"{name}" is an output: nothing comes from there'
    if name in draft.devices:
        return f'"{name}" is a device: messages come from ports, and its port is "{draft.devices[name].value.port}"'
    return f'there is no port named "{name}"{_known(draft, _SOURCES, name)}'


def destination_fault(draft: Draft, name: str) -> str:
    """Return why no message can go to a name; empty when one can."""
    if name in draft.broken or name in draft.devices:
        return ""
    if name in draft.ports:
        return "" if draft.ports[name].value.can_send else f'"{name}" is an input: nothing can be sent there'
    return f'there is no device or port named "{name}"{_known(draft, _DESTINATIONS, name)}'


def port_fault(draft: Draft, name: str) -> str:
    """Return why a device can't be connected to a name; empty when it can."""
    if name in draft.ports or name in draft.broken:
        return destination_fault(draft, name)
    if name in draft.devices:
        return f'"{name}" is a device itself: name its port'
    return f'there is no port named "{name}"{_known(draft, _OUTPUTS, name)}'


def switch_fault(draft: Draft, name: str) -> str:
    """Return why a name is no switch; empty when it is one."""
    if name in draft.broken or name in draft.switches:
        return ""
    return f'there is no switch named "{name}"{_known(draft, _SWITCHES, name)}'


def rule_fault(draft: Draft, name: str) -> str:
    """Return why a name is no rule; empty when it is one."""
    if ("rule", name) in draft.taken:
        return ""
    return f'there is no rule named "{name}"{_known(draft, _RULES, name)}'


def _known(draft: Draft, sort: _Sort, name: str) -> str:
    """Return the end of the error about an unknown name: the name that is meant, or those that there are."""
    found = draft.unknown.get((sort.many, name))
    if found is None and len(draft.unknown) < _MOST_COMPARED:
        found = draft.unknown[sort.many, name] = _compared(list(_names(draft, sort)), sort, name)
    return found or ""


def _compared(known: list[str], sort: _Sort, name: str) -> str:
    if not known:
        return f": add it under {sort.header}"
    return nearest(name, known) or f": {those_known(sort.one, sort.many, known, _MOST_LISTED)}"


def _names(draft: Draft, sort: _Sort) -> Iterator[str]:
    """Yield the names of one sort, those of faulty tables last."""
    if sort is _SWITCHES:
        yield from draft.switches
        yield from draft.broken_names("switches")
        return
    if sort is _RULES:
        yield from (name for kind, name in draft.taken if kind == "rule")
        return
    if sort is _DESTINATIONS:
        yield from draft.devices
    for port, entry in draft.ports.items():
        if entry.value.can_receive if sort is _SOURCES else entry.value.can_send:
            yield port
    yield from draft.broken_names(*(("devices", "ports") if sort is _DESTINATIONS else ("ports",)))
