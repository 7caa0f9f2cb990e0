"""Fixtures: a JACK server, other programs on it, and a router between them."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.live.daemon import Daemon
from tests.live.peer import Peer
from tests.live.server import JackServer
from tests.live.thru import Thru

FOLDER = Path(__file__).parent


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the live tests from running side by side: sound servers that share a busy computer drop what is played."""
    for item in items:
        if FOLDER in item.path.parents:
            item.add_marker(pytest.mark.xdist_group("live"))


@pytest.fixture
def jack() -> Iterator[JackServer]:
    """A server of its own for one test."""
    with JackServer.running() as server:
        yield server


@pytest.fixture
def peer(jack: JackServer) -> Iterator[Callable[..., Peer]]:
    """Start another program with one port: `peer("Pit Keyboard", "out")`."""
    peers: list[Peer] = []

    def start(client: str, kind: str, port: str = "port") -> Peer:
        peers.append(Peer(jack.environment, client, kind, port))
        return peers[-1]

    yield start
    for one in peers:
        one.kill()


@pytest.fixture
def thru(jack: JackServer) -> Iterator[Callable[..., Thru]]:
    """Start a program of ours that passes everything from its inputs on to its outputs."""
    started: list[Thru] = []

    def start(*ports: str) -> Thru:
        started.append(Thru(jack.environment, *ports))
        return started[-1]

    yield start
    for one in started:
        one.kill()


@pytest.fixture
def daemon(jack: JackServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Daemon]]:
    """Start the daemon with rules: `daemon(RULES, "--record", "takes")`."""
    started: list[Daemon] = []
    with tempfile.TemporaryDirectory() as sockets:  # their names must be short
        monkeypatch.setenv("XDG_RUNTIME_DIR", sockets)
        jack.environment["XDG_RUNTIME_DIR"] = sockets

        def start(rules: str, *options: str, **more: Any) -> Daemon:
            started.append(Daemon(jack.environment, tmp_path, rules, *options, **more))
            return started[-1]

        yield start
        for one in started:
            one.kill()
