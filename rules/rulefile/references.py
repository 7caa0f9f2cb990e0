"""What a name stands for, and why it can't be used as it is."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import Final

from rules.midi.suggestions import nearest
from rules.rulefile.draft import Draft

_MOST_COMPARED: Final = 100
"""How many unknown names are compared with the known ones: that takes time for each pair."""

_MOST_LISTED: Final = 30


def source_fault(draft: Draft, name: str) -> str:
    """Return why no message can come from a name; empty when one can."""
    if name in draft.broken:
        return ""
    if name in draft.ports:
        return "" if draft.ports[name].value.can_receive else f'"{name}" is an output: nothing comes from there'
    if name in draft.devices:
        return f'"{name}" is a device: messages come from ports, and its port is "{draft.devices[name].value.port}"'
    return f'there is no port named "{name}"{_known(draft, "ports that messages come from", "[ports]", name)}'


def destination_fault(draft: Draft, name: str) -> str:
    """Return why no message can go to a name; empty when one can."""
    if name in draft.broken or name in draft.devices:
        return ""
    if name in draft.ports:
        return "" if draft.ports[name].value.can_send else f'"{name}" is an input: nothing can be sent there'
    others = _known(draft, "devices and ports to send to", "[devices] or [ports]", name)
    return f'there is no device or port named "{name}"{others}'


def port_fault(draft: Draft, name: str) -> str:
    """Return why a device can't be connected to a name; empty when it can."""
    if name in draft.ports or name in draft.broken:
        return destination_fault(draft, name)
    if name in draft.devices:
        return f'"{name}" is a device itself: name its port'
    return f'there is no port named "{name}"{_known(draft, "ports to send to", "[ports]", name)}'


def switch_fault(draft: Draft, name: str) -> str:
    """Return why a name is no switch; empty when it is one."""
    if name in draft.broken or name in draft.switches:
        return ""
    return f'there is no switch named "{name}"{_known(draft, "switches", "[switches]", name)}'


def rule_fault(draft: Draft, name: str) -> str:
    """Return why a name is no rule; empty when it is one."""
    if ("rule", name) in draft.taken:
        return ""
    return f'there is no rule named "{name}"{_known(draft, "rules", "[[rules]]", name)}'


def _known(draft: Draft, what: str, section: str, name: str) -> str:
    """Return the end of the error about an unknown name: the name that is meant, or those that there are."""
    found = draft.unknown.get((what, name))
    if found is None and len(draft.unknown) < _MOST_COMPARED:
        found = draft.unknown[what, name] = _compared(list(_names(draft, what)), what, section, name)
    return found or ""


def _compared(known: list[str], what: str, section: str, name: str) -> str:
    if not known:
        return f": add it under {section}"
    more = f" and {len(known) - _MOST_LISTED} more" if len(known) > _MOST_LISTED else ""
    return nearest(name, known) or f": the {what} are {', '.join(islice(known, _MOST_LISTED))}{more}"


def _names(draft: Draft, what: str) -> Iterator[str]:
    """Yield the names of one sort, those of faulty tables last."""
    receiving = what == "ports that messages come from"
    if what == "switches":
        yield from draft.switches
        yield from draft.broken_names("switches")
        return
    if what == "rules":
        yield from (name for kind, name in draft.taken if kind == "rule")
        return
    if what == "devices and ports to send to":
        yield from draft.devices
    for port, entry in draft.ports.items():
        if entry.value.can_receive if receiving else entry.value.can_send:
            yield port
    yield from draft.broken_names(*(("devices", "ports") if what == "devices and ports to send to" else ("ports",)))
