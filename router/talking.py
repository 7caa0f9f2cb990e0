"""The commands `panic`, `reload` and `switch`: what one asks of the running daemon.

The data (`--json`) are one object each:

    {"command": "panic", "ok": true}
    {"command": "reload", "ok": true, "outcome": "applied", "words": ["..."]}      or "unchanged", "rejected"
    {"command": "switch", "ok": true, "switches": {"up": false, "song": "chorus", "key": -2}}
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any, Final

from router.daemon.control_client import ask_daemon
from router.settings import PanicSettings, ReloadSettings, SwitchSettings
from router.status import state_word, switch_rows
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.formatting import plain
from router.text.terminal import painted, say
from router.text.usage import UsageError

_RELOAD_PATIENCE: Final = 60.0  # seconds: the tests of the rule files run as well

_SILENCED = "Silence: all notes have been ended, pedals let go, bends centred, on every channel of every output."
_EVERY_KEY = "Note-offs for every key go out as well: 2.0 s on a DIN wire."  # ruling 17


def panic(settings: PanicSettings) -> int:
    """Silence everything; return the exit code. Raises MachineError if no such daemon runs or answers."""
    ask_daemon(settings.name, "panic", every_key=settings.every_key)
    _answer(settings.json, "panic", {}, [_SILENCED, _EVERY_KEY] if settings.every_key else [_SILENCED])
    return FINE


def reload(settings: ReloadSettings) -> int:
    """Have the rule files read anew, and say what came of it; 1 if they can't be used. Raises MachineError."""
    told = ask_daemon(settings.name, "reload", patience=_RELOAD_PATIENCE)
    outcome, words = str(told["outcome"]), [str(line) for line in told["words"]]
    rejected = outcome == "rejected"
    lines = [painted(plain(line), "bad", sys.stdout) if rejected else plain(line) for line in words]
    if rejected:
        lines.append("The rules from before play on.")
    _answer(settings.json, "reload", {"ok": not rejected, "outcome": outcome, "words": words}, lines)
    return INCOMPLETE if rejected else FINE


def switch(settings: SwitchSettings) -> int:
    """Turn a switch and say how it stands, or list them all; return the exit code.

    Raises MachineError if no such daemon runs, or it has no such switch or value; UsageError for an empty name.
    """
    if settings.text is None:
        switches = ask_daemon(settings.name, "status")["switches"]
        rows = switch_rows(switches) or ["The rule files have no switches."]
        _answer(settings.json, "switch", {"switches": switches}, rows)
        return FINE
    name, given, value = (part.strip() for part in settings.text.partition("="))
    if not name or (given and not value):
        raise UsageError(f'"{plain(settings.text)}": write the switch and how it shall stand, as in song=chorus')
    ask_daemon(settings.name, "switch", name=name, value=value if given else None)
    state = ask_daemon(settings.name, "status")["switches"][name]
    _answer(settings.json, "switch", {"switches": {name: state}}, [f"{plain(name)} is now {state_word(state)}"])
    return FINE


def _answer(as_json: bool, command: str, data: dict[str, Any], lines: Sequence[str]) -> None:
    say([json.dumps({"command": command, "ok": True, **data}, indent=2)] if as_json else lines)
