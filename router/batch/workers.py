"""Many files, on all cores. A worker that the system ends costs one file, never the batch.

A worker gets the text of the rules, not what was made of it, and makes its own. What goes back are counts. While it
works, the next files wait in its pipe, so that it need not wait for the parent; and while the disk writes some results,
it rewrites the next. Which worker takes which file changes nothing in the results.
"""

from __future__ import annotations

import os
import sys
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Final, Protocol, Self

from router.batch.job import FileOutcome, FileResult, StartedJob
from router.batch.plan import Job
from router.files.interrupts import leave_ctrl_c_to_parent, undisturbed
from router.text.terminal import is_terminal

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor
    from multiprocessing.connection import Connection
    from multiprocessing.context import DefaultContext, Process

StartJob = Callable[[Job], StartedJob]
Recipe = Callable[[], StartJob]
"""Makes what begins a job; goes to the workers, so it must be of plain data (pickled)."""

Numbered = tuple[int, FileResult]
"""A result, and the place of its job in the sequence of jobs."""

_AHEAD: Final = 8
_AHEAD_BYTES: Final = 1 << 18
"""A worker has at most so many files in hand, and a second one only as long as they are small."""

_WRITING: Final = 4
_WRITING_BYTES: Final = 1 << 22
"""So many files are awaited at a time, and a second one only as long as they are small: a disk lets each wait until it
is safe, and several together hardly longer. Threads do nothing but wait: all else would compete with the
calculation."""


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


class WritingThreads:
    """Threads that wait for the disk, while the next files are rewritten. Files that they have are whole in the end."""

    def __init__(self) -> None:
        self._pool: ThreadPoolExecutor | None = None
        self._in_hand: deque[tuple[int, StartedJob, Future[None]]] = deque()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for _told in self.rest():
            pass
        if self._pool is not None:
            self._pool.shutdown()

    def __len__(self) -> int:
        return len(self._in_hand)

    @property
    def are_full(self) -> bool:
        """Whether the oldest must be awaited before another file is begun."""
        return len(self._in_hand) >= _WRITING or sum(begun.size for _, begun, _ in self._in_hand) > _WRITING_BYTES

    def put(self, at: int, begun: StartedJob) -> None:
        """Hand over the job with number `at`."""
        if self._pool is None:
            from concurrent.futures import ThreadPoolExecutor

            self._pool = ThreadPoolExecutor(_WRITING)
        with undisturbed():  # threads begin as we are now: interruptions are for the one who can stop
            self._in_hand.append((at, begun, self._pool.submit(begun.wait)))

    def oldest(self) -> Numbered:
        """Await the job that was handed over first, and give its results their names."""
        at, begun, waiting = self._in_hand[0]
        waiting.result()
        with undisturbed():
            self._in_hand.popleft()
            return at, begun.finish()

    def rest(self) -> Iterator[Numbered]:
        """Await all of them."""
        while self._in_hand:
            yield self.oldest()


def results(
    jobs: Jobs, here: StartJob, recipe: Recipe, workers: int, writers: WritingThreads
) -> Generator[Numbered, None, None]:
    """Yield the result of every job as it is done: by `here` and `writers` in this process, or by workers of `recipe`.

    Ending the iteration early, by an interruption too, ends the workers; every file is then whole, old or new, and what
    the `writers` had in hand is left with them to be told.
    """
    workers = min(workers, len(jobs))
    if len(jobs) == 1:
        yield 0, here(jobs[0]).finish()
    elif workers <= 1:
        for at in range(len(jobs)):
            while writers.are_full:
                yield writers.oldest()
            writers.put(at, here(jobs[at]))
        yield from writers.rest()
    else:
        yield from _WorkerPool(jobs, recipe).work(workers)


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
    """A process that does jobs in the order given, and the pipe to it."""

    def __init__(self, context: DefaultContext, recipe: Recipe, others: Iterable[Connection]) -> None:
        self.pipe, far_end = context.Pipe()
        # a forked process holds a copy of every pipe's near end, its own too, and would never see the parent go
        inherited = (self.pipe, *others) if context.get_start_method() == "fork" else ()
        self.process: Process = context.Process(target=serve, args=(far_end, recipe, inherited), daemon=True)
        self.process.start()
        far_end.close()
        self.in_hand: deque[int] = deque()
        self._bytes = 0

    def has_time(self, most: int) -> bool:
        """Return whether it should get a further job now, if it may have `most` of them in hand."""
        return not self.in_hand or (len(self.in_hand) < most and self._bytes < _AHEAD_BYTES)

    def give(self, at: int, job: Job) -> None:
        """Hand over the job with number `at`."""
        self.in_hand.append(at)
        self._bytes += job.size
        with suppress(OSError):  # a worker that has just been ended gives no answer, which tells the same
            self.pipe.send(job)

    def answer(self, jobs: Jobs) -> FileResult | None:
        """Return the result of the first job in hand, which is in hand no more; None if the process is no more."""
        try:
            result: FileResult = self.pipe.recv()
        except (EOFError, OSError):
            return None
        self._bytes -= jobs.size(self.in_hand.popleft())
        return result

    def end(self) -> None:
        """End the process; the file that it has begun is whole before that."""
        self.process.terminate()
        with suppress(OSError):
            self.pipe.send(None)  # wakes it, if it waits for a job
        while self.process.is_alive():
            with suppress(EOFError, OSError):
                if self.pipe.poll(0.02):
                    self.pipe.recv()  # it may wait for room for its answers
        self.process.join()
        self.pipe.close()


