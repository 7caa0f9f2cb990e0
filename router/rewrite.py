"""The command `rewrite`: recordings through the rules."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import perf_counter

from router import batch
from router.files import Destination, Job, Unusable, destination, find, plan, real
from router.job import FileResult, Manner, do, unusable
from router.playing import playing_for
from router.report import Summary, as_data, in_words, problems
from router.rulefiles import RuleTexts, read_rule_files
from router.settings import RewriteSettings
from router.terminal import complain, problem, say
from rules.compile import compile_rules
from rules.language.reading import read_rules
from rules.language.ruleset import RuleSet
from rules.smf.rewriting import Playing, Rewriter


@dataclass(frozen=True, slots=True)
class Recipe:
    """All that a worker needs: the text of the rules, which source plays what, and how results are written."""

    texts: RuleTexts
    playing: Playing
    per_port: bool
    strict: bool
    manner: Manner

    def doer(self, ruleset: RuleSet) -> batch.Do:
        """Return what does one job by the rules of `ruleset`."""
        pipeline = compile_rules(ruleset)
        rewriter = Rewriter(ruleset, pipeline, self.playing, per_port=self.per_port, strict=self.strict)
        return partial(do, rewriter=rewriter, manner=self.manner)

    def __call__(self) -> batch.Do:
        """Make the same from the text alone, in a worker."""
        return self.doer(read_rules(self.texts))


def rewrite(settings: RewriteSettings) -> int:
    """Rewrite files and print what was done; return the exit code.

    Raises UsageError, RuleFileError or MachineError before anything is written.
    """
    began = perf_counter()
    to = destination(settings)
    texts = read_rule_files(settings.rules)
    ruleset = read_rules(texts)
    manner = Manner(force=settings.force, dry_run=settings.dry_run)
    recipe = Recipe(texts, playing_for(settings.playing, ruleset), settings.per_port, settings.strict, manner)
    here = recipe.doer(ruleset)
    planned = plan(find(settings.files, _own_folder(to)), to, _ports(ruleset, settings.per_port))
    results, interrupted = _run(planned, here, recipe, settings)
    rules = [rule.name or "" for rule in ruleset.rules]
    summary = Summary(results, rules, perf_counter() - began, settings.dry_run, len(planned) - len(results))
    _tell(summary, settings)
    if interrupted:
        raise KeyboardInterrupt
    return 0 if summary.ok else 1


def _own_folder(to: Destination) -> Path | None:
    """The folder of results, which is no source of recordings even if it lies among them."""
    return None if to.path is None or to.whole else real(to.path)


def _ports(ruleset: RuleSet, per_port: bool) -> list[str]:
    """The ports that may get a file of their own; one file for all has no name."""
    return [name for name, port in ruleset.ports.items() if port.can_send] if per_port else [""]


def _run(
    planned: Sequence[Job | Unusable], here: batch.Do, recipe: Recipe, settings: RewriteSettings
) -> tuple[list[FileResult], bool]:
    """The results so far, in the order of the files, and whether an interruption cut them short."""
    done = {at: unusable(item) for at, item in enumerate(planned) if isinstance(item, Unusable)}
    places = [at for at, item in enumerate(planned) if isinstance(item, Job)]
    jobs = [item for item in planned if isinstance(item, Job)]
    numbered: Iterator[batch.Numbered] = batch.results(jobs, here, recipe, settings.jobs or batch.cores())
    if not settings.quiet:
        numbered = batch.with_progress(numbered, len(jobs))
    interrupted = False
    try:
        for at, result in numbered:
            done[places[at]] = result
    except KeyboardInterrupt:
        interrupted = True
    return [done[at] for at in sorted(done)], interrupted


def _tell(summary: Summary, settings: RewriteSettings) -> None:
    if settings.json:
        say([json.dumps(as_data(summary), indent=2)])
        return
    if not settings.quiet:
        say(in_words(summary))
    complain(problem(line) for line in problems(summary))
