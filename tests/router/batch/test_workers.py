"""Many files, on all cores."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
from collections.abc import Generator
from dataclasses import replace
from pathlib import Path
from threading import Event

import pytest

from router.batch.job import FileOutcome, FileResult, StartedJob, WritingOptions
from router.batch.plan import Job
from router.batch.workers import Numbered, WritingThreads, cores, results, with_progress
from router.files.disk import DISK
from tests.support.failing_disk import tree
from tests.support.fake_rewriting import WRITING, FakeRecipe, FakeRewriter, JobList


def jobs(folder: Path, *words: str) -> JobList:
    """A job for a file of each word."""
    made = JobList()
    for at, word in enumerate(words):
        source = folder / f"{at}.mid"
        source.write_text(word, encoding="ascii")
        made.append(Job(source, folder / f"out/{at}.mid", len(word)))
    return made


def going(made: JobList, workers: int, options: WritingOptions = WRITING) -> Generator[Numbered, None, None]:
    """The results as they come."""
    recipe = FakeRecipe(options)
    with WritingThreads() as writers:
        yield from results(made, recipe(), recipe, workers, writers)


def run(made: JobList, workers: int, options: WritingOptions = WRITING) -> list[FileResult]:
    """The results in the order of the jobs, without how long each took."""
    found = dict(going(made, workers, options))
    assert sorted(found) == list(range(len(made)))
    return [replace(found[at], seconds=0.0, stamp=None) for at in range(len(made))]


def test_the_number_of_workers_changes_nothing(tmp_path: Path) -> None:
    """Results and files are the same for any number of workers, bad files among them too."""
    words = ["tune", "bad", "a much longer tune", "same", "bug", "damaged", "x" * 100]
    seen = []
    for workers in (1, 2, 3, 20):
        made = jobs(tmp_path, *words)
        seen.append((run(made, workers), tree(tmp_path)))
        for path in (tmp_path / "out").iterdir():
            path.unlink()
    assert len(seen[0][1]) == 12
    assert all(one == seen[0] for one in seen)
    assert not multiprocessing.active_children()


def test_a_worker_that_is_killed_costs_one_file(tmp_path: Path) -> None:
    """A process ended by the system is one failure with an advice; the other files are rewritten by the others."""
    found = run(jobs(tmp_path, "one", "die", "two", "die", "three", "four"), 2)
    assert [result.outcome is FileOutcome.WRITTEN for result in found] == [True, False, True, False, True, True]
    assert found[1].reason == (
        "the system ended the process that rewrote it, perhaps because memory ran out; the file is as it was. "
        "Try again with --jobs 1"
    )


class Slow(StartedJob):
    """A file that the disk has when `go` is set."""

    def __init__(self, job: Job, go: Event) -> None:
        super().__init__(job, FakeRewriter(), WRITING, DISK)
        self.go = go

    def wait(self) -> None:
        """Wait for it."""
        assert self.go.wait(60)
        super().wait()


def test_files_are_begun_while_the_disk_writes_others(tmp_path: Path) -> None:
    """Four at a time, told in the order in which they were begun; they have no names until then."""
    made = jobs(tmp_path, "one", "two", "three", "four")
    going = [Event() for _ in made]
    with WritingThreads() as writers:
        for at, go in enumerate(going):
            assert not writers.are_full
            writers.put(at, Slow(made[at], go))
        assert writers.are_full
        assert all(name.startswith(".pointsman") for name in tree(tmp_path / "out"))
        for go in reversed(going):
            go.set()
        told = list(writers.rest())
    assert [(at, result.outcome) for at, result in told] == [(at, FileOutcome.WRITTEN) for at in range(4)]
    assert tree(tmp_path / "out") == {"0.mid": b"ONE", "1.mid": b"TWO", "2.mid": b"THREE", "3.mid": b"FOUR"}


def test_a_large_file_is_awaited_alone(tmp_path: Path) -> None:
    """Results are in memory until then."""
    (made,) = jobs(tmp_path, "long")
    go = Event()
    with WritingThreads() as writers:
        writers.put(0, Slow(replace(made, size=5_000_000), go))
        assert writers.are_full
        go.set()


def test_whoever_leaves_in_between_leaves_whole_files(tmp_path: Path) -> None:
    """What was begun gets its name."""
    made = jobs(tmp_path, "one", "two")
    go = Event()
    go.set()
    with WritingThreads() as writers:
        for at in range(2):
            writers.put(at, Slow(made[at], go))
    assert tree(tmp_path / "out") == {"0.mid": b"ONE", "1.mid": b"TWO"}


def test_leaving_waits_for_what_is_being_written(tmp_path: Path) -> None:
    """Every file is whole, though nobody listens any more."""
    made = jobs(tmp_path, *(f"tune {at}" for at in range(3)))
    numbered = going(made, 1)
    next(numbered)
    numbered.close()
    assert set(tree(tmp_path / "out").values()) <= {b"TUNE 0", b"TUNE 1", b"TUNE 2"}
    assert tree(tmp_path / "out")["0.mid"] == b"TUNE 0"


def test_a_worker_that_is_killed_while_it_writes_takes_no_other_file_along(tmp_path: Path) -> None:
    """What it had begun is done again; files that it had written already are as good as any."""
    words = [f"tune {at}" for at in range(40)]
    words[17] = "die"
    found = run(jobs(tmp_path, *words), 2)
    assert [at for at, result in enumerate(found) if result.outcome is not FileOutcome.WRITTEN] == [17]
    assert len(tree(tmp_path / "out")) == 39


def test_stopping_early_ends_the_workers(tmp_path: Path) -> None:
    """Whoever stops listening leaves neither processes nor parts of files behind."""
    made = jobs(tmp_path, *(f"tune {at}" for at in range(50)))
    numbered = going(made, 2)
    next(numbered)
    numbered.close()
    assert not multiprocessing.active_children()
    written = tree(tmp_path / "out")
    assert written
    assert all(content.startswith(b"TUNE ") for content in written.values())


def test_workers_leave_ctrl_c_to_their_leader(tmp_path: Path) -> None:
    """An interruption of all processes of a terminal doesn't break the file that a worker has in hand."""
    made = jobs(tmp_path, *(f"tune {at}" for at in range(4)))
    numbered = going(made, 2)
    found = [next(numbered)]
    for child in multiprocessing.active_children():
        assert child.pid is not None
        os.kill(child.pid, signal.SIGINT)
    found += numbered
    assert all(result.outcome is FileOutcome.WRITTEN for _, result in found)
    assert len(found) == 4


