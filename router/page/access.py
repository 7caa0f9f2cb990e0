"""Who may see the page: checked for each request, before anything else looks at it.

A browser sends requests for any site that its user visits. So the address must be the one that the server has (no
name that somebody else's DNS has led here), a WebSocket must come from our own page, and no other page may frame ours.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import Any, Final
from urllib.parse import parse_qs, urlsplit

Scope = Mapping[str, Any]
"""A connection as ASGI 3.0 describes it: "type", "headers", "server", "query_string", ..."""

_HTTP_PORT: Final = 80
_LONGEST_QUERY: Final = 1_000
_LONGEST_COOKIES: Final = 4_000
_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self' ws://{host}; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; "
    "trusted-types 'none'"
)
"""Content Security Policy Level 3. Some browsers don't take 'self' for a WebSocket of the same host."""

_HEADERS: Final = (
    ("cache-control", "no-store"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), geolocation=(), microphone=(), midi=()"),
    ("referrer-policy", "no-referrer"),  # the token is in the address
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
)

_WRONG_HOST: Final = "This isn't an address of Pointsman's page. Use the one that the terminal shows.\n"
_WRONG_ORIGIN: Final = "Another web page has asked for this. Only Pointsman's own page may.\n"
_WRONG_TOKEN: Final = "This address has no valid token. Scan the code in the terminal, or copy the whole address.\n"


@dataclass(frozen=True, slots=True)
class Access:
    """Who may see the page and what they may do: those who know the `token`, if there is one.

    `may_control` lets them do more than look and silence everything.
    """

    token: str | None = None
    may_control: bool = False

    def refusal(self, scope: Scope) -> str | None:
        """Return why a request is refused, in words; None for one that isn't.

        Our own files need no token: they are the same everywhere, and tell nothing.
        """
        if self.host(scope) is None:
            return _WRONG_HOST
        if scope["type"] == "websocket" and _only(scope, "origin") != f"http://{self.host(scope)}":
            return _WRONG_ORIGIN
        if scope["type"] == "http" and scope["path"].startswith("/static/"):
            return None
        return None if self.is_known(scope) else _WRONG_TOKEN

    def host(self, scope: Scope) -> str | None:
        """Return the address that a request is for, if it is one of ours: where it came in, written as numbers.

        On the computer itself "localhost" is as good.
        """
        address, port = scope["server"] or ("", 0)
        host = _only(scope, "host")
        if host is None:
            return None
        try:
            parts = urlsplit(f"//{host}")
            named, asked_port = parts.hostname or "", parts.port or _HTTP_PORT
        except ValueError:
            return None
        if asked_port != port or parts.netloc != host or "@" in host:
            return None
        if named == "localhost":
            return host if _is_loopback(address) else None
        return host if _is_same(named, address) else None

    def is_known(self, scope: Scope) -> bool:
        """Return whether a request brings the token, in its address or in a cookie; true where there is none."""
        if self.token is None:
            return True
        wanted = self.token.encode()
        # compare_digest takes as long for a wrong token as for a nearly right one
        return any(hmac.compare_digest(given.encode(), wanted) for given in self._tokens(scope))

    def _tokens(self, scope: Scope) -> Iterable[str]:
        query = scope["query_string"].decode("latin-1")
        yield from parse_qs(query).get("token", [])[:2] if len(query) < _LONGEST_QUERY else ()
        try:
            cookies = SimpleCookie((_only(scope, "cookie") or "")[:_LONGEST_COOKIES])
        except CookieError:
            return
        name = cookie_name(scope)
        if name in cookies:
            yield cookies[name].value

    def headers(self, scope: Scope) -> list[tuple[bytes, bytes]]:
        """Return the headers of every answer: what the browser must not do with it."""
        headers = [*_HEADERS, ("content-security-policy", _POLICY.format(host=self.host(scope) or "127.0.0.1"))]
        if self.token is not None and scope["path"] == "/" and self.is_known(scope):
            cookie = f"{cookie_name(scope)}={self.token}; Path=/; HttpOnly; SameSite=Strict"
            headers.append(("set-cookie", cookie))
        return [(name.encode("latin-1"), value.encode("latin-1")) for name, value in headers]


def cookie_name(scope: Scope) -> str:
    """Return the name of our cookie. Cookies don't know ports, so that two pages on one computer need two names."""
    return f"pointsman-{(scope['server'] or ('', 0))[1]}"


def _only(scope: Scope, name: str) -> str | None:
    """Return a header that is there just once."""
    found = [value for key, value in scope["headers"] if key == name.encode("latin-1")]
    return found[0].decode("latin-1") if len(found) == 1 else None


def _is_same(named: str, address: str) -> bool:
    try:
        return ip_address(named) == ip_address(address)
    except ValueError:
        return False


def _is_loopback(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False
