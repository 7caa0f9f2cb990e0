"""A pipeline over a Standard MIDI File: which route a file takes, and what came of it.

Every track is a player of its own (ruling 32); an event stays in its track. Three routes give the same bytes: *patch*,
where messages only change in their places; *stream*, straight through the tables, where they alone decide; *general*,
through the engine.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from rules.errors import MidiFileError
from rules.program.compiled import COMPILED
from rules.program.pipeline import Pipeline
from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet
from rules.smf import general_route
from rules.smf.drop_counts import DropCounts
from rules.smf.file_rewrite import FileRewrite, MessageCounts
from rules.smf.midi_file import MidiFile, read
from rules.smf.report import FileReport, Playing, Rewritten
from rules.smf.rule_counts import RuleCounts
from rules.smf.static_sources import static_sources
from rules.smf.table_routes import PATCH, STREAM, TableRoutes
from rules.smf.track_sources import missing_tracks, track_sources
from rules.smf.writing import write
from rules.steps.transpose import DRUMS

GENERAL: Final = "general"


class Rewriter:
    """Rewrites files, one after the other; each starts from the rules' beginning.

    `route` names the fastest route that may be taken; where it doesn't apply, the next one is: patch, stream, general.
    `by_numbers` chooses the loops of the first two: what is quicker here, or the others.
    """

    def __init__(
        self,
        ruleset: RuleSet,
        pipeline: Pipeline,
        playing: Playing,
        *,
        per_port: bool = False,
        strict: bool = False,
        route: str = PATCH,
        by_numbers: bool = COMPILED,
    ) -> None:
        self._ruleset = ruleset
        self._pipeline = pipeline
        self._playing = playing
        self._per_port = per_port
        self._strict = strict
        self._route = route
        self._static = {} if route == GENERAL else static_sources(pipeline, per_port)
        self._table_routes = TableRoutes(self._static, pipeline.loss_tables, by_numbers)
        self._tracks_are_independent = general_route.are_independent(pipeline, per_port)
        self._drum_rules = [rule for rule in ruleset.rules if _transposes_drums(rule)]

    def rewrite(self, data: bytes) -> Rewritten:
        """The results for one file. Raises MidiFileError for what can't be read, or can't be written as one file."""
        file = read(data, strict=self._strict)
        sources = track_sources(file, self._playing, self._pipeline.sources)
        rewritten = self._rewrite_by_tables(file, sources)
        if rewritten is None:
            played = FileRewrite(file, sources, self._pipeline, self._per_port)
            general_route.play_file(played, self._pipeline, self._ruleset.bpm)
            report = self._report(file, played.rules, played.drops, played.counts, GENERAL)
            report.damage = (*report.damage, *played.damage())
            rewritten = Rewritten(self._outputs(file, played), report)
        if file.problems:
            self._check_tracks(file, rewritten.outputs)
        return rewritten

    def _rewrite_by_tables(self, file: MidiFile, sources: Sequence[int]) -> Rewritten | None:
        """The results by the routes that need no engine; None if they don't apply."""
        if not all(source in self._static for source in sources):
            return None
        port = ""
        if self._per_port:
            if len(set(sources)) > 1 or not self._static[sources[0]].ports:
                return None
            (number,) = self._static[sources[0]].ports
            port = self._pipeline.ports[number]
        route, written = PATCH, self._table_routes.patched(file, sources) if self._route == PATCH else None
        if written is None:
            route, written = STREAM, self._table_routes.streamed(file, sources)
        if written is None or (self._table_routes.ends_elsewhere and not self._tracks_are_independent):
            return None
        rules, drops, counts = RuleCounts(self._pipeline), DropCounts(self._pipeline), MessageCounts()
        self._table_routes.add_up(rules, drops, counts)
        is_silent = self._per_port and rules.messages == counts.dropped
        return Rewritten({} if is_silent else {port: written}, self._report(file, rules, drops, counts, route))

    @staticmethod
    def _check_tracks(file: MidiFile, outputs: Mapping[str, bytes]) -> None:
        """Refuse a damaged file whose chunks, once a track has another length, would be read differently."""
        first = file.problems[0]
        for output in outputs.values():
            if output != file.data and len(read(output).tracks) != len(file.tracks):
                raise MidiFileError(
                    first.offset, f"{first.text}; with a track changed, its chunks would be read differently"
                )

    def _outputs(self, file: MidiFile, played: FileRewrite) -> dict[str, bytes]:
        if not self._per_port:
            return {"": write(file, played.bodies(0))}
        return {port: write(file, played.bodies(number)) for number, port in played.ports_used()}

    def _report(
        self, file: MidiFile, rules: RuleCounts, drops: DropCounts, counts: MessageCounts, route: str
    ) -> FileReport:
        return FileReport(
            messages=rules.messages,
            changed=counts.changed,
            dropped=counts.dropped,
            added=counts.added,
            unended=counts.unended,
            matched=dict(zip(self._pipeline.rules, rules.matched(), strict=True)),
            drops=drops.drops(),
            route=route,
            damage=file.problems,
            remarks=(
                *(f'there is no track named "{track}"' for track in missing_tracks(file, self._playing)),
                *self._moved_drums(rules),
            ),
        )

    def _moved_drums(self, rules: RuleCounts) -> Iterator[str]:
        """Drums on channel 10 that were transposed (ruling 19)."""
        if not self._drum_rules:
            return
        matched = dict(zip(self._pipeline.rules, rules.matched(DRUMS - 1), strict=True))
        for rule in self._drum_rules:
            if matched[rule.name or ""]:
                yield (
                    f'rule "{rule.name}" transposed channel 10, where drums usually are: `except_channels = 10` '
                    "leaves them"
                )


def _transposes_drums(rule: Rule) -> bool:
    stages = (stage for branch in rule.branches() for stage in branch.stages)
    return any(stage.step.transposes(DRUMS) for stage in stages)
