"""A whole run of `rewrite`: what a worker needs to know, the jobs that are still to be done, and the record of it."""

from __future__ import annotations

import os
from array import array
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from router.batch import workers
from router.batch.in_place_record import NO_MARK, InPlaceRecords, mark_of
from router.batch.job import FileOutcome, FileResult, WritingOptions, start_job, unusable
from router.batch.plan import BatchPlan, Job, ResultDestination, left_over, plan
from router.batch.report import Summary
from router.batch.resume import RunRecord, fingerprint
from router.batch.rewrite_settings import RewriteSettings
from router.batch.search import find_files, real_path
from router.batch.spool import Spool
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.disk import DISK, SETTLED_LATER, Disk
from router.files.file_names import for_port
from router.files.interrupts import ended_like_ctrl_c
from router.files.rule_files import RuleTexts
from router.files.temporary_file import remove_abandoned_files
from rules.compiler.compiler import compile_reading
from rules.rulefile.reading import Reading, read_rule_set
from rules.rulefile.ruleset import RuleSet
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter


@dataclass(frozen=True, slots=True)
class RewriteRecipe:
    """All that a worker needs: the text of the rules, which source plays what, and how results are written."""

    texts: RuleTexts
    playing: Playing
    per_port: bool
    strict: bool
    options: WritingOptions

    def job_starter(self, reading: Reading) -> workers.StartJob:
        """Return what begins a job by the rules that were read."""
        pipeline = compile_reading(reading)
        rewriter = Rewriter(reading.ruleset, pipeline, self.playing, per_port=self.per_port, strict=self.strict)
        return partial(start_job, rewriter=rewriter, options=self.options, disk=SETTLED_LATER)

    def __call__(self) -> workers.StartJob:
        """Make the same from the text alone, in a worker."""
        return self.job_starter(read_rule_set(self.texts))


@contextmanager
def rewritten(
    settings: RewriteSettings,
    to: ResultDestination,
    texts: RuleTexts,
    reading: Reading,
    playing: Playing,
    clock: Clock = SYSTEM_CLOCK,
    disk: Disk = DISK,
) -> Iterator[tuple[Summary, bool]]:
    """Rewrite files; give a summary, which holds as long as the context, and whether an interruption cut it short.

    `reading` is what `texts` say, `disk` flushes folders in the end. Raises RuleFileError or MachineError before
    anything is written.
    """
    began = clock.now_ns()
    mark = mark_of([text for _, text in texts], (playing, settings.strict), clock) if to.in_place else NO_MARK
    options = WritingOptions(settings.force, settings.dry_run, settings.resume, settings.again, mark)
    recipe = RewriteRecipe(texts, playing, settings.per_port, settings.strict, options)
    here = recipe.job_starter(reading)
    ports = _ports(reading.ruleset, settings.per_port)
    planned = plan(find_files(settings.files, _own_folder(to), follow_links=settings.follow_links), to, ports)
    with (
        Spool(len(planned)) as spool,
        _recorded(recipe, to, ports, settings) as record,
        _recorded_in_place(planned, to, settings.dry_run) as in_place,
    ):
        interrupted = _run(
            _RemainingJobs(planned, ports, record, in_place, mark.rules), here, recipe, spool, settings, disk
        )
        rules = [rule.name or "" for rule in reading.ruleset.rules]
        yield (
            Summary(
                spool,
                rules,
                (clock.now_ns() - began) / 1e9,
                settings.dry_run,
                len(planned) - len(spool),
                planned.linked_folders,
            ),
            interrupted,
        )


def _own_folder(to: ResultDestination) -> Path | None:
    """The folder of results, which is no source of recordings even if it lies among them."""
    return None if to.path is None or to.whole else real_path(to.path)


def _ports(ruleset: RuleSet, per_port: bool) -> list[str]:
    """The ports that may get a file of their own; one file for all has no name."""
    return [name for name, port in ruleset.ports.items() if port.can_send] if per_port else [""]


