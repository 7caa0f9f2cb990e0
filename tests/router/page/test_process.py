"""The command `page` as a process: what it says, and how it ends."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path

import pytest

from router.page import process
from router.page.page_settings import PageSettings
from router.page.process import serve_page
from router.text.usage import UsageError
from rules.errors import MachineError
from tests.support.watched_daemon import WatchedDaemon

ROOT = Path(__file__).parents[3]


def free_port() -> int:
    """A port that nobody has just now."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])


@contextmanager
def started(*options: str) -> Iterator[tuple[subprocess.Popen[str], list[str]]]:
    """The command, once it has said where the page is; and what it said."""
    page = subprocess.Popen(
        [sys.executable, "-m", "router", "page", *options],
        cwd=ROOT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert page.stdout is not None
    said: list[str] = []
    for line in page.stdout:
        said.append(line.rstrip("\n"))
        if "Ctrl-C" in line:
            break
    try:
        yield page, said
    finally:
        page.kill()
        page.wait()
        page.stdout.close()


def answered(port: int, path: str) -> int:
    """The status of an answer."""
    line = HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        line.request("GET", path)
        return line.getresponse().status
    finally:
        line.close()


@pytest.mark.usefixtures("login")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_says_where_the_page_is_and_ends_when_it_is_told_to(number: signal.Signals) -> None:
    """On this computer alone. There need be no daemon yet."""
    port = free_port()
    with started("--port", str(port)) as (page, said):
        assert said == [
            'The page of the daemon "pointsman":',
            f"  http://127.0.0.1:{port}/",
            "",
            'There is no daemon named "pointsman": begin with pointsman run RULES. The page waits for it.',
            "The page only shows, and can silence everything. To allow more, add --control.",
            "Ctrl-C ends the page; the daemon plays on.",
        ]
        assert answered(port, "/") == 200
        page.send_signal(number)
        assert page.wait(20) == 0
        assert page.stdout is not None
        assert page.stdout.read() == ""


def test_a_daemon_of_another_name_is_pointed_out(daemon: WatchedDaemon) -> None:
    """Whoever mistypes the name would wait for ever; where the daemon runs there is nothing to say."""
    with started("--port", str(free_port()), "--name", "stage") as (_, said):
        assert said[3] == (
            'There is no daemon named "stage", but --name pit: begin with pointsman run RULES --name stage. '
            "The page waits for it."
        )
    with started("--port", str(free_port()), "--name", daemon.name) as (_, said):
        assert said[2:4] == ["", "The page only shows, and can silence everything. To allow more, add --control."]


@pytest.mark.usefixtures("login")
def test_a_shared_page_has_a_new_token_each_time() -> None:
    """Long enough that nobody guesses it; without it there is no page."""
    tokens = []
    for _ in range(2):
        port = free_port()
        with started("--port", str(port), "--share", "--control") as (_, said):
            (token,) = {found for line in said for found in re.findall(r"\?token=(\S+)", line)} or {""}
            assert answered(port, "/") == 403
            assert not token or answered(port, f"/?token={token}") == 200
            tokens.append(token)
    if tokens[0]:  # this computer is in a network
        assert tokens[0] != tokens[1]
        assert all(len(token) >= 22 for token in tokens)


@pytest.mark.usefixtures("login")
def test_a_port_that_is_in_use_is_said_in_words() -> None:
    """With what to do about it."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(MachineError, match=f"can't use port {port}: .*Add --port with another"):
            serve_page(PageSettings(port=port))


def test_a_missing_package_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """With what installs it."""
    monkeypatch.setattr(process, "find_spec", lambda name: None if name in ("uvicorn", "segno") else name)
    with pytest.raises(MachineError) as raised:
        serve_page(PageSettings())
    assert str(raised.value) == (
        "the page needs packages that aren't installed: uvicorn, segno. Install Pointsman with them, in its folder: "
        "pipx install --force '.[page]'"
    )


@pytest.mark.usefixtures("login")
def test_a_name_that_no_daemon_can_have_is_refused() -> None:
    """Before anything is opened."""
    with pytest.raises(UsageError, match="--name"):
        serve_page(PageSettings(name="../pit", port=free_port()))
