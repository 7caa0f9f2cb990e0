"""Rules read again while the music plays.

Saved files are believed when they have been quiet for a moment, and then read, compared, compiled and tested before
the rules in force are touched. One thread does all of it.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Final, Literal

from router.daemon.folder_watcher import Watcher
from router.daemon.prepared_rules import Prepared, behaviour_changes, prepare_texts
from router.daemon.replaced_rules import ReplacedRules
from router.daemon.short_turns import ShortTurns
from router.daemon.watched_folders import watched_folders
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.rule_files import RuleTexts, read_rule_files
from rules.errors import MOST_PROBLEMS, MachineError, PointsmanError, Problem, RuleFileError

_PATIENCE_S: Final = 60  # seconds that someone waits for a reload: the tests of the files run as well
_MOST_LINES: Final = 20

ReadFiles = RuleTexts | str
"""What a look at the files finds: their contents, or why they can't be read."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How often files are looked at.

    A file is believed that so many `looks` in a row, `quiet_s` seconds apart, find as it was: a program that is still
    saving it may rest for a moment. One that became empty takes more looks, since some programs empty a file long
    before they write it. Network disks tell nothing, so all files are looked at every
    `look_every_s`, and `new_watch_s` after a new watch, which hears nothing before it stands.
    """

    quiet_s: float = 0.1
    looks: int = 2
    looks_at_blank: int = 21
    look_every_s: float = 2.0
    new_watch_s: float = 0.25


Refused = Literal["files", "former", "new"]
"""What couldn't be used: the files; the former rules, that were asked for again; or new rules that are right, but that
the daemon couldn't take over."""

_REFUSALS: Final[Mapping[Refused, str]] = {
    "files": "the rule files can't be used, and the old rules play on:",
    "former": "the former rules can't be put in force again, and the rules of now play on:",
    "new": "the new rules can't be put in force, and the old rules play on:",
}


@dataclass(frozen=True, slots=True)
class ReloadOutcome:
    """What became of a reload, and why, in words. Where it was rejected, the rules from before play on.

    `refused` is what couldn't be used then, None otherwise. `problems` are what is wrong in the files, the first 50,
    where that is why it was rejected.
    """

    kind: Literal["applied", "unchanged", "rejected"]
    words: tuple[str, ...]
    problems: tuple[Problem, ...] = ()
    refused: Refused | None = None


def _rejected(refused: Refused, *words: str) -> ReloadOutcome:
    return ReloadOutcome("rejected", words, refused=refused)


_USUAL_PACE: Final = Pace()
_LEAVING: Final = _rejected("new", "the daemon is about to end")
_NO_FORMER: Final = _rejected("former", "no other rules have played since the daemon began")


@dataclass(frozen=True, slots=True)
class _Request:
    """Somebody waits for a reload: of the files, or back to the former rules."""

    wants_former: bool = False
    answer: SimpleQueue[ReloadOutcome] = field(default_factory=SimpleQueue)


def _nothing(*_: object) -> None:
    """Do nothing."""


def _changes(before: Prepared, now: Prepared) -> Sequence[str]:
    return behaviour_changes(before.texts, now.texts)


