"""Who may see the page: addresses, origins and tokens, good ones and hostile ones."""

from __future__ import annotations

from typing import Any

import pytest

from router.page.access import Access

Headers = list[tuple[bytes, bytes]]
HERE = ("127.0.0.1", 8765)
HOTSPOT = ("10.42.0.1", 8765)
TOKEN = "clef-and-stave"


def request(
    host: str | None = "127.0.0.1:8765",
    *,
    kind: str = "http",
    path: str = "/",
    query: str = "",
    server: tuple[str, int] = HERE,
    more: Headers | None = None,
) -> dict[str, Any]:
    """A request as the web server describes it."""
    headers: Headers = [] if host is None else [(b"host", host.encode())]
    return {
        "type": kind,
        "path": path,
        "query_string": query.encode(),
        "server": server,
        "headers": headers + (more or []),
    }


def live(host: str = "127.0.0.1:8765", origin: str | None = "http://127.0.0.1:8765", query: str = "") -> dict[str, Any]:
    """The beginning of a WebSocket."""
    return request(
        host, kind="websocket", path="/live", query=query, more=[] if origin is None else [(b"origin", origin.encode())]
    )


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765", "LOCALHOST:8765"])
def test_on_this_computer_the_page_has_two_names(host: str) -> None:
    """Its address, and localhost."""
    assert Access().refusal(request(host)) is None


@pytest.mark.parametrize(
    "host",
    [
        "evil.example:8765",
        "evil.example",
        "127.0.0.1.evil.example:8765",
        "localhost.evil.example:8765",
        "127.0.0.1",
        "127.0.0.1:80",
        "127.0.0.1:8766",
        "127.0.0.2:8765",
        "10.42.0.1:8765",
        "0.0.0.0:8765",
        "[::1]:8765",
        "127.1:8765",
        "2130706433:8765",
        "0x7f.0.0.1:8765",
        "evil@127.0.0.1:8765",
        "127.0.0.1:8765@evil.example",
        "127.0.0.1:8765/evil",
        "127.0.0.1:8765#",
        "127.0.0.1:87650",
        "127.0.0.1:x",
        "[:8765",
        "",
        "\x00",
    ],
)
def test_a_name_that_somebody_else_leads_here_is_refused(host: str) -> None:
    """A browser would take the page of that name for ours: DNS rebinding."""
    words = Access().refusal(request(host))
    assert words is not None
    assert words.startswith("This isn't an address of Pointsman's page.")


def test_a_request_needs_one_host() -> None:
    """Neither none nor two."""
    assert Access().refusal(request(None)) is not None
    assert Access().refusal(request(more=[(b"host", b"127.0.0.1:8765")])) is not None


def test_in_a_network_the_page_has_the_address_that_was_reached() -> None:
    """No name, not even localhost: that would be another computer's."""
    assert Access().refusal(request("10.42.0.1:8765", server=HOTSPOT)) is None
    assert Access().refusal(request("localhost:8765", server=HOTSPOT)) is not None
    assert Access().refusal(request("192.168.1.7:8765", server=HOTSPOT)) is not None


def test_on_the_usual_port_an_address_needs_no_number() -> None:
    """Browsers leave it out."""
    assert Access().refusal(request("127.0.0.1", server=("127.0.0.1", 80))) is None


@pytest.mark.parametrize(
    "origin",
    [
        None,
        "null",
        "http://evil.example",
        "http://127.0.0.1",
        "http://127.0.0.1:8766",
        "https://127.0.0.1:8765",
        "http://localhost:8765",
        "http://127.0.0.1:8765.evil.example",
        "http://127.0.0.1:8765/",
        "HTTP://127.0.0.1:8765",
        "",
    ],
)
def test_a_websocket_of_another_page_is_refused(origin: str | None) -> None:
    """Browsers let every page open one to anywhere, and say which page it was."""
    assert Access().refusal(live(origin=origin)) == (
        "Another web page has asked for this. Only Pointsman's own page may.\n"
    )


