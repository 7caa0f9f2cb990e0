"""The process of the command `page`: its socket, the web server on it, and what it says in the terminal."""

from __future__ import annotations

import asyncio
import secrets
import socket
from collections.abc import Iterator
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Final

from router.daemon.control_client import absence
from router.daemon.interpreter import prefer_latency
from router.daemon.runtime_folder import valid_name
from router.daemon.signals import signals_heeded
from router.files.clock import SYSTEM_CLOCK
from router.page.access import Access
from router.page.invitation import EVERYWHERE, LOOPBACK, code_lines, network_addresses, page_addresses
from router.page.page_settings import PageSettings
from router.text.exit_codes import FINE
from router.text.formatting import why
from router.text.terminal import flush, say
from rules.errors import MachineError

if TYPE_CHECKING:
    import uvicorn

_PACKAGES: Final = ("starlette", "uvicorn", "websockets", "segno")
_MISSING: Final = (
    "the page needs packages that aren't installed: {missing}. Install Pointsman with them, in its folder: "
    "pipx install --force '.[page]'"
)
_BACKLOG: Final = 64
_CONNECTIONS: Final = 96
_PING_S: Final = 15.0  # a phone that sleeps doesn't answer, and is forgotten
_LONGEST_MESSAGE: Final = 4_096  # bytes of a WebSocket message
_MOST_QUEUED: Final = 8
_LEAVES_IN_S: Final = 1
_CONTROLS: Final = "From the page one can turn switches, record, save, and silence everything."
_SHOWS: Final = "The page only shows, and can silence everything. To allow more, add --control."


def serve_page(settings: PageSettings) -> int:
    """Serve the page until told to leave; return the exit code.

    Raises MachineError for missing packages or a port that is in use, UsageError for a name that no daemon can have.
    """
    missing = [name for name in _PACKAGES if find_spec(name) is None]
    if missing:
        raise MachineError(_MISSING.format(missing=", ".join(missing)))
    import uvicorn

    from router.page.server import PageServer

    valid_name(settings.name)
    access = Access(secrets.token_urlsafe(16) if settings.share else None, settings.control)
    page = PageServer(settings.name, access, SYSTEM_CLOCK)
    with _listening(settings) as listener:
        say(_invitation(settings, access.token))
        flush()
        prefer_latency()  # else threads that read rules or journals hold up what browsers wait for
        with signals_heeded(_nothing, _nothing):  # the server hears them itself, and hands them on
            asyncio.run(uvicorn.Server(server_config(page.app())).serve(sockets=[listener]))
    return FINE


def server_config(app: Any) -> uvicorn.Config:
    """Return how the web server serves an application: everything bounded, and nothing said of itself."""
    import uvicorn

    from router.page.connections import BoundedConnection

    return uvicorn.Config(
        app,
        http=BoundedConnection,
        ws="websockets-sansio",
        lifespan="on",
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        limit_concurrency=_CONNECTIONS,
        backlog=_BACKLOG,
        ws_max_size=_LONGEST_MESSAGE,
        ws_max_queue=_MOST_QUEUED,
        ws_ping_interval=_PING_S,
        ws_ping_timeout=_PING_S,
        ws_per_message_deflate=False,  # what is sent is small; to compress takes time and memory for each browser
        timeout_graceful_shutdown=_LEAVES_IN_S,
    )


def _nothing() -> None:
    """Do nothing."""


def _listening(settings: PageSettings) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((EVERYWHERE if settings.share else LOOPBACK, settings.port))
        listener.listen(_BACKLOG)  # who comes before the server is ready waits a moment
    except OSError as error:
        listener.close()
        raise MachineError(f"the page can't use port {settings.port}: {why(error)}. Add --port with another") from error
    return listener


def _invitation(settings: PageSettings, token: str | None) -> Iterator[str]:
    """The lines that say where the page is."""
    networks = network_addresses() if settings.share else []
    addresses = page_addresses(networks or [LOOPBACK], settings.port, token)
    yield f'The page of the daemon "{settings.name}":'
    yield from (f"  {address}" for address in addresses)
    yield ""
    if networks:
        yield from code_lines(addresses[0])
        yield ""
        yield "Anyone who has this address or sees this code can silence the rig. Show them only to people you trust."
    elif settings.share:
        yield "This computer is in no network now. Connect it, or switch on its hotspot, and begin again."
    if missing := absence(settings.name):
        yield f"{missing[0].upper()}{missing[1:]}. The page waits for it."
    yield _CONTROLS if settings.control else _SHOWS
    yield "Ctrl-C ends the page; the daemon plays on."
