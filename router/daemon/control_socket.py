"""The control socket: where it is, how it is reached, and the lines of JSON that go over it.

A question is {"verb": "switch", "name": "song", "value": "chorus"}; the answer is {"ok": true, ...} or
{"ok": false, "error": "..."}, with bytes ahead of it (see `control_answers`).

The questions of a verb may belong together, from the first until the client leaves: `play` (see `play_conversation`).
"""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from router.daemon.runtime_folder import runtime_folder
from router.files.clock import SYSTEM_CLOCK, Clock
from router.text.formatting import why
from rules.errors import MachineError

_QUEUE_RETRY_S: Final = 0.01
_BACKLOG: Final = 128  # clients that may wait to be accepted
_LONGEST_PATH: Final = 103  # bytes of a socket's path: 107 on Linux (unix(7)), 103 on macOS


def socket_path(name: str) -> Path:
    """Return where the socket of the daemon `name` is. Raises MachineError where it can't be."""
    if not hasattr(socket, "AF_UNIX"):
        raise MachineError(
            "this system has no control sockets, so no command reaches a running daemon: use Linux or macOS"
        )
    path = runtime_folder() / f"{name}.sock"
    if len(os.fsencode(path)) > _LONGEST_PATH:
        raise MachineError(
            f"{path} is longer than {_LONGEST_PATH} bytes, the most for a socket: use a shorter --name, or set "
            "XDG_RUNTIME_DIR to a folder with a shorter path"
        )
    return path


def listening(path: Path) -> socket.socket:
    """Return a new socket to which clients connect, and which never waits for them. Raises MachineError."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        path.unlink(missing_ok=True)  # left over from a daemon that was killed: its lock is free
        listener.bind(str(path))
        path.chmod(0o600)
        listener.listen(_BACKLOG)
        listener.setblocking(False)
    except OSError as error:
        listener.close()
        raise MachineError(f"{path}: the control socket can't be made: {why(error)}") from error
    return listener


def connected(path: Path, patience_s: float, clock: Clock = SYSTEM_CLOCK) -> socket.socket:
    """Return a connection, waited for up to `patience_s` seconds where others queue. Raises OSError."""
    daemon = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        daemon.settimeout(patience_s)
        deadline = clock.now_ns() + patience_s * 1e9
        while True:
            try:
                daemon.connect(str(path))
                return daemon
            except BlockingIOError:  # connect(2): a local socket's queue is full, and no time-out waits for it
                if clock.now_ns() > deadline:
                    raise TimeoutError from None
                clock.sleep_s(_QUEUE_RETRY_S)
    except BaseException:
        daemon.close()
        raise


def is_alive(path: Path) -> bool:
    """Return whether a daemon listens on the socket at `path`."""
    try:
        connected(path, 0.2).close()
    except (FileNotFoundError, ConnectionRefusedError):
        return False
    except OSError:  # somebody is there, and busy
        return True
    return True


class TooLongError(Exception):
    """The other end sends a line without an end."""


def lines_from(stream: socket.socket, longest: int, patience_s: float, clock: Clock = SYSTEM_CLOCK) -> Iterator[bytes]:
    """Yield the lines that arrive until the other end has no more, each within `patience_s` seconds.

    Raises OSError, and TooLongError for a line of more than `longest` bytes.
    """
    held = bytearray()
    begun = clock.now_ns()
    while len(held) <= longest:
        stream.settimeout(max(patience_s - (clock.now_ns() - begun) / 1e9, 0.001))
        data = stream.recv(64 * 1024)
        stream.settimeout(patience_s)
        if not data:
            return
        seen = len(held)
        held += data
        while (end := held.find(b"\n", seen)) >= 0:
            line = bytes(held[:end])
            del held[: end + 1]
            seen = 0
            yield line
            begun = clock.now_ns()
    raise TooLongError


def line_of(data: Mapping[str, Any]) -> bytes:
    """Return a question or an answer as it goes over the socket."""
    return json.dumps(data).encode() + b"\n"
