"""What a service manager is told: that the daemon plays, reads its rules again, leaves, and is alive.

The form is that of sd_notify(3): a datagram to the socket that NOTIFY_SOCKET names. Where no service manager listens,
nothing is sent and nothing goes wrong.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping
from contextlib import suppress
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.text.formatting import plain

_BEATS_IN_ONE: Final = 3
"""How often to give a sign of life within the time after which the manager takes us for dead; sd_watchdog_enabled(3)
asks for two."""

_NEVER: Final = 1 << 63


class ServiceManager:
    """The line to the manager. Its methods never wait and never raise. The loop that plays calls `beat`."""

    def __init__(self, environment: Mapping[str, str] = os.environ, clock: Clock = SYSTEM_CLOCK) -> None:
        self._clock = clock
        self._socket = _socket_to(environment.get("NOTIFY_SOCKET", ""))
        self._every = _beat_every(environment) if self._socket else 0
        self._next_beat = 0 if self._every else _NEVER

    def ready(self, words: str = "") -> None:
        """Report that the music plays: after the start, and after each reload, whatever its outcome."""
        self._tell("READY=1", _status(words))

    def reloading(self) -> None:
        """Report that the rules are being read again, with the time, which a manager that waits for it needs."""
        self._tell("RELOADING=1", f"MONOTONIC_USEC={self._clock.now_ns() // 1000}")

    def stopping(self) -> None:
        """Report that the daemon is about to leave."""
        self._tell("STOPPING=1", _status("ending held notes"))

    def beat(self, now: int) -> None:
        """Give a sign of life when it is time for one (`now` in ns). A loop that hangs gives none, and is restarted."""
        if now >= self._next_beat:
            self._next_beat = now + self._every
            self._tell("WATCHDOG=1")

    def close(self) -> None:
        """Close the connection to the manager."""
        if self._socket:
            self._socket.close()
            self._socket = None

    def _tell(self, *lines: str) -> None:
        if self._socket:
            with suppress(OSError):  # a manager that is gone or busy must not hold up the music
                self._socket.send("\n".join(line for line in lines if line).encode())


def _status(words: str) -> str:
    return f"STATUS={plain(words)}" if words else ""


def _socket_to(address: str) -> socket.socket | None:
    """A datagram socket to a path, or to a name in the abstract namespace, written with an @."""
    if not address.startswith(("/", "@")) or not hasattr(socket, "AF_UNIX"):
        return None
    line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    try:
        line.setblocking(False)
        line.connect("\0" + address[1:] if address.startswith("@") else address)
    except OSError:
        line.close()
        return None
    return line


def _beat_every(environment: Mapping[str, str]) -> int:
    """The pause between signs of life in ns, or 0 if this process is to give none (sd_watchdog_enabled(3))."""
    limit, process = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
    if not limit.isdecimal() or (process and process != str(os.getpid())):
        return 0
    return int(limit) * 1000 // _BEATS_IN_ONE
