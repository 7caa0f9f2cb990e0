"""The page over real sockets, and those who mean it no good."""

from __future__ import annotations

import json
import socket
import threading
from contextlib import suppress

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus

from router.page import connections, guard
from router.page.access import Access
from router.page.browsers import MOST_OF_ADDRESS
from tests.support.page_rig import PageRig, page_of
from tests.support.watched_daemon import WatchedDaemon


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1:1"])
def test_a_page_under_another_name_is_refused(page: PageRig, host: str) -> None:
    """Its own files too."""
    for path in ("/", "/static/page.js", "/nothing"):
        answer, body = page.get(path, Host=host)
        assert answer.status == 403
        assert b"<" not in body


def test_a_websocket_of_another_page_is_refused(page: PageRig) -> None:
    """Before anything is said; the daemon never hears of it."""
    for origin in ("http://evil.example", "null", f"http://localhost:{page.port}"):
        with pytest.raises(InvalidStatus) as refused:
            page.browser(origin=origin)
        assert refused.value.response.status_code == 403


def test_a_shared_page_needs_its_token(shared: PageRig) -> None:
    """Page and WebSocket; with it, both are as usual."""
    assert shared.get("/")[0].status == 403
    assert shared.get("/?token=wrong")[0].status == 403
    for query in ("", "?token=wrong"):
        with pytest.raises(InvalidStatus):
            shared.browser(query)
    answer, _ = shared.get("/?token=clef-and-stave")
    assert answer.status == 200
    cookie = (answer.getheader("set-cookie") or "").partition(";")[0]
    assert shared.get("/", Cookie=cookie)[0].status == 200
    for browser in (shared.browser("?token=clef-and-stave"), shared.browser(Cookie=cookie)):
        assert browser.next("state")["state"]["name"] == "pit"
        browser.close()


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_the_page_can_only_be_read(page: PageRig, method: str) -> None:
    """No form and no preflight of another page gets anywhere."""
    answer, _ = page.get("/", method)
    assert answer.status == 405
    assert answer.getheader("access-control-allow-origin") is None


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py",
        "/static/%2e%2e/server.py",
        "/static/..%2fserver.py",
        "/static//etc/passwd",
        "/static/%00",
        "/static/",
        "/server.py",
        "//evil.example/",
        "/live",
    ],
)
def test_only_files_of_the_page_are_served(page: PageRig, path: str) -> None:
    """However the way to another one is written."""
    answer, body = page.get(path)
    assert answer.status in (400, 404)
    assert b"import" not in body


def test_every_answer_has_the_headers_that_keep_others_out(page: PageRig) -> None:
    """Refusals and errors as well; and none says what serves it."""
    for path, host in (("/", page.host), ("/nothing", page.host), ("/", "evil.example")):
        answer, _ = page.get(path, Host=host)
        assert "frame-ancestors 'none'" in (answer.getheader("content-security-policy") or "")
        assert answer.getheader("x-frame-options") == "DENY"
        assert answer.getheader("cross-origin-resource-policy") == "same-origin"
        assert answer.getheader("server") is None


def test_too_many_requests_are_refused_for_a_while(daemon: WatchedDaemon, monkeypatch: pytest.MonkeyPatch) -> None:
    """In words; browsers that are there see on."""
    monkeypatch.setattr(guard, "_A_SECOND", 0.001)  # else a slow computer asks too seldom
    with page_of(daemon.name, Access()) as page, page.browser() as browser:
        browser.next("state")
        statuses = [page.get("/")[0].status for _ in range(110)]
        assert statuses == [200] * 99 + [429] * 11
        assert browser.order(do="panic")["ok"]


HOSTILE = [
    "",
    "panic",
    "[]",
    "{}",
    '{"id": 1}',
    '{"id": "1", "do": "panic"}',
    '{"id": 1, "do": ["panic"]}',
    '{"id": 1, "do": "exec", "name": "rm"}',
    '{"id": 1, "do": "switch", "name": {"a": 1}, "value": true}',
    '{"id": 1, "do": "switch", "name": "giant", "value": 1e400}',
    '{"id": 1, "do": "switch", "name": "giant", "value": null}',
    '{"id": 1, "do": "switch", "name": "giant", "value": 99999999999999999999}',
    '{"id": 1, "do": "save", "minutes": 1e9}',
    '{"id": 1, "do": "save", "minutes": true}',
    '{"id": 1, "do": "save", "minutes": -5}',
    '{"id": 1, "do": "through"}',
    '{"id": 1, "do": "through", "from": 5}',
    '{"id": 1, "do": "clock", "command": 7}',
    "[" * 900,
]


