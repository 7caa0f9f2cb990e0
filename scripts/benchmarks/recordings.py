"""Real recordings to measure with: the corpora that the tests read."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from rules.smf.midi_file import read
from tests.support import corpora

Played = tuple[int, bytes]
"""Tick and message."""


def songs(quick: bool) -> list[bytes]:
    """The files of the folder `songs`, or a few of them."""
    return [file.read() for file in corpora.files("songs")[:: 6 if quick else 1]]


def channel_messages(quick: bool) -> list[list[Played]]:
    """For each real song its channel messages, by tick, then by track."""
    files = corpora.files("songs", "short")[:: 6 if quick else 1]
    return [_channel_messages(file.read()) for file in files]


def _channel_messages(data: bytes) -> list[Played]:
    file = read(data)
    found = [
        (tick, message) for track in file.tracks for tick, _, _, _, message in file.events(track) if message[0] < 0xF0
    ]
    return sorted(found, key=lambda played: played[0])


def events(paths: Iterable[Path]) -> int:
    """How many events these files hold, meta events too."""
    files = (read(path.read_bytes()) for path in paths)
    return sum(1 for file in files for track in file.tracks for _ in file.events(track))
