"""What shall happen to MIDI messages: the pure core of Pointsman.

Nothing here touches ports, files, clocks, threads or logs. Values come in, values go out; time is an argument and
file contents are bytes or text. The package `router` owns every effect and imports this one, never the other way.

A Python program needs only the names of this module. `load_rules` reads rule files, `rewrite_midi` sends the bytes of a
.mid file through them, a `Session` plays messages through them:

>>> import rules
>>> loaded = rules.load_rules({"rig.toml": '''
... [ports]
... keys = { input = true }
... rack = { output = true }
... [[rules]]
... from = "keys"
... steps = [{ rechannel = 4 }]
... to = "rack"
... '''})
>>> session = rules.Session(loaded)
>>> session.feed("keys", rules.parse_whole_message("note-on 1 C4 100"), now=0)
[Outgoing(port='rack', message=b'\\x93<d', due=0)]

Each name is loaded when it is first used, since this module runs whenever anything of the package is imported.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rules.api.live_session import Outgoing, Session
    from rules.api.loading import Rules, load_rules
    from rules.api.midi_files import rewrite_midi
    from rules.errors import MidiFileError, NotationError, PointsmanError, Problem, RuleFileError
    from rules.midi.notation import format_message, parse_whole_message
    from rules.smf.report import FileReport, Rewritten

__all__ = [
    "FileReport",
    "MidiFileError",
    "NotationError",
    "Outgoing",
    "PointsmanError",
    "Problem",
    "Rewritten",
    "RuleFileError",
    "Rules",
    "Session",
    "format_message",
    "load_rules",
    "parse_whole_message",
    "rewrite_midi",
]

if not TYPE_CHECKING:  # a checker that saw this function would take any misspelt name for one of the module's

    def __getattr__(name: str) -> object:
        match name:
            case "Rules" | "load_rules":
                from rules.api import loading as home
            case "rewrite_midi":
                from rules.api import midi_files as home
            case "Outgoing" | "Session":
                from rules.api import live_session as home
            case "format_message" | "parse_whole_message":
                from rules.midi import notation as home
            case "FileReport" | "Rewritten":
                from rules.smf import report as home
            case "MidiFileError" | "NotationError" | "PointsmanError" | "Problem" | "RuleFileError":
                from rules import errors as home
            case _:
                raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        value = globals()[name] = getattr(home, name)
        return value

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