class Reloader:
    """Reads rule files again when they change, and when it is asked to.

    `swap` puts prepared rules in force and is called in the reloader's thread; if it raises, the reload is rejected.
    `say` gets lines for the log. `began` and `ended` are called around each reload, whatever comes of it.

    `read` reads the files, and raises PointsmanError where it can't. `prepare` gets what it read and the rules in
    force, and makes it ready as `prepare_texts` does; `compare` says what plays differently with new rules, for the
    log. `rest` is called while there is nothing to do. `pace` may be changed at any time.

    Any thread may read: `prepared`, the rules in force; `last`, how the last reload ended, and `last_at`, when that was
    (seconds since 1970); `applied_at`, when rules were last put in force; `found`, the files that were judged last;
    `former`, the files of the rules before those in force; `differences`, what plays differently since then; `serial`,
    which counts the reloads.
    """

    def __init__(
        self,
        arguments: Sequence[str],
        prepared: Prepared,
        swap: Callable[[Prepared], None],
        say: Callable[[str], None],
        began: Callable[[], None] = _nothing,
        ended: Callable[[ReloadOutcome], None] = _nothing,
        clock: Clock = SYSTEM_CLOCK,
        pace: Pace = _USUAL_PACE,
        read: Callable[[Sequence[str]], RuleTexts] = read_rule_files,
        prepare: Callable[[RuleTexts, Prepared], Prepared] = prepare_texts,
        compare: Callable[[Prepared, Prepared], Sequence[str]] = _changes,
        rest: Callable[[], None] = _nothing,
    ) -> None:
        self.prepared = prepared
        self.last = ReloadOutcome("applied", prepared.words)
        self._clock = clock
        self.pace = pace
        self.applied_at = self.last_at = clock.wall_s()
        self._arguments = tuple(arguments)
        self._read = read
        self._prepare = prepare
        self._compare = compare
        self._rest = rest
        self._swap = swap
        self._say = say
        self._began = began
        self._ended = ended
        self.found: ReadFiles = prepared.texts
        self.former: RuleTexts | None = None
        self.differences: tuple[str, ...] = ()
        self.serial = 0
        self._retired = ReplacedRules()
        self._replaced: Prepared | None = None
        self._asked: SimpleQueue[_Request | None] = SimpleQueue()
        self._stopping = Event()
        self._watcher = Watcher(lambda: self._asked.put(None), say)
        self._thread = Thread(target=self._work, name="reloader", daemon=True)

    # -- from other threads -------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin to look after the files."""
        self._watcher.start()
        self._thread.start()

    def stop(self) -> None:
        """End both threads; a reload that is under way comes to its end first."""
        self._stopping.set()
        self._asked.put(None)
        self._watcher.stop()
        if self._thread.is_alive():
            self._thread.join()

    def request(self) -> None:
        """Have the files read again, soon. Waits for nothing, so that a signal handler may call it."""
        self._asked.put(_Request())

    def reload_now(self) -> ReloadOutcome:
        """Read the files again at once, and wait for the outcome; never call it from the loop that `swap` needs.

        Raises MachineError if there is no answer for a minute.
        """
        return self._awaited(_Request())

    def go_back(self) -> ReloadOutcome:
        """Play the former rules again until a file changes, and wait for the outcome, as `reload_now` does."""
        return self._awaited(_Request(wants_former=True))

    def _awaited(self, request: _Request) -> ReloadOutcome:
        self._asked.put(request)
        for _ in range(_PATIENCE_S):
            with suppress(Empty):
                return request.answer.get(timeout=1)
            if not self._thread.is_alive():
                return _LEAVING
        raise MachineError("the daemon is still reading its rule files: look at `pointsman status` later")

    # -- the thread ---------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        while not self._stopping.is_set():
            try:
                is_new = self._watcher.watch(watched_folders(self._arguments))
                asked = self._next(self.pace.new_watch_s if is_new else self.pace.look_every_s)
                if asked is not None:
                    asked.answer.put(self._back() if asked.wants_former else self._reload(self._look()))
                else:
                    self._look_after()
                self._tell_differences()
                self._retired.part(ShortTurns(self._clock))
                self._rest()
            except Exception:
                self._say(f"Internal error, the music goes on. Please report: {traceback.format_exc()}")
                self._ended(_rejected("new", "Internal error"))
        while not self._asked.empty():
            asked = self._asked.get()
            if asked is not None:
                asked.answer.put(_LEAVING)

    def _next(self, patience_s: float) -> _Request | None:
        """Return the next request for a reload; None for a look, because of a change or because it is time for one."""
        try:
            return self._asked.get(timeout=patience_s)
        except Empty:
            return None

    def _look(self) -> ReadFiles:
        try:
            return self._read(self._arguments)
        except PointsmanError as error:
            return str(error)

    def _look_after(self) -> None:
        """Reload files that have changed since they were last judged."""
        found = self._look()
        while found != self.found and not self._stopping.is_set():
            quiet = self._settled(found)
            if quiet == self.found or self._stopping.is_set():
                return
            prepared = self._prepared(quiet)
            # What can't be used may be half written, or about to come back: it gets a second chance.
            if isinstance(prepared, Prepared) or (found := self._settled(quiet)) == quiet:
                self._conclude(quiet, prepared)
                return
            self._ended(prepared)

    def _settled(self, found: ReadFiles) -> ReadFiles:
        """Return what is found once it has stayed the same for a while."""
        looks = 0
        while not self._stopping.wait(self.pace.quiet_s):
            before, found = found, self._look()
            looks = looks + 1 if found == before else 0
            if looks >= (self.pace.looks_at_blank if self._became_blank(found) else self.pace.looks):
                break
        return found

    def _became_blank(self, found: ReadFiles) -> bool:
        before = dict(self.prepared.texts)
        return isinstance(found, tuple) and any(before.get(name) and not text.strip() for name, text in found)

    # -- one reload ---------------------------------------------------------------------------------------------------

    def _reload(self, found: ReadFiles) -> ReloadOutcome:
        return self._conclude(found, self._prepared(found))

    def _back(self) -> ReloadOutcome:
        """Put the former rules in force. The files count as judged, so that only a change brings their rules back."""
        if self.former is None:
            return _NO_FORMER
        found = self._look()
        outcome = self._outcome(self._prepared(self.former))
        if outcome.kind == "rejected":
            # Nothing was asked of the files: they have no part in it, and a change of theirs is still to be judged.
            return self._concluded(self.found, replace(outcome, problems=(), refused="former"))
        return self._concluded(found, outcome, "the former rules are in force again:")

    def _prepared(self, found: ReadFiles) -> Prepared | ReloadOutcome:
        """Files made ready; or the outcome, where nothing is to be put in force."""
        self._began()
        if isinstance(found, str):
            return _rejected("files", found)
        try:
            prepared = self._prepare(found, self.prepared)
        except RuleFileError as error:
            return ReloadOutcome("rejected", tuple(error.lines()), error.problems[:MOST_PROBLEMS], "files")
        except MachineError as error:  # the files may be in order: the daemon is about to end
            return _rejected("new", str(error))
        except PointsmanError as error:
            return _rejected("files", str(error))
        except Exception:
            return _rejected("new", f"Internal error. Please report: {traceback.format_exc()}")
        return ReloadOutcome("unchanged", ("no rule file has changed",)) if prepared is self.prepared else prepared

    def _conclude(self, found: ReadFiles, prepared: Prepared | ReloadOutcome) -> ReloadOutcome:
        """Put rules in force that are ready, and tell how it ended."""
        return self._concluded(found, self._outcome(prepared))

    def _outcome(self, prepared: Prepared | ReloadOutcome) -> ReloadOutcome:
        return self._applied(prepared) if isinstance(prepared, Prepared) else prepared

    def _concluded(
        self, found: ReadFiles, outcome: ReloadOutcome, applied: str = "new rules are in force:"
    ) -> ReloadOutcome:
        """Note and tell how a reload ended. `found` are the files that are judged by now."""
        self.found = found
        self.last = outcome
        self.last_at = self._clock.wall_s()
        self.serial += 1
        self._tell(outcome, applied)
        self._ended(outcome)
        return outcome

    def _applied(self, prepared: Prepared) -> ReloadOutcome:
        try:
            self._swap(prepared)
        except PointsmanError as error:
            return _rejected("new", str(error))
        except Exception:
            return _rejected("new", f"Internal error. Please report: {traceback.format_exc()}")
        self._retired.add(self.prepared)
        # Of several reloads since the last look, what played before the first of them counts.
        self._replaced = self._replaced or self.prepared
        self.former = self.prepared.texts
        self.prepared = prepared
        self.applied_at = self._clock.wall_s()
        return ReloadOutcome("applied", prepared.words)

    def _tell_differences(self) -> None:
        """Log what plays differently since rules were replaced: after the reload, which nobody has to wait for."""
        before, self._replaced = self._replaced, None
        if before is not None:
            lines = self._compare(before, self.prepared)
            self.differences = tuple(lines)
            for line in ["what plays differently now:", *(f"  {line}" for line in lines)] if lines else ():
                self._say(line)

    def _tell(self, outcome: ReloadOutcome, applied: str) -> None:
        if outcome.kind == "unchanged":
            self._say("no rule file has changed: the rules play on")
            return
        self._say(applied if outcome.refused is None else _REFUSALS[outcome.refused])
        for line in outcome.words[:_MOST_LINES]:
            self._say(f"  {line}")
        if len(outcome.words) > _MOST_LINES:
            self._say("  ... and more: `pointsman check` shows them")
