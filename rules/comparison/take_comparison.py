"""What two rule sets make of one recording: the messages that only one of them sends, and when they go out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from rules.program.pipeline import Pipeline
from rules.rulefile.ruleset import RuleSet
from rules.smf.bars import Beat, bar_map
from rules.smf.midi_file import MidiFile
from rules.smf.report import Playing
from rules.smf.take_playing import played
from rules.smf.tempo import tempo_map
from rules.smf.track_sources import track_sources


@dataclass(frozen=True, slots=True)
class Moment:
    """A tick at which different messages go out, each with its port; `beat` is None for a file in SMPTE frames."""

    tick: int
    beat: Beat | None
    before: tuple[tuple[str, bytes], ...]
    now: tuple[tuple[str, bytes], ...]


@dataclass(frozen=True, slots=True)
class TakeComparison:
    """How many messages go out by both rule sets, and the moments at which they differ, in order."""

    same: int
    moments: Sequence[Moment]

    @property
    def lost(self) -> int:
        """How many messages no longer go out."""
        return sum(len(moment.before) for moment in self.moments)

    @property
    def gained(self) -> int:
        """How many messages are new."""
        return sum(len(moment.now) for moment in self.moments)


Side = tuple[RuleSet, Pipeline, Playing]
"""Rules, what they were compiled to, and which sources play the tracks."""

_Sent = Counter[tuple[int, str, bytes]]


def compare_take(old: Side, new: Side, file: MidiFile) -> TakeComparison:
    """Play a recording by both rule sets and compare what goes out. Raises MidiFileError for what can't be read."""
    before, now = _sent(old, file), _sent(new, file)
    lost, gained = before - now, now - before
    bars = bar_map(file)
    lost_at, gained_at = _by_tick(lost), _by_tick(gained)
    moments = [
        Moment(
            tick,
            bars.beat_at(tick) if bars is not None else None,
            tuple(lost_at.get(tick, ())),
            tuple(gained_at.get(tick, ())),
        )
        for tick in sorted({*lost_at, *gained_at})
    ]
    return TakeComparison((before & now).total(), moments)


def _sent(side: Side, file: MidiFile) -> _Sent:
    ruleset, pipeline, playing = side
    times = tempo_map(file, None, ruleset.bpm)
    sources = track_sources(file, playing, pipeline.sources)
    return Counter(
        (each.tick, pipeline.ports[each.port], each.message) for each in played(file, sources, pipeline, times)
    )


def _by_tick(sent: _Sent) -> dict[int, list[tuple[str, bytes]]]:
    found: dict[int, list[tuple[str, bytes]]] = {}
    for tick, port, message in sent.elements():
        found.setdefault(tick, []).append((port, message))
    return found
