"""Results of many files, kept on the disk."""

from __future__ import annotations

import tracemalloc

import pytest

from router.batch.job import FileOutcome, FileResult
from router.batch.report import Summary, as_json, in_words
from router.batch.spool import Spool
from rules.errors import MachineError
from tests.support.fake_rewriting import RULE, report


def result(number: int) -> FileResult:
    """The result of one of many files."""
    return FileResult(f"{number}.mid", FileOutcome.WRITTEN, (f"out/{number}.mid",), report=report())


def test_results_stand_in_the_order_of_their_files() -> None:
    """Whatever order they come in; files without a result are passed over, and going through again gives the same."""
    with Spool(5) as spool:
        for number in (3, 0, 4):
            spool.put(number, result(number))
        assert len(spool) == 3
        assert list(spool) == list(spool) == [result(0), result(3), result(4)]
        assert result(3) in spool
        assert result(1) not in spool


def test_many_results_take_little_memory() -> None:
    """Whoever rewrites ten thousand files needs a few bytes for each, in the summary and in its data as well."""
    files = 10_000
    tracemalloc.start()
    with Spool(files) as spool:
        for number in range(files):
            spool.put(files - 1 - number, result(number))
        summary = Summary(spool, [RULE], 1.0)
        lines = sum(1 for _ in in_words(summary)) + sum(1 for _ in as_json(summary))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert lines > files
    assert peak < 4_000_000


def test_a_full_disk_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a place for the results the run ends with words that say why."""
    with Spool(1) as spool:

        def full(_: bytes) -> int:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(spool._file, "write", full)
        with pytest.raises(MachineError, match="folder for temporary files: no space is left on the disk"):
            spool.put(0, result(0))
