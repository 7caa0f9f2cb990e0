"""Files that tables alone decide, rewritten in one go: by the patch route where lengths stay, or by the stream route.

A route that meets something it leaves to others gives up the whole file, and what it counted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from rules.errors import MidiFileError
from rules.program.compiled import COMPILED
from rules.program.native import BytesWriter
from rules.program.tables import Table
from rules.smf import riff
from rules.smf.answers import CHANGED, DROPPED, Answers, EventCounts, no_open_notes
from rules.smf.drop_counts import DropCounts, SureLosses
from rules.smf.file_rewrite import MessageCounts
from rules.smf.midi_file import MidiFile
from rules.smf.patch_route import patch_by_numbers, patch_by_rows
from rules.smf.rule_counts import RuleCounts
from rules.smf.static_sources import StaticSource
from rules.smf.stream_route import stream_by_numbers, stream_by_rows

PATCH: Final = "patch"
STREAM: Final = "stream"

_UNREADABLE: Final = (IndexError, MidiFileError)
"""What the loops raise at damage. The route that takes the file then says what is wrong, and where."""


class TableRoutes:
    """Rewrites files whose tracks are all played by sources of `static`, whose tables decide alone.

    `losses` are the loss tables of all sources. `by_numbers` chooses the loops: the ones that are quicker here, or the
    others. `counts` holds what was counted in the file last rewritten, by source.
    """

    def __init__(
        self, static: Mapping[int, StaticSource], losses: Sequence[Table], by_numbers: bool = COMPILED
    ) -> None:
        self._static: Final = static
        self._losses: Final = losses
        self._by_numbers: Final = by_numbers
        self._answers: dict[int, Answers] = {}
        self._notes = no_open_notes()
        self.counts: dict[int, EventCounts] = {}

    def patched(self, file: MidiFile, sources: Sequence[int]) -> bytes | None:
        """The file as the patch route makes it; None where that doesn't apply."""
        self._begin(sources)
        if not all(self._answers[source].lengths_stay for source in self.counts):
            return None
        data = file.data
        out = BytesWriter()
        out.write(data)
        loop = patch_by_numbers if self._by_numbers else patch_by_rows
        try:
            for track, source in zip(file.tracks, sources, strict=True):
                answers, counts = self._answers[source], self.counts[source]
                if not loop(data, track.body, track.end, out, answers, counts):
                    return self._give_up()
        except _UNREADABLE:
            return self._give_up()
        return out.getvalue()

    def streamed(self, file: MidiFile, sources: Sequence[int]) -> bytes | None:
        """The file as the stream route makes it; None where that doesn't apply."""
        self._begin(sources)
        data = file.data
        done = file.begin
        out = BytesWriter()
        loop = stream_by_numbers if self._by_numbers else stream_by_rows
        try:
            for track, source in zip(file.tracks, sources, strict=True):
                answers, counts = self._answers[source], self.counts[source]
                out.write(data[done : track.body])
                begin = len(out)
                if not loop(data, track.body, track.end, out, answers, counts):
                    return self._give_up()
                _write_length(out, begin, track.end - track.body)
                done = track.end
        except _UNREADABLE:
            return self._give_up()
        out.write(data[done : file.finish])
        return riff.rewrap(data, file.wrapper, out.getvalue()) if file.wrapper else out.getvalue()

    def _begin(self, sources: Sequence[int]) -> None:
        """Make the tables, where these are new, and count from nothing."""
        self.counts.clear()
        for source in set(sources):
            if source not in self._answers:
                found = self._static[source]
                losses = SureLosses(self._losses, source, found.cells)
                self._answers[source] = Answers(found.cells, found.groups, losses)
            self.counts[source] = EventCounts(self._answers[source], self._notes)

    @property
    def ends_elsewhere(self) -> bool:
        """Whether notes that a track leaves open may be ended by all notes off in another track."""
        counted = self.counts.values()
        return any(counts.unended for counts in counted) and any(counts.saw_all_notes_off for counts in counted)

    def add_up(self, rules: RuleCounts, drops: DropCounts, totals: MessageCounts) -> None:
        """Add what was counted: to `rules` what each rule took, to `drops` and `totals` what became of the messages."""
        for source, counts in self.counts.items():
            totals.changed += counts.changed
            totals.unended += counts.unended
            counters = self._answers[source].counters
            for number, count in enumerate(counts.hits):
                if count:
                    group, outcome, why = counters[number]
                    channel = rules.add(source, group, count)
                    if outcome == DROPPED:
                        totals.dropped += count
                        drops.add(channel, why, count)
                    elif outcome == CHANGED:
                        totals.changed += count

    def _give_up(self) -> bytes | None:
        """Forget what was counted."""
        self._notes = no_open_notes()
        self.counts.clear()
        return None


def _write_length(out: BytesWriter, begin: int, before: int) -> None:
    """Write the length of the chunk whose content begins at `begin` again, if it isn't what it was."""
    length = len(out) - begin
    if length != before:
        for place, byte in enumerate(length.to_bytes(4), begin - 4):
            out[place] = byte
