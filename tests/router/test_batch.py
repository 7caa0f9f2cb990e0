"""Many files, on all cores."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from router.batch import cores, results, with_progress
from router.files import Job
from router.job import FileResult, Manner, Outcome
from tests.router.fakes import WRITING, FakeRecipe, JobList
from tests.router.test_writing import tree


def jobs(folder: Path, *words: str) -> JobList:
    """A job for a file of each word."""
    made = JobList()
    for at, word in enumerate(words):
        source = folder / f"{at}.mid"
        source.write_text(word, encoding="ascii")
        made.append(Job(source, folder / f"out/{at}.mid", len(word)))
    return made


def run(made: JobList, workers: int, manner: Manner = WRITING) -> list[FileResult]:
    """The results in the order of the jobs, without how long each took."""
    recipe = FakeRecipe(manner)
    found = dict(results(made, recipe(), recipe, workers))
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
    assert [result.outcome is Outcome.WRITTEN for result in found] == [True, False, True, False, True, True]
    assert found[1].reason == (
        "the system ended the process that rewrote it, perhaps for want of memory; the file is as it was. "
        "Try again with --jobs 1"
    )


def test_stopping_early_ends_the_workers(tmp_path: Path) -> None:
    """Whoever stops listening leaves neither processes nor parts of files behind."""
    made = jobs(tmp_path, *(f"tune {at}" for at in range(50)))
    recipe = FakeRecipe()
    going = results(made, recipe(), recipe, 2)
    next(going)
    going.close()
    assert not multiprocessing.active_children()
    written = tree(tmp_path / "out")
    assert written
    assert all(content.startswith(b"TUNE ") for content in written.values())


def test_workers_leave_ctrl_c_to_their_leader(tmp_path: Path) -> None:
    """An interruption of all processes of a terminal doesn't break the file that a worker has in hand."""
    made = jobs(tmp_path, *(f"tune {at}" for at in range(4)))
    recipe = FakeRecipe()
    going = results(made, recipe(), recipe, 2)
    found = [next(going)]
    for child in multiprocessing.active_children():
        assert child.pid is not None
        os.kill(child.pid, signal.SIGINT)
    found += going
    assert all(result.outcome is Outcome.WRITTEN for _, result in found)
    assert len(found) == 4


def test_one_file_starts_no_processes() -> None:
    """A single file is done here, without the time to start anything."""
    program = (
        "import sys; from pathlib import Path; from router.batch import results; from router.files import Job\n"
        "from tests.router.fakes import FakeRecipe, JobList\n"
        "recipe = FakeRecipe(); list(results(JobList([Job(Path('gone'), None, 1)]), recipe(), recipe, 8))\n"
        "assert 'multiprocessing' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True, cwd=Path(__file__).parent.parent.parent)


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
    numbered = [(at, FileResult(str(at), Outcome.WRITTEN)) for at in range(3)]
    files = JobList(Job(Path(str(at)), None, 100) for at in range(3))
    assert list(with_progress(iter(numbered), files)) == numbered
    assert "B/s" in terminal.text


def test_nobody_looking_sees_no_bar(capsys: pytest.CaptureFixture[str]) -> None:
    """In a script or a log there is nothing but the summary."""
    numbered = [(at, FileResult(str(at), Outcome.WRITTEN)) for at in range(3)]
    files = JobList(Job(Path(str(at)), None, 100) for at in range(3))
    assert list(with_progress(iter(numbered), files)) == numbered
    assert capsys.readouterr() == ("", "")
