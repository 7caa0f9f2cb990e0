"""What tests of the page share."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from router.page.access import Access
from tests.support.page_rig import PageRig, page_of
from tests.support.watched_daemon import WatchedDaemon


@pytest.fixture
def login(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Path]:
    """A runtime folder with a path that is short enough for sockets, and a folder for takes."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    with tempfile.TemporaryDirectory() as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        yield Path(folder)


@pytest.fixture
def daemon(login: Path) -> Iterator[WatchedDaemon]:
    """A daemon that a test plays."""
    daemon = WatchedDaemon()
    daemon.start()
    yield daemon
    daemon.stop()


@pytest.fixture
def page(daemon: WatchedDaemon) -> Iterator[PageRig]:
    """The page of that daemon, which only shows."""
    with page_of(daemon.name, Access()) as rig:
        yield rig


@pytest.fixture
def control(daemon: WatchedDaemon) -> Iterator[PageRig]:
    """The page of that daemon, which may do everything."""
    with page_of(daemon.name, Access(may_control=True)) as rig:
        yield rig


@pytest.fixture
def shared(daemon: WatchedDaemon) -> Iterator[PageRig]:
    """The page of that daemon, for those who know the token."""
    with page_of(daemon.name, Access(token="clef-and-stave")) as rig:
        yield rig
