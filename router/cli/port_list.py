"""What `ports` does: lists the computer's ports, or which of them the ports of rule files mean.

The data (`--json`) is one object. `pattern` is what to write into a rule file:

    {"command": "ports", "ok": true, "system": "ALSA",
     "inputs": [{"name": "Pit Keyboard:MIDI 1", "full_name": "Pit Keyboard:MIDI 1 20:0", "pattern": "Pit Keyboard"}],
     "outputs": [...]}

and with rule files, `ok` telling whether each port means exactly one:

    {"command": "ports", "ok": false, "system": "ALSA",
     "ports": [{"name": "keys", "direction": "in", "pattern": "Pit Key*", "state": "found",
                "computer_port": "Pit Keyboard:MIDI 1", "candidates": []}]}

`state` is found, missing, ambiguous or virtual.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any, NamedTuple

from router.cli.own_ports import OwnPorts
from router.midi.backend import Backend
from router.midi.backend_choice import choose_backend
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.formatting import columns, fitted_columns, plain
from router.text.terminal import painted, say, screen_width
from rules.listening.snippets import pattern_for
from rules.ports.patterns import Ambiguous, Found, Wanted, bare_name, find_port, wanted_ports


class PortsSettings(NamedTuple):
    """What `ports` shall list: the computer's ports, or which of them the ports of rule files mean."""

    rules: tuple[str, ...] = ()
    backend: str | None = None
    json: bool = False


def ports(settings: PortsSettings, backend: Backend | None = None) -> int:
    """List ports; return the exit code. Raises RuleFileError, MachineError or UsageError."""
    wanted = _wanted(settings.rules)
    system = backend or choose_backend(settings.backend, "pointsman-ports")
    try:
        inputs = [name for name in system.input_names() if not system.is_ours(name)]
        outputs = [name for name in system.output_names() if not system.is_ours(name)]
    finally:
        if backend is None:
            system.close()
    if wanted is None:
        is_own = OwnPorts()  # a daemon's output is no keyboard, though other programs may listen to it
        inputs, outputs = ([name for name in names if not is_own(name)] for names in (inputs, outputs))
        return _list_all(system.name, inputs, outputs, settings.json)
    meanings = [_meaning(port, inputs if port.direction == "in" else outputs) for port in wanted]
    return _list_meanings(system.name, meanings, settings.json)


def _wanted(rules: Sequence[str]) -> Sequence[Wanted] | None:
    if not rules:
        return None
    from router.files.rule_files import read_rule_files
    from rules.rulefile.reading import read_rule_set

    return wanted_ports(read_rule_set(read_rule_files(rules)).ruleset)


def _list_all(system: str, inputs: Sequence[str], outputs: Sequence[str], as_json: bool) -> int:
    if as_json:
        data = {"inputs": _described(inputs), "outputs": _described(outputs)}
        say([json.dumps({"command": "ports", "ok": True, "system": system, **data}, indent=2)])
        return FINE
    say(_section(f"inputs ({system})", inputs))
    say(["", *_section(f"outputs ({system})", outputs)])
    return FINE


def _section(title: str, names: Sequence[str]) -> list[str]:
    if not names:
        return [f"{title}: none"]
    rows = [(plain(bare_name(name)), plain(f'"{pattern_for(index, names)}"')) for index, name in enumerate(names)]
    head, *lines = fitted_columns([("port", "in the rule file"), *rows], (0,), screen_width() - 2)
    return [f"{title}:", "  " + painted(head, "strong", sys.stdout), *(f"  {line}" for line in lines)]


def _described(names: Sequence[str]) -> list[dict[str, str]]:
    return [
        {"name": bare_name(name), "full_name": name, "pattern": pattern_for(index, names)}
        for index, name in enumerate(names)
    ]


def _meaning(port: Wanted, names: Sequence[str]) -> dict[str, Any]:
    """Return which port of the computer one of ours means."""
    found = Found(-1) if port.virtual else find_port(port.pattern, names)
    state, meant, candidates = "missing", None, []
    if port.virtual:
        state = "virtual"
    elif isinstance(found, Found):
        state, meant = "found", bare_name(names[found.index])
    elif isinstance(found, Ambiguous):
        state, candidates = "ambiguous", list(found.candidates)
    return {
        "name": port.name,
        "direction": port.direction,
        "pattern": port.pattern,
        "state": state,
        "computer_port": meant,
        "candidates": candidates,
    }


def _list_meanings(system: str, meanings: Sequence[dict[str, Any]], as_json: bool) -> int:
    is_fine = all(one["state"] in ("found", "virtual") for one in meanings)
    if as_json:
        say([json.dumps({"command": "ports", "ok": is_fine, "system": system, "ports": meanings}, indent=2)])
    else:
        say(columns([("port", "", "the computer's"), *(_row(one) for one in meanings)]))
    return FINE if is_fine else INCOMPLETE


def _row(meaning: dict[str, Any]) -> tuple[str, str, str]:
    words = {
        "found": str(meaning["computer_port"]),
        "virtual": f'other programs find it as "{meaning["pattern"]}"',
        "missing": f'missing: there is no port named "{meaning["pattern"]}"',
        "ambiguous": f'"{meaning["pattern"]}" means {" or ".join(meaning["candidates"])}: write more, or #2 after it',
    }[meaning["state"]]
    return plain(meaning["name"]), meaning["direction"], plain(words)