@pytest.mark.parametrize("text", HOSTILE)
def test_what_is_no_order_is_refused_in_words(control: PageRig, daemon: WatchedDaemon, text: str) -> None:
    """The daemon isn't asked, and the next order is carried out."""
    browser = control.browser()
    browser.next("state")
    browser.socket.send(text)
    answer = browser.next("answer")
    assert not answer["ok"]
    assert answer["error"]
    assert browser.order(do="panic")["ok"]
    assert daemon.asked == [("panic", {})]
    browser.close()


@pytest.mark.parametrize("data", ["x" * 3_000, "x" * 100_000, b"\x00\x01"])
def test_a_browser_that_sends_what_no_page_sends_is_left(page: PageRig, data: str | bytes) -> None:
    """Too much at once, and bytes."""
    browser = page.browser()
    browser.next("state")
    with pytest.raises(ConnectionClosed):  # noqa: PT012 - it may be noticed at the next turn only
        browser.socket.send(data)
        while True:
            browser.next()
    browser.close()


def test_a_browser_that_asks_without_end_is_left_and_others_see_on(page: PageRig, daemon: WatchedDaemon) -> None:
    """The daemon hears of a part of it at most."""
    other = page.browser()
    browser = page.browser()
    browser.next("state")
    with pytest.raises(ConnectionClosed):  # noqa: PT012 - it may be noticed at the next turn only
        for number in range(2_000):
            browser.socket.send(json.dumps({"id": number, "do": "panic"}))
        while True:
            browser.next()
    assert len(daemon.asked) <= 60
    assert other.order(do="panic")["ok"]
    for one in (browser, other):
        one.close()


def test_panic_has_room_where_a_browser_has_asked_for_too_much_else(page: PageRig, daemon: WatchedDaemon) -> None:
    """Whoever turns knobs too fast can still silence everything."""
    browser = page.browser()
    browser.next("state")
    for number in range(60):
        browser.socket.send(json.dumps({"id": -number, "do": "tap"}))
    browser.socket.send(json.dumps({"id": 99, "do": "panic"}))
    answers = {answer["id"]: answer for answer in (browser.next("answer") for _ in range(61))}
    assert answers[99]["ok"]
    assert "too much at once: try again in a second" in {answer["error"] for answer in answers.values()}
    assert daemon.asked == [("panic", {})]
    browser.close()


def test_there_is_room_for_so_many_browsers_of_one_device(page: PageRig) -> None:
    """One more is told to try later; where one leaves, there is room again."""
    browsers = [page.browser() for _ in range(MOST_OF_ADDRESS)]
    for browser in browsers:
        browser.next("state")
    late = page.browser()
    with pytest.raises(ConnectionClosed) as told:
        late.next()
    assert told.value.rcvd is not None
    assert told.value.rcvd.code == 1013
    late.close()
    browsers.pop().close()
    pause = threading.Event()
    for _ in range(500):
        with page.browser() as again:
            try:
                again.next("state")
                break
            except ConnectionClosed:
                pause.wait(0.01)
    else:
        raise AssertionError("there is never room")
    for browser in browsers:
        browser.close()


def test_a_connection_that_says_nothing_is_left(page: PageRig, monkeypatch: pytest.MonkeyPatch) -> None:
    """So is one that begins a request and never ends it."""
    monkeypatch.setattr(connections, "FIRST_REQUEST_S", 0.05)
    for begun in (b"", b"GET / HTTP/1.1\r\nHost: "):
        with socket.create_connection(("127.0.0.1", page.port), 20) as line:
            line.sendall(begun)
            with suppress(ConnectionResetError):
                assert line.recv(100) == b""
    assert page.get("/")[0].status == 200


def test_one_device_keeps_only_so_many_connections(page: PageRig) -> None:
    """The others are closed at once."""
    lines = [socket.create_connection(("127.0.0.1", page.port), 20) for _ in range(connections.MOST_OF_ADDRESS + 20)]
    closed = 0
    for line in lines[connections.MOST_OF_ADDRESS :]:
        line.settimeout(20)
        try:
            closed += line.recv(1) == b""
        except ConnectionResetError:
            closed += 1
    assert closed == 20
    for line in lines:
        line.close()


@pytest.mark.parametrize(
    "raw",
    [
        b"\x00" * 100,
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\n" + b"A: " + b"b" * 200_000 + b"\r\n\r\n",
        b"CONNECT evil.example:443 HTTP/1.1\r\nHost: evil.example:443\r\n\r\n",
    ],
)
def test_what_is_no_request_gets_no_page(page: PageRig, raw: bytes) -> None:
    """The next browser is served as usual."""
    with socket.create_connection(("127.0.0.1", page.port), 20) as line:
        answer = b""
        try:
            line.sendall(raw)
            line.shutdown(socket.SHUT_WR)
            while data := line.recv(65_536):
                answer += data
        except OSError:
            pass
    assert not answer.startswith(b"HTTP/1.1 200")
    assert page.get("/")[0].status == 200
