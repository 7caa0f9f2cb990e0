"""Connections to the page, bounded: nobody keeps many of them, or one that says nothing."""

from __future__ import annotations

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_OF_ADDRESS: Final = 40
"""Connections of one address: a browser opens six, and one for the WebSocket; several may be behind one address."""

FIRST_REQUEST_S: Final = 10.0


class BoundedConnection(H11Protocol):
    """A connection of HTTP/1.1 that is dropped where its address has too many, or where no request comes."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Begin with a connection."""
        super().connection_made(transport)
        if self.client is not None and self._of_address(self.client[0]) > MOST_OF_ADDRESS:
            transport.abort()
            return
        self._waiting = asyncio.get_running_loop().call_later(FIRST_REQUEST_S, self._drop_silent)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection that has ended."""
        if self._waiting is not None:
            self._waiting.cancel()
        super().connection_lost(exc)

    def _of_address(self, address: str) -> int:
        clients = [getattr(connection, "client", None) for connection in self.connections]
        return sum(client is not None and client[0] == address for client in clients)

    def _drop_silent(self) -> None:
        """Leave a connection that hasn't brought a whole request by now."""
        is_ours = self.transport.get_protocol() is self  # else it has become a WebSocket
        if is_ours and self.cycle is None:
            self.transport.abort()
