"""One file from the disk through the rules and back."""

from __future__ import annotations

import errno
from dataclasses import replace
from pathlib import Path

import pytest

from router.batch.job import FileOutcome, FileResult, WritingOptions, do_job, start_job, unusable
from router.batch.plan import Job
from router.batch.search import Unusable
from rules.smf.report import Rewritten
from tests.support.failing_disk import FailingDisk, tree
from tests.support.fake_rewriting import FakeRewriter


def job(folder: Path, word: str, *, in_place: bool = False) -> Job:
    """A job for a file that says `word`."""
    source = folder / "take.mid"
    source.write_text(word, encoding="ascii")
    return Job(source, source if in_place else folder / "out/take.mid", len(word), in_place)


def outcome(result: FileResult) -> tuple[FileOutcome, str, int | None]:
    """What matters of a result that is no success."""
    return result.outcome, result.reason, result.offset


def test_a_file_is_rewritten(tmp_path: Path) -> None:
    """The result is written, the recording stays, and the result tells what was counted."""
    result = do_job(job(tmp_path, "tune"), FakeRewriter(), WritingOptions())
    assert (result.outcome, result.targets) == (FileOutcome.WRITTEN, (f"{tmp_path}/out/take.mid",))
    assert result.report is not None
    assert result.report.messages == 4
    assert tree(tmp_path) == {"take.mid": b"tune", "out/take.mid": b"TUNE"}


def test_a_file_that_the_rules_leave_alone_is_written_all_the_same(tmp_path: Path) -> None:
    """A folder of results is complete: what nothing changed in is in it too."""
    assert do_job(job(tmp_path, "same"), FakeRewriter(), WritingOptions()).outcome is FileOutcome.WRITTEN
    assert tree(tmp_path)["out/take.mid"] == b"same"


def test_each_port_gets_its_file(tmp_path: Path) -> None:
    """Per port there is a file for each that plays, and none for the silent ones."""
    result = do_job(job(tmp_path, "tune"), FakeRewriter("rack1", "rack2"), WritingOptions())
    assert result.targets == (f"{tmp_path}/out/take.rack1.mid", f"{tmp_path}/out/take.rack2.mid")
    assert tree(tmp_path / "out") == {"take.rack1.mid": b"TUNErack1", "take.rack2.mid": b"TUNErack2"}
    silent = do_job(job(tmp_path, "silent"), FakeRewriter("rack1", "rack2"), WritingOptions(force=True))
    assert (silent.outcome, silent.targets) == (FileOutcome.WRITTEN, ())


def test_in_place_keeps_a_backup(tmp_path: Path) -> None:
    """The result says where the old file is."""
    result = do_job(job(tmp_path, "tune", in_place=True), FakeRewriter(), WritingOptions())
    assert (result.outcome, result.backup) == (FileOutcome.WRITTEN, f"{tmp_path}/take.mid.bak")
    assert tree(tmp_path) == {"take.mid": b"TUNE", "take.mid.bak": b"tune"}


def test_in_place_without_a_change_touches_nothing(tmp_path: Path) -> None:
    """No new file and no backup where the bytes are the same."""
    result = do_job(job(tmp_path, "same", in_place=True), FakeRewriter(), WritingOptions())
    assert (result.outcome, result.backup, result.targets) == (FileOutcome.UNCHANGED, "", ())
    assert tree(tmp_path) == {"take.mid": b"same"}


class Louder(FakeRewriter):
    """Whose result would be rewritten once more, as that of most rules."""

    def rewrite(self, data: bytes) -> Rewritten:
        """Add one exclamation mark."""
        return Rewritten({"": data + b"!"}, super().rewrite(data).report)


def test_what_a_worker_wrote_before_it_was_ended_is_not_refused(tmp_path: Path) -> None:
    """Done again, its result is there already, the same byte for byte; anything else there is somebody's."""
    wanted = job(tmp_path, "tune")
    assert do_job(wanted, Louder(), WritingOptions()).outcome is FileOutcome.WRITTEN
    again = do_job(replace(wanted, again=True), Louder(), WritingOptions())
    assert (again.outcome, again.targets) == (FileOutcome.WRITTEN, (f"{tmp_path}/out/take.mid",))
    assert again.report is not None
    (tmp_path / "out/take.mid").write_text("mine", encoding="ascii")
    assert do_job(replace(wanted, again=True), Louder(), WritingOptions()).outcome is FileOutcome.REFUSED


def test_what_a_worker_wrote_in_place_before_it_was_ended_is_not_rewritten_twice(tmp_path: Path) -> None:
    """Its backup tells."""
    wanted = job(tmp_path, "tune", in_place=True)
    assert do_job(wanted, Louder(), WritingOptions()).outcome is FileOutcome.WRITTEN
    assert do_job(replace(wanted, again=True), Louder(), WritingOptions()).outcome is FileOutcome.DONE
    assert tree(tmp_path) == {"take.mid": b"tune!", "take.mid.bak": b"tune"}


@pytest.mark.parametrize("backup", ["bad", None])
def test_a_backup_that_can_not_tell_lets_nothing_be_rewritten_twice(tmp_path: Path, backup: str | None) -> None:
    """Damaged, or not to be read: the file is left alone, and the backup is named."""
    wanted = job(tmp_path, "tune", in_place=True)
    do_job(wanted, Louder(), WritingOptions())
    kept = tmp_path / "take.mid.bak"
    kept.unlink()
    if backup is None:
        kept.mkdir()
    else:
        kept.write_text(backup, encoding="ascii")
    result = do_job(wanted, Louder(), WritingOptions(resume=True))
    assert result.outcome is FileOutcome.FAILED
    assert result.reason.startswith("its backup take.mid.bak can't be compared with it: ")
    assert result.offset is None
    assert (tmp_path / "take.mid").read_text(encoding="ascii") == "tune!"


