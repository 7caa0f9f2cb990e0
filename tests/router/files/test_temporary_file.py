"""Temporary files that a killed process left behind are deleted, and no others."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from router.files.disk import DISK, Disk
from router.files.temporary_file import TemporaryFile, remove_abandoned_files

LIKE = os.stat(__file__)


def killed(folder: Path) -> Path:
    """What a process leaves behind that is killed while it writes."""
    program = (
        "import os, signal, sys; from pathlib import Path\n"
        "from router.files.disk import DISK; from router.files.temporary_file import TemporaryFile\n"
        "TemporaryFile(Path(sys.argv[1]), b'half', os.stat(sys.argv[1]), DISK)\n"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    run = subprocess.run([sys.executable, "-c", program, str(folder)], check=False, cwd=Path(__file__).parents[3])
    assert run.returncode == -signal.SIGKILL
    [left] = folder.glob(".pointsman-*.part")
    return left


def test_what_a_killed_process_left_is_deleted(tmp_path: Path) -> None:
    """The next run in a folder tidies it."""
    killed(tmp_path)
    assert remove_abandoned_files(tmp_path) == 1
    assert not list(tmp_path.iterdir())


def test_a_draft_that_is_being_written_stays(tmp_path: Path) -> None:
    """Two runs in one folder don't disturb each other; nor is a file deleted that only looks like a temporary file."""
    (tmp_path / ".pointsman-mine.part").write_bytes(b"mine")
    (tmp_path / ".pointsman-0123456789ab.part").symlink_to(".pointsman-mine.part")
    with TemporaryFile(tmp_path, b"whole", LIKE, DISK) as temporary:
        assert remove_abandoned_files(tmp_path) == 0
        temporary.flush()
        temporary.close()
        assert remove_abandoned_files(tmp_path) == 0
        assert temporary.path.read_bytes() == b"whole"
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        ".pointsman-0123456789ab.part",
        ".pointsman-mine.part",
    ]


def test_a_draft_that_was_taken_for_abandoned_is_begun_again(tmp_path: Path) -> None:
    """Between its creation and its lock, somebody else may find it unlocked, and delete it."""

    class Hasty(Disk):
        """Somebody tidies the folder as soon as the first file is there."""

        hurried = False

        def create(self, path: Path, mode: int = 0o600) -> int:
            """Make the file, and lose it the first time."""
            handle = super().create(path, mode)
            if not self.hurried:
                self.hurried = True
                assert remove_abandoned_files(tmp_path) == 1
            return handle

    with TemporaryFile(tmp_path, b"whole", LIKE, Hasty()) as temporary:
        assert temporary.path.read_bytes() == b"whole"


def test_a_folder_that_is_gone_has_nothing_to_tidy(tmp_path: Path) -> None:
    """Tidying is never a reason to fail."""
    assert remove_abandoned_files(tmp_path / "gone") == 0


@pytest.mark.parametrize("in_place", [False, True])
def test_a_run_tidies_the_folders_of_its_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, in_place: bool
) -> None:
    """Whatever comes of its files; a dry run touches nothing."""
    from router.cli.main import main
    from tests.support.smf_bytes import one_track

    rules = tmp_path / "rules.toml"
    rules.write_text('[ports]\nseq = { input = true }\nout = { output = true }\n[[rules]]\nfrom = "seq"\nto = "out"\n')
    takes = tmp_path / "takes"
    takes.mkdir()
    (takes / "a.mid").write_bytes(one_track("00 90 3C 40 00 FF 2F 00"))
    left = killed(takes if in_place else tmp_path)
    monkeypatch.chdir(tmp_path)
    how = ["--in-place"] if in_place else ["-o", "b.mid"]
    source = "takes" if in_place else "takes/a.mid"
    assert main(["rewrite", "rules.toml", source, *how, "--dry-run"]) == 0
    assert left.exists()
    assert main(["rewrite", "rules.toml", source, *how]) == 0
    assert not left.exists()