def test_workers_end_with_a_leader_that_is_killed(tmp_path: Path) -> None:
    """Nothing is left running: the pipe that all of them inherit is closed when the last one is gone."""
    program = (
        "import os, signal, sys; from pathlib import Path; from router.batch.workers import WritingThreads, results\n"
        "from router.batch.plan import Job; from tests.support.fake_rewriting import FakeRecipe, JobList\n"
        "recipe = FakeRecipe(); jobs = JobList([Job(path, None, 1) for path in Path(sys.argv[1]).iterdir()])\n"
        "numbered = results(jobs, recipe(), recipe, 3, WritingThreads())\n"
        "for _ in range(60): next(numbered)\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    for at in range(90):
        (tmp_path / f"{at}.mid").write_text("tune", encoding="ascii")
    command = [sys.executable, "-c", program, str(tmp_path)]
    # stdout is read until every process has closed it
    run = subprocess.run(command, check=False, cwd=Path(__file__).parents[3], stdout=subprocess.PIPE, timeout=60)
    assert (run.returncode, run.stdout) == (-signal.SIGKILL, b"")


def test_one_file_starts_no_processes() -> None:
    """A single file is done here, without the time to start anything."""
    program = (
        "import sys; from pathlib import Path; from router.batch.workers import WritingThreads, results\n"
        "from router.batch.plan import Job; from tests.support.fake_rewriting import FakeRecipe, JobList\n"
        "recipe = FakeRecipe(); jobs = JobList([Job(Path('gone'), None, 1)])\n"
        "list(results(jobs, recipe(), recipe, 8, WritingThreads()))\n"
        "assert not {'multiprocessing', 'concurrent.futures'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", program], check=True, cwd=Path(__file__).parents[3])


def test_there_is_at_least_one_core() -> None:
    """As many workers as the process may use cores."""
    assert 1 <= cores() <= (os.cpu_count() or 1)


class Terminal:
    """Where a progress bar can be shown."""

    def __init__(self) -> None:
        self.text = ""

    def isatty(self) -> bool:
        """Someone is looking."""
        return True

    def write(self, text: str) -> int:
        """Keep what is shown."""
        self.text += text
        return len(text)

    def flush(self) -> None:
        """Nothing waits."""


def test_a_terminal_sees_a_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal there is a bar while files are done, and what passes is unchanged."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    numbered = [(at, FileResult(str(at), FileOutcome.WRITTEN)) for at in range(3)]
    files = JobList(Job(Path(str(at)), None, 100) for at in range(3))
    assert list(with_progress(iter(numbered), files)) == numbered
    assert "B/s" in terminal.text


def test_nobody_looking_sees_no_bar(capsys: pytest.CaptureFixture[str]) -> None:
    """In a script or a log there is nothing but the summary."""
    numbered = [(at, FileResult(str(at), FileOutcome.WRITTEN)) for at in range(3)]
    files = JobList(Job(Path(str(at)), None, 100) for at in range(3))
    assert list(with_progress(iter(numbered), files)) == numbered
    assert capsys.readouterr() == ("", "")
