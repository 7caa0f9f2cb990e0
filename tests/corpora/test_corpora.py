"""The real files are there, are the ones that were meant, and are missed aloud."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from tests.support import corpora


@pytest.mark.parametrize(("folder", "count"), [("songs", 31), ("short", 12), ("invalid", 5), ("fixtures", 12)])
def test_number_of_files(folder: str, count: int) -> None:
    """Each corpus holds as many files as its package has."""
    assert len(corpora.files(folder)) == count


def test_all_corpora() -> None:
    """Naming no corpus gives all of them."""
    assert len(corpora.files()) == 60


@pytest.mark.parametrize("file", corpora.files(), ids=str)
def test_files_are_unchanged(file: corpora.CorpusFile) -> None:
    """Each file is byte for byte the one that the tests were written for."""
    assert hashlib.sha256(file.read()).hexdigest() == file.sha256


@pytest.mark.parametrize(
    ("name", "sha256"),
    [
        ("fixtures/MIDIOkFormat0.mid", "9c512dc6fc73b8bef93a39c93142b7e828cfe51bf5340b84fe0fc87f0b8536ed"),
        ("fixtures/MIDIBadFormat1.mid", "83ba1f523c7d4591f9c190d76f5fc62e04c3eb0b4a87132e03067224061729c7"),
    ],
)
def test_fixtures_are_the_example_files(name: str, sha256: str) -> None:
    """Two fixtures are the example files of Standard MIDI Files 1.0 (RP-001), byte for byte."""
    assert [file.sha256 for file in corpora.files("fixtures") if file.name == name] == [sha256]


def test_missing_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that was not fetched fails the test that wants it, and the message says what to run."""
    monkeypatch.setattr(corpora, "FOLDER", tmp_path)
    with pytest.raises(AssertionError, match=r"04\.mid is missing: run scripts/fetching/fetch-corpora"):
        corpora.CorpusFile("songs/04.mid", "").read()
