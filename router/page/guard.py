"""Stands before the page: refuses what has no access or asks for too much, and adds the headers of every answer."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any, Final

from router.files.clock import Clock
from router.page.access import Access
from router.page.allowance import Allowances

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[MutableMapping[str, Any], Receive, Send], Awaitable[None]]
"""An application of ASGI 3.0."""

_A_SECOND: Final = 20.0
_AT_ONCE: Final = 100.0
_POLICY_VIOLATED: Final = 1008  # RFC 6455, 7.4.1
_REFUSED: Final = 403
_NO_METHOD: Final = 405
_TOO_MANY: Final = 429
_WRONG_METHOD: Final = "The page can only be read.\n"
_TOO_MANY_WORDS: Final = "Too many requests from this device. Try again in a few seconds.\n"


class Guard:
    """An application that lets through to another one what may pass."""

    def __init__(self, app: App, access: Access, clock: Clock) -> None:
        self._app = app
        self._access = access
        self._allowances = Allowances(_A_SECOND, _AT_ONCE, clock)

    async def __call__(self, scope: MutableMapping[str, Any], receive: Receive, send: Send) -> None:
        """Answer a request, or pass it on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        status, words = self._refusal(scope)
        if not words:
            await self._app(scope, receive, self._with_headers(scope, send))
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": _POLICY_VIOLATED})
        else:
            await _answer(status, words, self._with_headers(scope, send))

    def _refusal(self, scope: MutableMapping[str, Any]) -> tuple[int, str]:
        address = (scope.get("client") or ("",))[0]
        if not self._allowances.of(address).take():
            return _TOO_MANY, _TOO_MANY_WORDS
        if scope["type"] == "http" and scope["method"] not in ("GET", "HEAD"):
            return _NO_METHOD, _WRONG_METHOD
        return _REFUSED, self._access.refusal(scope) or ""

    def _with_headers(self, scope: MutableMapping[str, Any], send: Send) -> Send:
        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = self._access.headers(scope)
                names = {name for name, _ in own}
                message["headers"] = [*(pair for pair in message.get("headers", ()) if pair[0] not in names), *own]
            await send(message)

        return send_with_headers


async def _answer(status: int, words: str, send: Send) -> None:
    body = words.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