@contextmanager
def _recorded(
    recipe: RewriteRecipe, to: ResultDestination, ports: Sequence[str], settings: RewriteSettings
) -> Iterator[RunRecord | None]:
    """The record of what is done, where one is kept."""
    if not settings.resume or to.path is None or to.whole:
        yield None
        return
    options = (recipe.playing, recipe.per_port, recipe.strict)
    made_by = fingerprint([text for _, text in recipe.texts], options)
    with closing(RunRecord(to.path, made_by, ports, read_only=settings.dry_run)) as record:
        yield record


@contextmanager
def _recorded_in_place(planned: BatchPlan, to: ResultDestination, dry_run: bool) -> Iterator[InPlaceRecords | None]:
    """The records of what was rewritten in place, locked for this run."""
    if not to.in_place:
        yield None
        return
    jobs = (planned[at] for at in range(len(planned)))
    paths = (str(job.source) for job in jobs if isinstance(job, Job))
    with closing(InPlaceRecords(paths, read_only=dry_run)) as records:
        yield records


class _RemainingJobs:
    """The jobs of a plan that are still to be done, and the records of those that are.

    `rules` is what the record in place calls the rules of this run.
    """

    def __init__(
        self,
        planned: BatchPlan,
        ports: Sequence[str],
        record: RunRecord | None = None,
        in_place: InPlaceRecords | None = None,
        rules: str = "",
    ) -> None:
        self.planned = planned
        self.numbers = array("q")
        self.folders: set[str] = set()
        """The folders that results were written to, or would have been."""
        self._record = record
        self._in_place = in_place
        self._rules = rules
        self._ports = ports

    def fill(self, spool: Spool) -> None:
        """Take all jobs that aren't done; put the results of what needs no work into `spool`."""
        for at in range(len(self.planned)):
            if trouble := self.planned.unusable(at):
                spool.put(at, unusable(trouble))
            elif self._record is not None and self._record.is_done(job := self._job(at)):
                spool.put(at, FileResult(str(job.source), FileOutcome.DONE))
            else:
                self.numbers.append(at)

    def note(self, number: int, result: FileResult) -> FileResult:
        """Put down what has been done; return that with what still lies there of earlier days."""
        job = self._job(self.numbers[number])
        is_there = job.target is None or job.in_place
        self.folders.add(os.path.dirname(os.path.realpath(job.source) if is_there else str(job.target)))
        if self._record is not None:
            self._record.note(job, result)
        if job.target is None or result.stamp is None:
            return result
        results = (str(for_port(job.target, port)) for port in self._ports)
        return replace(result, leftovers=tuple(left_over(results, result.targets)))

    def __len__(self) -> int:
        return len(self.numbers)

    def __getitem__(self, number: int) -> Job:
        job = self._job(self.numbers[number])
        if self._in_place is not None:
            return replace(job, made=self._in_place.results(str(job.source), self._rules))
        if self._record is not None and self._record.may_replace(job):
            return replace(job, replace=True)
        return job

    def _job(self, at: int) -> Job:
        job = self.planned[at]
        assert isinstance(job, Job)
        return job

    def size(self, number: int) -> int:
        """Return the bytes of one file."""
        return self.planned.size(self.numbers[number])


def _run(
    remaining: _RemainingJobs,
    here: workers.StartJob,
    recipe: RewriteRecipe,
    spool: Spool,
    settings: RewriteSettings,
    disk: Disk,
) -> bool:
    """Do all jobs; return whether an interruption cut them short."""

    def note(numbered: Iterable[workers.Numbered]) -> None:
        for number, result in numbered:
            spool.put(remaining.numbers[number], remaining.note(number, result))

    try:
        with ended_like_ctrl_c(), workers.WritingThreads() as writers:
            try:
                remaining.fill(spool)
                going = workers.results(remaining, here, recipe, settings.jobs or workers.cores(), writers)
                with closing(going) as numbered:
                    note(numbered if settings.quiet else workers.with_progress(numbered, remaining))
            except KeyboardInterrupt:
                note(writers.rest())
                raise
    except KeyboardInterrupt:
        return True
    finally:
        if not settings.dry_run:
            for folder in map(Path, remaining.folders):
                remove_abandoned_files(folder)
                disk.settle(folder)
    return False