def serve(pipe: Connection, recipe: Recipe, inherited: Iterable[Connection]) -> None:
    """Work until there is no job, or the parent is gone: then the other end of the pipe is closed.

    `inherited` are the parent's ends of pipes that this process holds as well, and closes first.
    """
    for near_end in inherited:
        near_end.close()
    is_over = leave_ctrl_c_to_parent()
    start = recipe()
    with suppress(EOFError, OSError), WritingThreads() as writers:
        while True:
            if writers.are_full or (len(writers) and not pipe.poll()):
                pipe.send(writers.oldest()[1])
            else:
                job: Job | None = pipe.recv()
                if job is None or is_over():
                    return
                writers.put(0, start(job))


class _WorkerPool:
    """Workers, and the jobs that are left: largest files first, so that nobody is left with a long one at the end.

    When a worker is no more, one of the files that it had begun is to blame. If it had begun several, these are done
    `again`, each by itself.
    """

    def __init__(self, jobs: Jobs, recipe: Recipe) -> None:
        import multiprocessing

        self._jobs, self._recipe = jobs, recipe
        self._context = multiprocessing.get_context()
        self._left = deque(sorted(range(len(jobs)), key=lambda at: -jobs.size(at)))
        self._again: set[int] = set()
        self._busy: dict[object, _Worker] = {}

    def work(self, workers: int) -> Iterator[Numbered]:
        """Yield the results as they come."""
        from multiprocessing.connection import wait

        try:
            for _ in range(workers):
                self._start_worker()
            while self._busy:
                for pipe in wait([worker.pipe for worker in self._busy.values()]):
                    yield from self._results_of(self._busy[pipe])
        finally:
            for worker in self._busy.values():
                worker.end()

    def _start_worker(self) -> None:
        with undisturbed():
            worker = _Worker(self._context, self._recipe, [other.pipe for other in self._busy.values()])
            self._busy[worker.pipe] = worker
        self._hand_over(worker)

    def _hand_over(self, worker: _Worker) -> None:
        at = self._left.popleft()
        worker.give(at, replace(self._jobs[at], again=True) if at in self._again else self._jobs[at])

    def _refill(self, worker: _Worker) -> None:
        """Hand over what waits in the pipe: less towards the end, so that all workers end together."""
        while self._left and worker.has_time(min(_AHEAD, 1 + len(self._left) // len(self._busy))):
            if worker.in_hand and self._again.intersection((self._left[0], *worker.in_hand)):
                return
            self._hand_over(worker)

    def _results_of(self, worker: _Worker) -> Iterator[Numbered]:
        """Yield the next result of a worker, and give it new jobs; replace a worker that is no more."""
        at = worker.in_hand[0]
        result = worker.answer(self._jobs)
        if result is not None:
            self._refill(worker)
            yield at, result
        else:
            begun = list(worker.in_hand)[: _WRITING + 1]
            if len(begun) == 1:
                worker.in_hand.popleft()
                yield at, _lost(self._jobs[at])
            else:
                self._again.update(begun)
            self._left.extendleft(reversed(worker.in_hand))
            worker.in_hand.clear()
        if not worker.in_hand:
            del self._busy[worker.pipe]
            worker.end()
            if self._left:
                self._start_worker()


def _lost(job: Job) -> FileResult:
    reason = "the system ended the process that rewrote it, perhaps because memory ran out; the file is as it was"
    return FileResult(str(job.source), FileOutcome.FAILED, reason=f"{reason}. Try again with --jobs 1")
