"""What the tests of the router share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.router.recordings import Desk


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Desk:
    """A folder of its own, the current one, in which the command is run."""
    monkeypatch.chdir(tmp_path)
    return Desk(tmp_path, capsys)
