"""What the tests of the router share."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.router.recordings import Desk


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Desk:
    """A folder of its own, the current one, in which the command is run."""
    monkeypatch.chdir(tmp_path)
    return Desk(tmp_path, capsys)


@pytest.fixture(autouse=True)
def _usual_collecting() -> Iterator[None]:
    """The command collects garbage more rarely, which is for a process of its own: the next test finds it as usual."""
    thresholds = gc.get_threshold()
    yield
    gc.set_threshold(*thresholds)
