"""The page's way to a daemon, and what becomes of it when that is gone, silent or strange."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Awaitable, Callable
from contextlib import aclosing
from pathlib import Path
from typing import Any

import pytest

from router.page import daemon_link
from router.page.daemon_link import DaemonLink
from rules.errors import MachineError
from tests.support.watched_daemon import WatchedDaemon


async def first(link: DaemonLink) -> dict[str, Any]:
    """The first line that is watched."""
    async with aclosing(link.watched()) as lines:
        return await anext(lines)


def test_what_is_asked_is_answered(daemon: WatchedDaemon) -> None:
    """Bytes as bytes, however many."""
    daemon.journal = bytes(range(256)) * 1_000
    assert asyncio.run(DaemonLink("pit").ask("last", seconds=5)) == {"journal": daemon.journal}


def test_a_refusal_is_raised(daemon: WatchedDaemon) -> None:
    """In the daemon's words."""
    daemon.refusal = "not now"
    with pytest.raises(MachineError, match=r"^not now$"):
        asyncio.run(DaemonLink("pit").ask("tap"))


ASKING: list[Callable[[DaemonLink], Awaitable[Any]]] = [lambda link: link.ask("tap"), first]


async def awaited(asking: Callable[[DaemonLink], Awaitable[Any]]) -> None:
    """Ask a daemon."""
    await asking(DaemonLink("pit"))


@pytest.mark.usefixtures("login")
@pytest.mark.parametrize("asking", ASKING, ids=["ask", "watch"])
def test_without_a_daemon_it_says_so(asking: Callable[[DaemonLink], Awaitable[Any]]) -> None:
    """With how to begin one."""
    with pytest.raises(MachineError, match=r'there is no daemon named "pit": begin with .* RULES --name pit$'):
        asyncio.run(awaited(asking))


@pytest.mark.parametrize("asking", ASKING, ids=["ask", "watch"])
@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (b"", "the daemon has ended"),
        (b'{"ok": true', "the daemon has ended"),
        (b"\xff\n", "the daemon has ended"),
        (b"7\n", "the daemon has ended"),
        (b'{"ok": false, "error": "eight programs watch"}\n', "eight programs watch"),
    ],
)
def test_a_strange_answer_is_no_answer(
    login: Path, asking: Callable[[DaemonLink], Awaitable[Any]], answer: bytes, words: str
) -> None:
    """The page goes on waiting for a daemon."""

    async def asked() -> None:
        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await reader.readline()
            writer.write(answer)
            writer.close()

        folder = login / "pointsman"
        folder.mkdir(mode=0o700)
        server = await asyncio.start_unix_server(serve, folder / "pit.sock")
        try:
            await awaited(asking)
        finally:
            server.close()

    with pytest.raises(MachineError, match=words):
        asyncio.run(asked())


@pytest.mark.parametrize("asking", ASKING, ids=["ask", "watch"])
def test_a_daemon_that_says_nothing_is_left(
    login: Path, asking: Callable[[DaemonLink], Awaitable[Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It can't run, or hangs."""
    monkeypatch.setattr(daemon_link, "_SILENCE_S", 0.05)
    folder = login / "pointsman"
    folder.mkdir(mode=0o700)
    with socket.socket(socket.AF_UNIX) as mute:
        mute.bind(str(folder / "pit.sock"))
        mute.listen()

        async def asked() -> None:
            await (DaemonLink("pit").ask("tap", patience_s=0.05) if asking is ASKING[0] else awaited(asking))

        with pytest.raises(MachineError, match="answer"):
            asyncio.run(asked())
