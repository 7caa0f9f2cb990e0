"""The real .mid files that the tests read: what scripts/fetching/fetch-corpora puts into .cache/corpora.

Their names come from the list of hashes that is kept with the tests, so the tests are the same whether the files are
there or not; a missing file makes its test fail, and is never passed over.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

HASHES = Path(__file__).parents[1] / "corpora/files.sha256"
FOLDER = Path(os.environ.get("POINTSMAN_CORPORA") or Path(__file__).parents[2] / ".cache/corpora")


@dataclass(frozen=True, slots=True)
class CorpusFile:
    """One file of the corpora. `name` is its path inside them (`short/02.mid`), `sha256` its hash in hex."""

    name: str
    sha256: str

    @property
    def path(self) -> Path:
        """Return where the file is. Raises AssertionError, saying what to do, when it isn't there."""
        path = FOLDER / self.name
        assert path.is_file(), f"{path} is missing: run scripts/fetching/fetch-corpora"
        return path

    def read(self) -> bytes:
        """Return the file's bytes. Raises AssertionError, saying what to do, when it isn't there."""
        return self.path.read_bytes()

    def __str__(self) -> str:
        return self.name


def files(*folders: str) -> list[CorpusFile]:
    """Return the files of the named corpora (songs, short, invalid, fixtures), of all four if none is named.

    Made for parametrising: `@pytest.mark.parametrize("file", corpora.files("songs"), ids=str)`.
    """
    listed = [line.split(maxsplit=1) for line in HASHES.read_text(encoding="ascii").splitlines()]
    every = [CorpusFile(name, sha256) for sha256, name in listed]
    return [file for file in every if not folders or file.name.split("/")[0] in folders]
