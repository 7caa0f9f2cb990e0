"""Many files, on all cores. A worker that the system ends costs one file, never the batch.

A worker gets the text of the rules, not what was made of it, and makes its own. It holds one file at a time; what goes
back are counts. Which worker takes which file changes nothing in the results.
"""

from __future__ import annotations

import os
import sys
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

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
"""A result, and the place of its job in the list of jobs."""


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def results(jobs: Sequence[Job], here: Do, recipe: Recipe, workers: int) -> Generator[Numbered, None, None]:
    """Yield the result of every job as it is done: by `here` in this process, or by workers made from `recipe`.

    Ending the iteration early, by an interruption too, ends the workers; every file is then whole, old or new.
    """
    workers = min(workers, len(jobs))
    if workers <= 1:
        yield from ((at, here(job)) for at, job in enumerate(jobs))
    else:
        yield from _shared_out(jobs, recipe, workers)


def with_progress(numbered: Iterator[Numbered], total: int) -> Iterator[Numbered]:
    """Yield the results unchanged, with a bar on standard error if it is a terminal and there are several files."""
    if total < 2 or not is_terminal(sys.stderr):
        yield from numbered
        return
    from tqdm import tqdm

    tqdm.monitor_interval = 0  # its thread would be copied into workers that start later
    with tqdm(total=total, unit=" files", leave=False, file=sys.stderr) as bar:
        for result in numbered:
            bar.update()
            yield result


class _Worker:
    """A process that does jobs one at a time, and the pipe to it."""

    def __init__(self, context: DefaultContext, recipe: Recipe) -> None:
        self.pipe, far_end = context.Pipe()
        self.process: Process = context.Process(target=serve, args=(far_end, recipe), daemon=True)
        self.process.start()
        far_end.close()
        self.job = -1

    def give(self, at: int, job: Job) -> None:
        """Hand over the job with number `at`."""
        self.job = at
        with suppress(OSError):  # a worker that has just been ended gives no answer, which tells the same
            self.pipe.send(job)

    def answer(self) -> FileResult | None:
        """Return the result of the job given last; None if the process is no more."""
        try:
            result: FileResult = self.pipe.recv()
        except (EOFError, OSError):
            return None
        return result

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


def _shared_out(jobs: Sequence[Job], recipe: Recipe, workers: int) -> Iterator[Numbered]:
    """Largest files first, so that no worker is left with a long one at the end."""
    import multiprocessing
    from multiprocessing.connection import wait

    context = multiprocessing.get_context()
    left = deque(sorted(range(len(jobs)), key=lambda at: -jobs[at].size))
    busy: dict[object, _Worker] = {}

    def employ(worker: _Worker) -> None:
        at = left.popleft()
        worker.give(at, jobs[at])

    def hire() -> None:
        with undisturbed():
            worker = _Worker(context, recipe)
            busy[worker.pipe] = worker
        employ(worker)

    try:
        for _ in range(workers):
            hire()
        while busy:
            for pipe in wait([worker.pipe for worker in busy.values()]):
                worker = busy[pipe]
                result = worker.answer()
                yield worker.job, result or _lost(jobs[worker.job])
                if left and result:
                    employ(worker)
                    continue
                del busy[pipe]
                worker.end()
                if left:
                    hire()
    finally:
        for worker in busy.values():
            worker.end()


def _lost(job: Job) -> FileResult:
    reason = "the system ended the process that rewrote it, perhaps for want of memory; the file is as it was"
    return FileResult(str(job.source), Outcome.FAILED, reason=f"{reason}. Try again with --jobs 1")
