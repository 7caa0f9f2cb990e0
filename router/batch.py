"""Many files, on all cores. A worker that the system ends costs one file, never the batch.

A worker gets the text of the rules, not what was made of it, and makes its own. It holds one file at a time; what goes
back are counts. While it works, the next files wait in its pipe, so that it need not wait for the leader. Which worker
takes which file changes nothing in the results.
"""

from __future__ import annotations

import os
import sys
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import suppress
from typing import TYPE_CHECKING, Final, Protocol

from router.files import Job
from router.interruptions import leave_ctrl_c_to_the_leader, undisturbed
from router.job import FileResult, Outcome
from router.terminal import is_terminal

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import DefaultContext, Process

Do = Callable[[Job], FileResult]
Recipe = Callable[[], Do]
"""Makes what does a job; goes to the workers, so it must be of plain data (pickled)."""

Numbered = tuple[int, FileResult]
"""A result, and the place of its job in the sequence of jobs."""

_AHEAD: Final = 8
_AHEAD_BYTES: Final = 1 << 18
"""A worker has at most so many files in hand, and a second one only as long as they are small."""


class Jobs(Protocol):
    """Jobs by number, each made when it is asked for."""

    def __len__(self) -> int: ...

    def __getitem__(self, at: int, /) -> Job: ...

    def size(self, at: int, /) -> int:
        """Return the bytes of the file of one job."""
        ...


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def results(jobs: Jobs, here: Do, recipe: Recipe, workers: int) -> Generator[Numbered, None, None]:
    """Yield the result of every job as it is done: by `here` in this process, or by workers made from `recipe`.

    Ending the iteration early, by an interruption too, ends the workers; every file is then whole, old or new.
    """
    workers = min(workers, len(jobs))
    if workers <= 1:
        yield from ((at, here(jobs[at])) for at in range(len(jobs)))
    else:
        yield from _Crew(jobs, recipe).work(workers)


def with_progress(numbered: Iterable[Numbered], jobs: Jobs) -> Iterator[Numbered]:
    """Yield the results unchanged, with a bar on standard error if it is a terminal and there are several files.

    The bar goes by bytes, as files may differ much: its rate and the time left are those of the work that is left.
    """
    files = len(jobs)
    if files < 2 or not is_terminal(sys.stderr):
        yield from numbered
        return
    from tqdm import tqdm

    tqdm.monitor_interval = 0  # its thread would be copied into workers that start later
    total = sum(map(jobs.size, range(files)))
    with tqdm(total=total, unit="B", unit_scale=True, leave=False, file=sys.stderr) as bar:
        for done, result in enumerate(numbered, 1):
            bar.set_description(f"{done:,}/{files:,} files", refresh=False)
            bar.update(jobs.size(result[0]))
            yield result


class _Worker:
    """A process that does jobs one at a time in the order given, and the pipe to it."""

    def __init__(self, context: DefaultContext, recipe: Recipe) -> None:
        self.pipe, far_end = context.Pipe()
        self.process: Process = context.Process(target=serve, args=(far_end, recipe), daemon=True)
        self.process.start()
        far_end.close()
        self.in_hand: deque[int] = deque()
        self._bytes = 0

    def has_time(self, most: int) -> bool:
        """Whether it should get a further job now, if it may have `most` of them in hand."""
        return not self.in_hand or (len(self.in_hand) < most and self._bytes < _AHEAD_BYTES)

    def give(self, at: int, jobs: Jobs) -> None:
        """Hand over the job with number `at`."""
        self.in_hand.append(at)
        self._bytes += jobs.size(at)
        with suppress(OSError):  # a worker that has just been ended gives no answer, which tells the same
            self.pipe.send(jobs[at])

    def answer(self, jobs: Jobs) -> tuple[int, FileResult | None]:
        """Return the number of the job that is done, and its result; None if the process is no more."""
        at = self.in_hand.popleft()
        self._bytes -= jobs.size(at)
        try:
            result: FileResult = self.pipe.recv()
        except (EOFError, OSError):
            return at, None
        return at, result

    def end(self) -> None:
        """End the process; while it writes a file, it ends after that."""
        self.process.terminate()
        self.process.join()
        self.pipe.close()


def serve(pipe: Connection, recipe: Recipe) -> None:
    """What a worker does until the other end of its pipe is closed."""
    leave_ctrl_c_to_the_leader()
    do = recipe()
    try:
        while True:
            pipe.send(do(pipe.recv()))
    except (EOFError, OSError):
        return


class _Crew:
    """Workers, and the jobs that are left: largest files first, so that nobody is left with a long one at the end."""

    def __init__(self, jobs: Jobs, recipe: Recipe) -> None:
        import multiprocessing

        self._jobs, self._recipe = jobs, recipe
        self._context = multiprocessing.get_context()
        self._left = deque(sorted(range(len(jobs)), key=lambda at: -jobs.size(at)))
        self._busy: dict[object, _Worker] = {}

    def work(self, workers: int) -> Iterator[Numbered]:
        """Yield the results as they come."""
        from multiprocessing.connection import wait

        try:
            for _ in range(workers):
                self._hire()
            while self._busy:
                for pipe in wait([worker.pipe for worker in self._busy.values()]):
                    yield self._taken_from(self._busy[pipe])
        finally:
            for worker in self._busy.values():
                worker.end()

    def _hire(self) -> None:
        with undisturbed():
            worker = _Worker(self._context, self._recipe)
            self._busy[worker.pipe] = worker
        worker.give(self._left.popleft(), self._jobs)

    def _employ(self, worker: _Worker) -> None:
        """Hand over what waits in the pipe: less towards the end, so that all workers end together."""
        while self._left and worker.has_time(min(_AHEAD, 1 + len(self._left) // len(self._busy))):
            worker.give(self._left.popleft(), self._jobs)

    def _taken_from(self, worker: _Worker) -> Numbered:
        """The next result of a worker, which gets new jobs; one that is no more is replaced, its other jobs go back."""
        at, result = worker.answer(self._jobs)
        if result is None:
            self._left.extendleft(reversed(worker.in_hand))
            worker.in_hand.clear()
            result = _lost(self._jobs[at])
        else:
            self._employ(worker)
        if not worker.in_hand:
            del self._busy[worker.pipe]
            worker.end()
            if self._left:
                self._hire()
        return at, result


def _lost(job: Job) -> FileResult:
    reason = "the system ended the process that rewrote it, perhaps for want of memory; the file is as it was"
    return FileResult(str(job.source), Outcome.FAILED, reason=f"{reason}. Try again with --jobs 1")
