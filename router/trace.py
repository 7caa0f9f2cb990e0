"""The command `trace`: where a message goes, and why.

The data (`--json`) is one object, `arrives` telling what comes out where:

    {"command": "trace", "ok": true, "from": "keys",
     "messages": [{"message": "note-on 1 C4 100", "bytes": "90 3C 64",
                   "lines": [{"depth": 0, "text": "rule \\"keyboard\\": takes it"}],
                   "arrives": [{"port": "rack1", "message": "note-on 4 C4 100", "bytes": "93 3C 64"}]}]}
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from router.files.rule_files import read_rule_files
from router.files.switch_values import read_switch
from router.playing import known_source
from router.settings import TraceSettings
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.terminal import say
from router.text.usage import UsageError
from router.written import read_messages
from rules.analysis.trace import TraceLine
from rules.analysis.trace import trace as follow
from rules.midi.messages import NOTE_OFF, NOTE_ON, POLY_PRESSURE
from rules.midi.notation import Naming, format_message, in_hex
from rules.midi.pitch import hertz
from rules.rulefile.reading import read_rule_set


def trace(settings: TraceSettings) -> int:
    """Print where each message goes; return the exit code. Raises UsageError, RuleFileError or MachineError."""
    if not settings.words:
        raise UsageError("write the message after the port, as in: --from keys note-on 1 C4 100")
    reading = read_rule_set(read_rule_files(settings.rules))
    ruleset = reading.ruleset
    source = known_source(settings.source, ruleset)
    naming = reading.ports[source].source.naming
    switches = dict(read_switch(text, ruleset) for text in settings.switches)
    messages = read_messages(settings.words, naming)
    traced = [Traced(one, follow(ruleset, source, one, switches, naming), naming) for one in messages]
    if settings.json:
        say(
            [
                json.dumps(
                    {"command": "trace", "ok": True, "from": source, "messages": [one.data() for one in traced]},
                    indent=2,
                )
            ]
        )
    else:
        say(line for at, one in enumerate(traced) for line in ([""] if at else []) + one.in_words(source))
    return FINE


@dataclass(frozen=True, slots=True)
class Traced:
    """One message, where it went, and how its rule file names notes."""

    message: bytes
    lines: Sequence[TraceLine]
    naming: Naming

    def in_words(self, source: str) -> list[str]:
        """Return the lines to print."""
        head = f"{format_message(self.message, self.naming)}  ({in_hex(self.message)}{self._key()})  from {source}"
        return [head, *("  " * (line.depth + 1) + plain(line.text) for line in self.lines)]

    def _key(self) -> str:
        """The key by number and pitch: note names alone leave the octave open, as middle C is C3 or C4."""
        if self.message[0] & 0xF0 not in (NOTE_ON, NOTE_OFF, POLY_PRESSURE):
            return ""
        return f", key {self.message[1]}, {hertz(self.message[1]):.1f} Hz"

    def data(self) -> dict[str, Any]:
        """Return the same for programs."""
        lines = [{"depth": line.depth, "text": line.text} for line in self.lines]
        arrived = [arrival for line in self.lines for arrival in line.outcomes]
        arrives = [{"port": port, **self._named(message)} for port, message in arrived]
        return {**self._named(self.message), "lines": lines, "arrives": arrives}

    def _named(self, message: bytes) -> dict[str, str]:
        return {"message": format_message(message, self.naming), "bytes": in_hex(message)}