@pytest.mark.parametrize("in_place", [False, True])
def test_a_file_that_was_begun_has_no_name_until_it_is_finished(tmp_path: Path, in_place: bool) -> None:
    """Whoever gives it up leaves the disk as it was."""
    wanted = job(tmp_path, "tune", in_place=in_place)
    before = tree(tmp_path)
    begun = start_job(wanted, FakeRewriter(), WritingOptions())
    assert [name for name in tree(tmp_path) if not Path(name).name.startswith(".pointsman")] == list(before)
    begun.wait()
    del begun
    assert tree(tmp_path) == before
    begun = start_job(wanted, FakeRewriter(), WritingOptions())
    begun.wait()
    assert begun.finish().outcome is FileOutcome.WRITTEN
    assert tree(tmp_path)["take.mid" if in_place else "out/take.mid"] == b"TUNE"


@pytest.mark.parametrize("in_place", [False, True])
def test_no_result_gets_its_name_before_the_disk_has_it(tmp_path: Path, in_place: bool) -> None:
    """Also where nobody has waited for the disk: finishing does."""
    wanted = job(tmp_path, "tune", in_place=in_place)
    before = tree(tmp_path)
    result = start_job(wanted, FakeRewriter(), WritingOptions(), FailingDisk("flush", errno.EIO)).finish()
    assert result.outcome is FileOutcome.FAILED
    assert tree(tmp_path) == before


@pytest.mark.parametrize("in_place", [False, True])
def test_a_dry_run_writes_nothing(tmp_path: Path, in_place: bool) -> None:
    """It says which file would be written, and what would be counted."""
    wanted = job(tmp_path, "tune", in_place=in_place)
    result = do_job(wanted, FakeRewriter(), WritingOptions(dry_run=True))
    assert (result.outcome, result.targets) == (FileOutcome.LOOKED_AT, (str(wanted.target),))
    assert result.report is not None
    assert tree(tmp_path) == {"take.mid": b"tune"}


@pytest.mark.parametrize("dry_run", [False, True])
def test_a_result_that_exists_is_refused(tmp_path: Path, dry_run: bool) -> None:
    """Without --force nothing is overwritten, and a dry run says so beforehand."""
    wanted = job(tmp_path, "tune")
    (tmp_path / "out").mkdir()
    (tmp_path / "out/take.mid").write_bytes(b"precious")
    result = do_job(wanted, FakeRewriter(), WritingOptions(dry_run=dry_run))
    assert outcome(result) == (
        FileOutcome.REFUSED,
        f"{tmp_path}/out/take.mid exists already: move it away, choose another name, or replace it with --force",
        None,
    )
    assert tree(tmp_path / "out") == {"take.mid": b"precious"}
    forced = do_job(wanted, FakeRewriter(), WritingOptions(dry_run=dry_run, force=True))
    assert forced.outcome is (FileOutcome.LOOKED_AT if dry_run else FileOutcome.WRITTEN)
    assert tree(tmp_path / "out") == {"take.mid": b"precious" if dry_run else b"TUNE"}


@pytest.mark.parametrize(
    ("word", "reason", "offset"),
    [
        ("bad", "not a Standard MIDI File", 7),
        ("huge", "this computer doesn't have enough memory for it: try --jobs 1", None),
    ],
)
def test_a_file_that_can_not_be_rewritten_says_why(tmp_path: Path, word: str, reason: str, offset: int | None) -> None:
    """The reason names the byte at fault if there is one; nothing is written."""
    assert outcome(do_job(job(tmp_path, word), FakeRewriter(), WritingOptions())) == (
        FileOutcome.FAILED,
        reason,
        offset,
    )
    assert tree(tmp_path) == {"take.mid": word.encode()}


def test_a_bug_of_ours_is_no_fault_of_the_file(tmp_path: Path) -> None:
    """The batch goes on, and the message says whose fault it is and where."""
    result = do_job(job(tmp_path, "bug"), FakeRewriter(), WritingOptions())
    assert result.outcome is FileOutcome.FAILED
    assert result.reason.startswith("Internal error. Please report: ValueError: one")
    assert "(fake_rewriting.py:" in result.reason


def test_a_file_that_vanishes_is_told(tmp_path: Path) -> None:
    """A file taken away after it was found is one failure."""
    wanted = job(tmp_path, "tune")
    wanted.source.unlink()
    reason = "the file can't be read: there is no such file or folder"
    assert outcome(do_job(wanted, FakeRewriter(), WritingOptions())) == (FileOutcome.FAILED, reason, None)


@pytest.mark.parametrize("in_place", [False, True])
def test_a_full_disk_is_told(tmp_path: Path, in_place: bool) -> None:
    """The recording is as it was, and there is no half of a result."""
    result = do_job(
        job(tmp_path, "tune", in_place=in_place), FakeRewriter(), WritingOptions(), FailingDisk("write", errno.ENOSPC)
    )
    assert result.outcome is FileOutcome.FAILED
    assert result.reason.endswith("can't be written: no space is left on the disk: free some space, and run it again")
    assert tree(tmp_path) == {"take.mid": b"tune"}


def test_what_can_not_be_begun_with_becomes_a_result() -> None:
    """Refused is what has no place to go, failed is everything else."""
    assert outcome(unusable(Unusable(Path("a"), "gone"))) == (FileOutcome.FAILED, "gone", None)
    assert outcome(unusable(Unusable(Path("a"), "clash", refused=True))) == (FileOutcome.REFUSED, "clash", None)
