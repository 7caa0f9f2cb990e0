"""The page's server on a port of this computer, and browsers that are programs."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from http.client import HTTPConnection, HTTPResponse
from typing import Any

import uvicorn
from websockets.sync.client import ClientConnection, connect
from websockets.typing import Origin

from router.page.access import Access
from router.page.process import server_config
from router.page.server import PageServer

PATIENCE_S = 20.0


class PageRig:
    """A running server; `port` is where it listens."""

    def __init__(self, name: str, access: Access) -> None:
        self.access = access
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.server = uvicorn.Server(server_config(PageServer(name, access).app()))
        self._thread = threading.Thread(target=self.server.run, args=([self._listener],), daemon=True)

    @property
    def host(self) -> str:
        """The address of the page."""
        return f"127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start, and wait until it answers."""
        self._thread.start()
        pause = threading.Event()
        while not self.server.started:
            assert self._thread.is_alive()
            pause.wait(0.01)

    def stop(self) -> None:
        """Stop, and wait for the end."""
        self.server.should_exit = True
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive()
        self._listener.close()

    def get(self, path: str = "/", method: str = "GET", **headers: str) -> tuple[HTTPResponse, bytes]:
        """Ask for something; the answer and its body."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            connection.request(method, path, headers={"Host": self.host, **headers})
            answer = connection.getresponse()
            return answer, answer.read()
        finally:
            connection.close()

    def browser(self, query: str = "", origin: str | None = None, **headers: str) -> Browser:
        """Open the page's WebSocket."""
        own = f"http://{self.host}" if origin is None else origin
        address = f"ws://{self.host}/live{query}"
        opened = ExitStack()
        line = connect(address, origin=Origin(own), additional_headers=headers, proxy=None, max_size=None)
        return Browser(opened.enter_context(line), opened)


class Browser:
    """A browser at the page, as far as it is a WebSocket."""

    def __init__(self, socket: ClientConnection, opened: ExitStack) -> None:
        self.socket = socket
        self._opened = opened
        self._asked = 0

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def next(self, kind: str | None = None) -> dict[str, Any]:
        """The next message, or the next of a kind."""
        while True:
            told: dict[str, Any] = json.loads(self.socket.recv(PATIENCE_S))
            if kind is None or told["type"] == kind:
                return told

    def next_change(self, of: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The next change that fits."""
        while True:
            change: dict[str, Any] = self.next("change")["change"]
            if of(change):
                return change

    def next_log(self) -> dict[str, Any]:
        """The next messages and lines of the log, where there are any."""
        while True:
            told = self.next("log")
            if told["log"]:
                return told

    def order(self, **order: Any) -> dict[str, Any]:
        """Ask for something, and return the answer."""
        self._asked += 1
        self.socket.send(json.dumps({"id": self._asked, **order}))
        answer = self.next("answer")
        assert answer["id"] == self._asked
        return answer

    def close(self) -> None:
        """Leave."""
        self._opened.close()


@contextmanager
def page_of(name: str, access: Access) -> Iterator[PageRig]:
    """A page of a daemon, for as long as a test needs it."""
    rig = PageRig(name, access)
    rig.start()
    try:
        yield rig
    finally:
        rig.stop()