def test_a_websocket_of_our_own_page_is_let_in() -> None:
    """By either name, as long as the page has the same."""
    assert Access().refusal(live()) is None
    assert Access().refusal(live("localhost:8765", "http://localhost:8765")) is None


def test_a_websocket_has_one_origin() -> None:
    """Two are a trick."""
    scope = live()
    scope["headers"].append((b"origin", b"http://evil.example"))
    assert Access().refusal(scope) is not None


@pytest.mark.parametrize("query", ["token=clef-and-stave", "a=b&token=clef-and-stave"])
def test_a_shared_page_is_for_those_who_know_the_token(query: str) -> None:
    """In the address, for the page and for its WebSocket."""
    access = Access(token=TOKEN)
    assert access.refusal(request(query=query)) is None
    assert access.refusal(live(query=query)) is None


@pytest.mark.parametrize(
    "query",
    [
        "",
        "token=",
        "token=clef",
        "token=clef-and-stave-",
        "token=%C3%A9",
        "Token=clef-and-stave",
        "token=x" * 500,
        "&" * 99,
    ],
)
def test_a_wrong_token_opens_nothing(query: str) -> None:
    """Neither the page nor its WebSocket; the words say what to do."""
    access = Access(token=TOKEN)
    for scope in (request(query=query), live(query=query)):
        words = access.refusal(scope)
        assert words is not None
        assert "Scan the code in the terminal" in words


def test_a_token_may_come_as_a_cookie() -> None:
    """The answer to the first request sets it, for this port alone, and no script can read it."""
    access = Access(token=TOKEN)
    headers = dict(access.headers(request(query=f"token={TOKEN}")))
    cookie = headers[b"set-cookie"].decode()
    assert cookie == f"pointsman-8765={TOKEN}; Path=/; HttpOnly; SameSite=Strict"
    brought = cookie.partition(";")[0].encode()
    assert access.refusal(request(more=[(b"cookie", b"other=1; " + brought)])) is None
    assert access.refusal(request(more=[(b"cookie", brought + b"x")])) is not None
    assert access.refusal(request(more=[(b"cookie", b"pointsman-8766=" + TOKEN.encode())])) is not None
    assert access.refusal(request(more=[(b"cookie", b"\xff=;;=\x00")])) is not None


def test_who_brings_no_token_gets_no_cookie() -> None:
    """Nor does anybody where there is no token."""
    assert b"set-cookie" not in dict(Access(token=TOKEN).headers(request()))
    assert b"set-cookie" not in dict(Access().headers(request()))


def test_files_of_the_page_need_no_token() -> None:
    """They are the same everywhere. They need the right address all the same."""
    access = Access(token=TOKEN)
    assert access.refusal(request(path="/static/page.js")) is None
    assert access.refusal(request("evil.example:8765", path="/static/page.js")) is not None


def test_the_policy_allows_our_own_files_and_nothing_else() -> None:
    """No script or style in the page, no frame around it, no text as HTML, and one WebSocket."""
    headers = dict(Access().headers(request("localhost:8765")))
    policy = headers[b"content-security-policy"].decode()
    parts = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert parts["default-src"] == "'none'"
    assert parts["script-src"] == parts["style-src"] == "'self'"
    assert parts["connect-src"] == "'self' ws://localhost:8765"
    assert parts["frame-ancestors"] == "'none'"
    assert parts["require-trusted-types-for"] == "'script'"
    assert "unsafe" not in policy
    assert headers[b"referrer-policy"] == b"no-referrer"
    assert headers[b"x-content-type-options"] == b"nosniff"


def test_what_a_stranger_calls_us_isn_t_repeated() -> None:
    """The policy of a refusal names this computer."""
    headers = dict(Access().headers(request("evil.example; script-src *")))
    assert b"evil" not in headers[b"content-security-policy"]
