"""What a name stands for, and why it can't be used as it is."""

from __future__ import annotations

from collections.abc import Sequence

from rules.midi.suggestions import nearest
from rules.rulefile.draft import Draft


def source_fault(draft: Draft, name: str) -> str:
    """Return why no message can come from a name; empty when one can."""
    if name in draft.broken:
        return ""
    if name in draft.ports:
        return "" if draft.ports[name].value.can_receive else f'"{name}" is an output: nothing comes from there'
    if name in draft.devices:
        return f'"{name}" is a device: messages come from ports, and its port is "{draft.devices[name].value.port}"'
    known = [port for port, entry in draft.ports.items() if entry.value.can_receive] + draft.broken_names("ports")
    return f'there is no port named "{name}"{_known("ports that messages come from", "[ports]", name, known)}'


def destination_fault(draft: Draft, name: str) -> str:
    """Return why no message can go to a name; empty when one can."""
    if name in draft.broken or name in draft.devices:
        return ""
    if name in draft.ports:
        return "" if draft.ports[name].value.can_send else f'"{name}" is an input: nothing can be sent there'
    known = [*draft.devices, *(port for port, entry in draft.ports.items() if entry.value.can_send)]
    known += draft.broken_names("devices", "ports")
    others = _known("devices and ports to send to", "[devices] or [ports]", name, known)
    return f'there is no device or port named "{name}"{others}'


def port_fault(draft: Draft, name: str) -> str:
    """Return why a device can't be connected to a name; empty when it can."""
    if name in draft.ports or name in draft.broken:
        return destination_fault(draft, name)
    if name in draft.devices:
        return f'"{name}" is a device itself: name its port'
    known = [port for port, entry in draft.ports.items() if entry.value.can_send] + draft.broken_names("ports")
    return f'there is no port named "{name}"{_known("ports to send to", "[ports]", name, known)}'


def switch_fault(draft: Draft, name: str) -> str:
    """Return why a name is no switch; empty when it is one."""
    if name in draft.broken or name in draft.switches:
        return ""
    known = [*draft.switches, *draft.broken_names("switches")]
    return f'there is no switch named "{name}"{_known("switches", "[switches]", name, known)}'


def _known(what: str, section: str, name: str, known: Sequence[str]) -> str:
    if not known:
        return f": add it under {section}"
    hint = nearest(name, known)
    return hint or f": the {what} are {', '.join(known)}"
