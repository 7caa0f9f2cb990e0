"""The command `trace --last`: what came and went in the last seconds of the running daemon, why, and what is held now.

The data (`--json`) is one object, times in seconds since 1970 (null where they aren't known):

    {"command": "trace", "ok": true, "name": "pointsman", "certain": true, "tempo": 120.0,
     "happened": [
       {"what": "arrival", "time": 1795610047.1, "from": "keys", "by_take": false, "message": "note-on 1 C4 100",
        "bytes": "90 3C 64", "count": 1,
        "sent": [{"port": "rack1", "message": "note-on 4 C4 100", "bytes": "93 3C 64"}],
        "why": [{"depth": 0, "text": "rule \\"keyboard\\": takes it"}]},
       {"what": "departure", "time": 1795610047.6, "port": "rack1", "message": "note-on 4 C4 70", "bytes": "93 3C 46",
        "caused_by": "keys"},
       {"what": "event", "time": 1795610048.0, "text": "panic: everything was silenced", "sent": []}],
     "held": [{"from": "keys", "by_take": false, "what": "note C4", "channel": 1, "since": 1795610047.1,
               "lets_go": [{"port": "rack1", "message": "note-off 4 C4 64", "bytes": "83 3C 40"}]}]}

`by_take`: a take that plays as the input sent it, or holds it. `certain` is false where the history doesn't reach back
far enough to know for sure what was held and how the switches stood.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any, Final, NamedTuple

from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.files.clock import local_time
from router.text.durations import exactly
from router.text.exit_codes import FINE
from router.text.formatting import number, plain
from router.text.message_data import message_data
from router.text.terminal import say
from rules.analysis.held_words import held_words
from rules.analysis.history import Arrival, Departure, Held, History, OtherEvent, PortMessage, history_of, port_naming
from rules.journal.format import unpack
from rules.midi.notation import format_message

_MOST: Final = 40  # of what happened is shown on a terminal
_MOST_SENT: Final = 8  # of what one thing sent
_PATIENCE_S: Final = 60.0


class HistorySettings(NamedTuple):
    """What `trace --last` shall tell: the last `seconds` of the daemon `name`."""

    seconds: float
    name: str = STANDARD_NAME
    json: bool = False


def history(settings: HistorySettings) -> int:
    """Print the last seconds; return the exit code. Raises MachineError if no such daemon runs."""
    records = list(unpack(ask_daemon(settings.name, "last", patience_s=_PATIENCE_S)["journal"]))
    told = HistoryReport(history_of(records, int(settings.seconds * 1e9)))
    if settings.json:
        say([json.dumps({"command": "trace", "ok": True, "name": settings.name, **told.data()}, indent=2)])
    else:
        say(plain(line) for line in told.lines(settings.seconds))
    return FINE


class HistoryReport:
    """A story in words or as data."""

    def __init__(self, story: History) -> None:
        self._story = story

    # -- in words -----------------------------------------------------------------------------------------------------

    def lines(self, seconds: float, most: int = _MOST) -> Iterable[str]:
        """The lines to print for the last seconds, of the last `most` things that happened."""
        story = self._story
        happened = story.happened
        if not happened:
            yield f"Nothing arrived or went out in the last {exactly(seconds)}."
        elif len(happened) > most:
            yield f"... {number(len(happened) - most)} earlier messages are left out (--json lists all)"
        for one in happened[-most:]:
            yield from self._told(one)
        yield ""
        yield from self._held_lines()
        if story.bpm is not None:
            yield f"The clock runs at {story.bpm:.1f} BPM."
        if not story.is_certain:
            yield (
                "The history doesn't reach back far enough to know all earlier notes and switches. "
                "Where those matter, this list may be wrong."
            )

    def _told(self, one: Arrival | Departure | OtherEvent) -> Iterable[str]:
        when = self._clock_time(one.time)
        if isinstance(one, OtherEvent):
            yield f"{when}  {one.words}"
            yield from self._sent(one.outcomes)
        elif isinstance(one, Departure):
            caused = f" (later, from {one.source})" if one.source else " (sent by Pointsman itself)"
            yield f"{when}  to {one.port}: {self._written(one.port, one.message)}{caused}"
        else:
            many = f"  (the last of {number(one.count)})" if one.count > 1 else ""
            yield f"{when}  from {self._whose(one)}: {self._written(one.source, one.message)}{many}"
            yield from self._reasons(one)

    def _reasons(self, arrival: Arrival) -> Iterable[str]:
        """The way through the rules tells where it arrives; where something else went out, that is told apart."""
        for line in arrival.why(port_naming(self._story, arrival.source)):
            yield "  " * (line.depth + 2) + line.text
        if not arrival.agrees:
            if not arrival.lets_go:
                yield "    because of what was held or played there, the result was different:"
            yield from self._sent(arrival.outcomes)
            if not arrival.outcomes:
                yield "      nothing went out at once"

    def _sent(self, outcomes: Sequence[PortMessage]) -> Iterable[str]:
        for port, message in outcomes[:_MOST_SENT]:
            yield f"      went to {port}: {self._written(port, message)}"
        if len(outcomes) > _MOST_SENT:
            yield f"      and {number(len(outcomes) - _MOST_SENT)} more messages"

    def _held_lines(self) -> Iterable[str]:
        held = self._story.held
        if not held:
            yield "Nothing is held."
            return
        yield "Held now:"
        for one in held:
            channel = f"channel {(one.status & 15) + 1} of {self._whose(one)}"
            yield f"  {self._held_thing(one)} on {channel}, {self._since(one)}"
            for port, message in one.releases:
                yield f"    its end sends to {port}: {self._written(port, message)}"

    @staticmethod
    def _whose(one: Arrival | Held) -> str:
        return f"{one.source} (a take)" if one.by_take else one.source

    def _held_thing(self, held: Held) -> str:
        return held_words(held.status, held.number, port_naming(self._story, held.source))

    def _since(self, held: Held) -> str:
        if held.since is None:
            return "since before the history begins"
        age = (self._story.now - held.since) / 1e9
        return f"since {self._clock_time(held.since)} ({age:.1f} s before the end)"

    def _written(self, port: str, message: bytes) -> str:
        return format_message(message, port_naming(self._story, port))

    # -- times --------------------------------------------------------------------------------------------------------

    def _clock_time(self, moment: int) -> str:
        seconds = self._story.wall_s(moment)
        if seconds is None:
            return f"{moment / 1e9:.3f}"
        milliseconds = int(seconds * 1000)
        return f"{local_time(milliseconds // 1000, '%H:%M:%S')}.{milliseconds % 1000:03}"

    # -- as data ------------------------------------------------------------------------------------------------------

    def data(self) -> dict[str, Any]:
        """Return the last seconds as data for programs."""
        story = self._story
        return {
            "certain": story.is_certain,
            "tempo": story.bpm,
            "happened": [self._happened_data(one) for one in story.happened],
            "held": [self._held_data(one) for one in story.held],
        }

    def _happened_data(self, one: Arrival | Departure | OtherEvent) -> dict[str, Any]:
        when = self._story.wall_s(one.time)
        if isinstance(one, OtherEvent):
            return {"what": "event", "time": when, "text": one.words, "sent": self._outcomes(one.outcomes)}
        if isinstance(one, Departure):
            return {"what": "departure", "time": when, **self._outcome(one.port, one.message), "caused_by": one.source}
        why = one.why(port_naming(self._story, one.source))
        return {
            "what": "arrival",
            "time": when,
            "from": one.source,
            "by_take": one.by_take,
            **message_data(one.message, port_naming(self._story, one.source)),
            "count": one.count,
            "sent": self._outcomes(one.outcomes),
            "why": [{"depth": line.depth, "text": line.text} for line in why],
        }

    def _held_data(self, held: Held) -> dict[str, Any]:
        return {
            "from": held.source,
            "by_take": held.by_take,
            "what": self._held_thing(held),
            "channel": (held.status & 15) + 1,
            "since": None if held.since is None else self._story.wall_s(held.since),
            "lets_go": self._outcomes(held.releases),
        }

    def _outcomes(self, outcomes: Sequence[PortMessage]) -> list[dict[str, str]]:
        return [self._outcome(port, message) for port, message in outcomes]

    def _outcome(self, port: str, message: bytes) -> dict[str, str]:
        return {"port": port, **message_data(message, port_naming(self._story, port))}
