"""A program that serves the page as `pointsman page` does, and says to it what a test wants it to say.

So a browser can be shown states that a daemon is rarely in: hostile names, forty rules, a cable that is gone.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import urlsplit

from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response
from websockets.sync.server import Server, ServerConnection, serve

from router.page.access import Access
from router.page.server import STATIC

_KINDS: Final = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
PATIENCE_S: Final = float(os.environ.get("POINTSMAN_TEST_PATIENCE", "20"))

Answer = Callable[[Mapping[str, Any]], Mapping[str, Any]]
"""What is answered to a question, besides its id: {"ok": true, "error": null, "data": {}}."""


def fine(question: Mapping[str, Any]) -> Mapping[str, Any]:
    """Answer that it is done."""
    return {"ok": True, "error": None, "data": {}}


class PageServer:
    """Serves the page on a port of its own, the same one after `stop` and `start`.

    `state` is what a browser gets when it connects; `asked` is what browsers have asked so far, without the ids;
    `answer` makes the answers. `sent` counts the bytes of the files that were sent. While it `is_mute`, lines stay open
    and nothing goes out, as in a network that is gone; where the address isn't valid, it lets nobody in.
    """

    def __init__(self, state: Mapping[str, Any], *, may_control: bool = True) -> None:
        self.state: dict[str, Any] = dict(state)
        self.may_control = may_control
        self.asked: list[dict[str, Any]] = []
        self.answer: Answer = fine
        self.sent = 0
        self.is_valid = True
        self.is_mute = False
        self._guard = threading.Lock()
        self._heard = threading.Condition()
        self._lines: list[ServerConnection] = []
        self._port = 0
        self._server: Server | None = None
        self._threads: list[threading.Thread] = []

    def __enter__(self) -> PageServer:
        self.start()
        return self

    def __exit__(self, *error: object) -> None:
        self.stop()

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://127.0.0.1:{self._port}/"

    def start(self) -> None:
        """Serve from now on."""
        self._server = serve(self._attend, "127.0.0.1", self._port, process_request=self._serve_file)
        self._port = self._server.socket.getsockname()[1]
        serving = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._threads = [serving, threading.Thread(target=self._live, args=(self._server,), daemon=True)]
        self._beat = threading.Event()
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End every line, as a program that is killed does."""
        if self._server is None:
            return
        server, self._server = self._server, None
        self._beat.set()
        server.shutdown()
        with self._guard:
            lines = list(self._lines)
        for line in lines:
            line.close()
        for thread in self._threads:
            thread.join()

    def change(self, **change: Any) -> None:
        """Say that something in the state has changed."""
        self.state.update(change)
        self.say({"type": "change", "change": change})

    def say(self, message: Mapping[str, Any]) -> None:
        """Send a message to every browser."""
        text = json.dumps(message)
        with self._guard:
            if self.is_mute:
                return
            for line in self._lines:
                line.send(text)

    def has_asked(self, amount: int) -> list[dict[str, Any]]:
        """Wait until so much was asked; all that was asked so far."""
        with self._heard:
            assert self._heard.wait_for(lambda: len(self.asked) >= amount, PATIENCE_S), self.asked
            return list(self.asked)

    def was_asked(self, *questions: Mapping[str, Any]) -> None:
        """Wait for questions; nothing else may have been asked."""
        assert self.has_asked(len(questions)) == list(questions)

    def _live(self, server: Server) -> None:
        """Give a sign of life now and then."""
        while not self._beat.wait(0.5):
            try:
                self.say({"type": "change", "change": {}})
            except ConnectionClosed:
                continue

    def _attend(self, line: ServerConnection) -> None:
        with self._guard:
            if not self.is_mute:
                line.send(json.dumps({"type": "state", "state": self.state, "may_control": self.may_control}))
            self._lines.append(line)
        try:
            for text in line:
                if self.is_mute:
                    continue
                question = json.loads(text)
                number = question.pop("id")
                with self._heard:
                    self.asked.append(question)
                    self._heard.notify_all()
                line.send(json.dumps({"type": "answer", "id": number, **self.answer(question)}))
        except ConnectionClosed:
            pass
        finally:
            with self._guard:
                self._lines.remove(line)

    def _serve_file(self, line: ServerConnection, request: Request) -> Response | None:
        path = urlsplit(request.path).path
        if not self.is_valid:
            return Response(HTTPStatus.FORBIDDEN, "Forbidden", Headers({"Content-Length": "0"}), b"")
        if path == "/live":
            return None
        file = STATIC / ("index.html" if path == "/" else path.removeprefix("/static/"))
        if file.parent != STATIC or not file.is_file():
            return Response(HTTPStatus.NOT_FOUND, "Not Found", Headers({"Content-Length": "0"}), b"")
        body = file.read_bytes()
        self.sent += len(body)
        scope = {
            "server": ("127.0.0.1", self._port),
            "headers": [(b"host", request.headers["Host"].encode())],
            "path": path,
        }
        headers = Headers((name.decode(), value.decode()) for name, value in Access().headers(scope))
        headers["Content-Type"] = f"{_KINDS[file.suffix]}; charset=utf-8"
        headers["Content-Length"] = str(len(body))
        headers["Connection"] = "close"
        return Response(HTTPStatus.OK, "OK", headers, body)
