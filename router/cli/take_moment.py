"""What `trace --take` tells of one beat of a recording: what sounds, what each message became, and where it went.

The data (`--json`) is one object; times are seconds from the beginning of the take, tracks count from 1:

    {"command": "trace", "ok": true, "take": "take.mid", "bar": 12, "beat": 3, "begin": 23.5, "end": 24.0,
     "held": [{"from": "keys", "track": 1, "what": "note C4", "channel": 1, "since": 22.75,
               "sounds": [{"port": "rack1", "channel": 4, "note": "C4", "key": 60}], "ports": ["rack1"]}],
     "switches": {"up": false},
     "happened": [
       {"what": "arrival", "time": 23.5, "from": "keys", "track": 1, "message": "note-on 1 C4 100", "bytes": "90 3C 64",
        "sent": [{"port": "rack1", "message": "note-on 4 C4 100", "bytes": "93 3C 64"}],
        "why": [{"depth": 0, "text": "rule \\"keyboard\\": matches"}]},
       {"what": "departure", "time": 23.6, "port": "rack1", "message": "note-on 4 C4 70", "bytes": "93 3C 46",
        "track": 1}]}
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from router.cli.source_arguments import playing_in
from router.cli.status_words import state_word
from router.files.rule_files import read_rule_files
from router.files.switch_values import read_switch
from router.files.takes import faults_named, read_take
from router.text import durations
from router.text.exit_codes import FINE
from router.text.formatting import number, plain
from router.text.message_data import message_data
from router.text.paragraphs import wrapped
from router.text.terminal import say
from router.text.usage import UsageError
from rules.analysis.held_words import held_words
from rules.analysis.trace_take import HeldInTake, TakeArrival, TakeDeparture, TakeMoment, trace_take
from rules.midi.notation import Naming, format_message, format_note
from rules.rulefile.reading import read_rule_set
from rules.smf.bars import BarMap, Beat, bar_map
from rules.smf.midi_file import MidiFile, read
from rules.smf.tempo import TempoMap, tempo_map
from rules.smf.track_sources import track_name, track_sources

_MOST: Final = 60  # of what happened is shown on a terminal


class TakeTraceSettings(NamedTuple):
    """What `trace --take` shall do: `at` is the beat, `playing` and `switches` are the texts of their options."""

    rules: tuple[str, ...]
    take: str
    at: tuple[int, int]
    playing: tuple[str, ...] = ()
    switches: tuple[str, ...] = ()
    json: bool = False


def trace_moment(settings: TakeTraceSettings) -> int:
    """Print what happens in one beat of a take; return the exit code.

    Raises UsageError, RuleFileError, MidiFileError or MachineError.
    """
    reading = read_rule_set(read_rule_files(settings.rules))
    ruleset = reading.ruleset
    switches = dict(read_switch(text, ruleset) for text in settings.switches)
    with faults_named(settings.take):
        file = read(read_take(settings.take))
    playing = playing_in(settings.playing, ruleset, file)
    ports = list(reading.ports)
    sources = [ports[number] for number in track_sources(file, playing, ports)]
    naming = {name: place.source.naming for name, place in reading.ports.items()}
    bars = bar_map(file)
    if bars is None:
        raise UsageError(f"{plain(settings.take)} counts its time in frames, so it has no bars")
    begin, end = _span(bars, Beat(*settings.at))
    with faults_named(settings.take):
        moment = trace_take(file, sources, ruleset, begin, end, switches, naming)
        last_bar = _last_bar(file, bars)
    if settings.at[0] > last_bar and not moment.happened:  # delayed messages and echoes may come after the end
        raise UsageError(f"--at {settings.at[0]}:{settings.at[1]}: the take ends in bar {last_bar}")
    told = MomentReport(moment, file, bars, tempo_map(file, bpm=ruleset.bpm), naming)
    if settings.json:
        say([json.dumps(told.data(settings, begin, end), indent=2)])
    else:
        say(told.lines(settings, begin, end))
    return FINE


def _span(bars: BarMap, beat: Beat) -> tuple[int, int]:
    """Return the ticks at which a beat begins and ends. Raises UsageError if there is no such beat."""
    try:
        begin = bars.tick_of(beat)
    except ValueError as error:
        raise UsageError(f"--at {beat.bar}:{beat.beat}: {error}") from None
    return begin, bars.end_of(beat)


def _last_bar(file: MidiFile, bars: BarMap) -> int:
    """Return the bar in which a take ends; it may end with it, where the next one would begin."""
    end = max((tick for track in file.tracks for tick, *_ in file.events(track)), default=0)
    return bars.beat_at(max(0, end - 1)).bar


class MomentReport:
    """One beat of a take, in words or as data."""

    def __init__(
        self, moment: TakeMoment, file: MidiFile, bars: BarMap, times: TempoMap, naming: Mapping[str, Naming]
    ) -> None:
        self._moment = moment
        self._file = file
        self._bars = bars
        self._times = times
        self._naming = naming

    # -- in words -----------------------------------------------------------------------------------------------------

    def lines(self, settings: TakeTraceSettings, begin: int, end: int) -> Iterator[str]:
        """Yield the lines to print."""
        bar, beat = settings.at
        yield from _wrapped(
            f"{plain(settings.take)}, bar {bar}, beat {beat}: from {self._clock(begin)} to {self._clock(end)}", 0
        )
        yield ""
        yield from self._held_lines()
        if self._moment.switches:
            states = ", ".join(f"{name} {state_word(state)}" for name, state in self._moment.switches.items())
            yield from _wrapped(f"Switches as it begins: {states}", 0)
        yield ""
        happened = self._moment.happened
        if not happened:
            yield "Nothing arrives or goes out in this beat."
        for one in happened[:_MOST]:
            yield from self._arrival(one) if isinstance(one, TakeArrival) else self._departure(one)
        if len(happened) > _MOST:
            yield f"... and {number(len(happened) - _MOST)} more (--json lists all)"

    def _held_lines(self) -> Iterator[str]:
        held = self._moment.held
        sounding = [one for one in held if one.sounds]
        yield "Sounding as it begins:" if sounding else "Nothing sounds as it begins."
        for one in sounding:
            yield from _wrapped(f"{self._thing(one)} {self._whence(one)}", 1)
            for port, channel, key in one.sounds:
                yield from _wrapped(
                    f"sounds as {format_note(key, self._naming[port])} on channel {channel} at port {port}", 2
                )
        values = [one for one in held if not one.sounds]
        if values:
            yield "Held as it begins:"
        for one in values:
            yield from _wrapped(f"{self._thing(one)} {self._whence(one)}, at {', '.join(one.ports)}", 1)

    def _arrival(self, one: TakeArrival) -> Iterator[str]:
        message = self._written(one.source, one.message)
        yield from _wrapped(f"{self._place(one.tick)}  {message}  from {one.source}, {self._track(one.track)}", 0)
        for line in one.lines if not one.went else (line for line in one.lines if not line.is_refusal):
            yield from _wrapped(line.text, line.depth + 1)

    def _departure(self, one: TakeDeparture) -> Iterator[str]:
        cause = f"because of an earlier message of {self._track(one.track)}" if one.track >= 0 else "sent by a switch"
        yield from _wrapped(f"{self._place(one.tick)}  goes out {cause}:", 0)
        yield from _wrapped(f"arrives at port {one.port}: {self._written(one.port, one.message)}", 1)

    def _thing(self, one: HeldInTake) -> str:
        return held_words(one.status, one.number, self._naming[one.source])

    def _whence(self, one: HeldInTake) -> str:
        where = f"on channel {(one.status & 15) + 1} of {one.source}, {self._track(one.track)}"
        return f"{where}, since {self._place(one.since)}"

    def _track(self, track: int) -> str:
        name = track_name(self._file, track)
        return f'track {track + 1} "{name}"' if name else f"track {track + 1}"

    def _place(self, tick: int) -> str:
        """Where a tick is: bar, beat, and hundredths of the beat, as in `12:3.50`."""
        beat = self._bars.beat_at(tick)
        begin = self._bars.tick_of(beat)
        part = (tick - begin) * 100 // (self._bars.end_of(beat) - begin)
        return f"{beat.bar}:{beat.beat}.{part:02}"

    def _clock(self, tick: int) -> str:
        return durations.to_a_millisecond(round(self._times.milliseconds(tick)))

    def _written(self, port: str, message: bytes) -> str:
        return format_message(message, self._naming[port])

    # -- as data ------------------------------------------------------------------------------------------------------

    def data(self, settings: TakeTraceSettings, begin: int, end: int) -> dict[str, Any]:
        """Return the same for programs."""
        bar, beat = settings.at
        return {
            "command": "trace",
            "ok": True,
            "take": settings.take,
            "bar": bar,
            "beat": beat,
            "begin": self._seconds(begin),
            "end": self._seconds(end),
            "held": [self._held_data(one) for one in self._moment.held],
            "switches": dict(self._moment.switches),
            "happened": [
                self._arrival_data(one) if isinstance(one, TakeArrival) else self._departure_data(one)
                for one in self._moment.happened
            ],
        }

    def _held_data(self, one: HeldInTake) -> dict[str, Any]:
        return {
            "from": one.source,
            "track": one.track + 1,
            "what": self._thing(one),
            "channel": (one.status & 15) + 1,
            "since": self._seconds(one.since),
            "sounds": [
                {"port": port, "channel": channel, "note": format_note(key, self._naming[port]), "key": key}
                for port, channel, key in one.sounds
            ],
            "ports": list(one.ports),
        }

    def _arrival_data(self, one: TakeArrival) -> dict[str, Any]:
        return {
            "what": "arrival",
            "time": self._seconds(one.tick),
            "from": one.source,
            "track": one.track + 1,
            **self._named(one.source, one.message),
            "sent": [{"port": port, **self._named(port, message)} for port, message in one.went],
            "why": [{"depth": line.depth, "text": line.text} for line in one.lines],
        }

    def _departure_data(self, one: TakeDeparture) -> dict[str, Any]:
        return {
            "what": "departure",
            "time": self._seconds(one.tick),
            "port": one.port,
            **self._named(one.port, one.message),
            "track": one.track + 1 if one.track >= 0 else None,
        }

    def _named(self, port: str, message: bytes) -> dict[str, str]:
        return message_data(message, self._naming[port])

    def _seconds(self, tick: int) -> float:
        return round(float(self._times.milliseconds(tick)) / 1000, 6)


def _wrapped(text: str, depth: int) -> Sequence[str]:
    """Return what is told at a depth as lines."""
    indent = "  " * depth
    return wrapped(text, indent, f"{indent}    ")
