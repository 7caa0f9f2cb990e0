"""A file on its way through the rules: for each track its source and what is made of it, and the counts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from rules.errors import MidiFileError
from rules.program.pipeline import Pipeline
from rules.smf.damage import Damage
from rules.smf.drop_counts import DropCounts
from rules.smf.midi_file import MidiFile
from rules.smf.rule_counts import RuleCounts
from rules.smf.track_events import TrackEvents

MOST_TRACKS_PLAYED: Final = 8_000
"""How many tracks the engine plays: each needs some thousand bytes."""


class MessageCounts:
    """What became of messages; `added` are those beyond one for each that came, `unended` the notes without an end."""

    __slots__ = ("added", "changed", "dropped", "unended")

    def __init__(self) -> None:
        self.changed = self.dropped = self.added = self.unended = 0


class TrackRewrite:
    """One track: its source, its events, the bodies made of it by output, and whose its channels are.

    `owners` names, for each channel 0-15 of a shared output, the port that plays it (-1: none yet).
    """

    __slots__ = ("bodies", "events", "number", "owners", "source")

    def __init__(self, number: int, source: int, events: TrackEvents) -> None:
        self.number = number
        self.source = source
        self.events = events
        self.bodies: list[bytes] = []
        self.owners = [-1] * 16


class FileRewrite:
    """All tracks of one file. An *output* is a number: the port's with a file for each port, else 0 for all of them.

    Raises MidiFileError for more tracks than the engine plays.
    """

    def __init__(self, file: MidiFile, sources: Sequence[int], pipeline: Pipeline, per_port: bool) -> None:
        if len(file.tracks) > MOST_TRACKS_PLAYED:
            at = file.tracks[MOST_TRACKS_PLAYED].start
            raise MidiFileError(at, f"these rules can play at most {MOST_TRACKS_PLAYED:,} tracks: split the file")
        self.file = file
        self.per_port = per_port
        self.outputs = len(pipeline.ports) if per_port else 1
        self.used: set[int] = set()
        self.counts = MessageCounts()
        self.rules = RuleCounts(pipeline)
        self.drops = DropCounts(pipeline)
        self._ports = pipeline.ports
        self.tracks = [
            TrackRewrite(number, source, file.events(track))
            for number, (track, source) in enumerate(zip(file.tracks, sources, strict=True))
        ]

    def bodies(self, output: int) -> list[bytes]:
        """The tracks of one output."""
        return [track.bodies[output] for track in self.tracks]

    def ports_used(self) -> Iterable[tuple[int, str]]:
        """The ports that anything was written for, by number."""
        return ((number, self._ports[number]) for number in sorted(self.used))

    def damage(self) -> Iterable[Damage]:
        """Return what was damaged inside the tracks, in file order."""
        return (damage for track in self.tracks for damage in track.events.damage)

    def claim_channel(self, track: TrackRewrite, status: int, target: int, at: int) -> None:
        """Give a channel of a track to a port. Raises MidiFileError, with byte `at`, when another port has it."""
        channel = status & 0x0F
        owner = track.owners[channel]
        if owner < 0:
            track.owners[channel] = target
        elif owner != target:
            raise MidiFileError(
                at,
                f'in track {track.number + 1}, "{self._ports[owner]}" and "{self._ports[target]}" would both play '
                f"channel {channel + 1}, which one file can't keep apart: --per-port writes a file for each port",
            )
