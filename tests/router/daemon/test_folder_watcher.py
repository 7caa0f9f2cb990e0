"""What is heard of changes in folders."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event

import pytest

from router.daemon.folder_watcher import Watcher
from router.daemon.watched_folders import watched_folders

LONG = 30.0
"""Seconds: far more than anything here takes, so that a busy machine fails no test."""


@contextmanager
def watching(folder: Path, lines: list[str] | None = None) -> Iterator[Event]:
    """Watches a folder; the event is set whenever something is heard."""
    heard, said = Event(), [] if lines is None else lines
    watcher = Watcher(heard.set, said.append)
    watcher.watch(watched_folders([str(folder)]))
    watcher.start()
    try:
        until_heard(heard, lambda: (folder / "first.toml").write_text(str(os.times())))
        yield heard
    finally:
        watcher.stop()


def until_heard(heard: Event, change: Callable[[], object]) -> None:
    """Changes something until it is heard: the watch may have to be set up first."""
    for _ in range(int(LONG)):
        change()
        if heard.wait(1):
            break
    assert heard.is_set()
    heard.clear()


@pytest.mark.parametrize("name", ["a.toml", ".git", "a.toml~", ".a.toml.swp"])
def test_changes_are_heard_under_any_name(tmp_path: Path, name: str) -> None:
    """Editors save under names of their own first, and none of them is overheard."""
    with watching(tmp_path) as heard:
        until_heard(heard, lambda: (tmp_path / name).write_bytes(os.urandom(4)))


def test_a_file_renamed_over_another_is_heard_every_time(tmp_path: Path) -> None:
    """The first save doesn't end the watch."""
    target, draft = tmp_path / "a.toml", tmp_path / "draft"

    def save() -> None:
        draft.write_bytes(os.urandom(4))
        draft.replace(target)

    with watching(tmp_path) as heard:
        for _ in range(3):
            until_heard(heard, save)


def test_other_folders_are_watched_when_they_are_wanted(tmp_path: Path) -> None:
    """The watch moves to where the files are now."""
    old, new = tmp_path / "old", tmp_path / "new"
    old.mkdir()
    new.mkdir()
    heard = Event()
    watcher = Watcher(heard.set, lambda line: None)
    watcher.watch(watched_folders([str(old)]))
    watcher.start()
    try:
        watcher.watch(watched_folders([str(new)]))
        until_heard(heard, lambda: (new / "a.toml").write_bytes(os.urandom(4)))
    finally:
        watcher.stop()


def test_what_stands_in_the_way_is_said_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that can't be watched is told, not again and again, and the thread lives on."""
    tried = Event()
    tries: list[int] = []

    def refuse(*_: object, **__: object) -> Iterator[None]:
        tries.append(1)
        if len(tries) == 3:
            tried.set()
        raise OSError("too many watches")
        yield

    monkeypatch.setattr("watchfiles.watch", refuse)
    monkeypatch.setattr("router.daemon.folder_watcher._SHORTEST_PAUSE_S", 0.0)
    lines: list[str] = []
    watcher = Watcher(lambda: None, lines.append)
    watcher.watch(watched_folders([str(tmp_path)]))
    watcher.start()
    assert tried.wait(LONG)
    watcher.stop()
    assert lines == [
        "the folders of the rule files can't be watched (too many watches): changes are noticed every 2 seconds"
    ]


def test_a_watcher_with_nothing_to_watch_stops(tmp_path: Path) -> None:
    """No folder at all is a state like any other."""
    watcher = Watcher(lambda: None, lambda line: None)
    watcher.watch(watched_folders([str(tmp_path / "gone" / "a.toml")]))
    watcher.start()
    watcher.stop()
    assert not watcher.is_alive
