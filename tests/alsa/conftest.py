"""Fixtures: other programs on the ALSA sequencer, and a router between them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

import pytest

from tests.live.peer import SYSTEM, Peer
from tests.live.thru import Thru

ENVIRONMENT = {**os.environ, SYSTEM: "alsa"}


@pytest.fixture
def peer() -> Iterator[Callable[..., Peer]]:
    """Start another program with one port: `peer("Stage 88", "out")`."""
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
