"""Fixtures: other programs on the ALSA sequencer, and a router between them."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.live.daemon import Daemon
from tests.live.peer import SYSTEM, Peer
from tests.live.thru import Thru

ENVIRONMENT = {**os.environ, SYSTEM: "alsa"}


@pytest.fixture
def peer() -> Iterator[Callable[..., Peer]]:
    """Start another program with one port: `peer("Pit Keyboard", "out")`."""
    peers: list[Peer] = []

    def start(client: str, kind: str, port: str = "port") -> Peer:
        peers.append(Peer(ENVIRONMENT, client, kind, port))
        return peers[-1]

    yield start
    for one in peers:
        one.kill()


@pytest.fixture
def thru() -> Iterator[Callable[..., Thru]]:
    """Start a program of ours that passes everything from its inputs on to its outputs."""
    started: list[Thru] = []

    def start(*ports: str) -> Thru:
        started.append(Thru(ENVIRONMENT, *ports))
        return started[-1]

    yield start
    for one in started:
        one.kill()


@pytest.fixture
def daemon(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Daemon]]:
    """Start the daemon with rules, on the MIDI system that it takes of itself."""
    started: list[Daemon] = []
    with tempfile.TemporaryDirectory() as sockets:  # their names must be short
        monkeypatch.setenv("XDG_RUNTIME_DIR", sockets)

        def start(rules: str) -> Daemon:
            started.append(Daemon({**ENVIRONMENT, "XDG_RUNTIME_DIR": sockets}, tmp_path, rules))
            return started[-1]

        yield start
        for one in started:
            one.kill()
