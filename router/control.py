"""How one talks to a running daemon: a socket in the user's own folder, a line of JSON each way.

A question is {"verb": "switch", "name": "song", "value": "chorus"}; the answer is {"ok": true, ...} or
{"ok": false, "error": "..."}. Bytes in an answer go ahead of it, in lines {"piece": ["journal", "BASE64"]}: encoded in
one go, a long recording would hold up the music. Each client has a thread of its own, which only waits and computes;
what it asks of the music, the loop answers between two messages.
"""

from __future__ import annotations

import base64
import json
import os
import selectors
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from router.rundir import runtime_folder, valid_name
from router.settings import STANDARD_NAME
from router.text.formatting import plain, why
from router.text.terminal import complain
from rules.errors import MachineError, PointsmanError

Handler = Callable[[dict[str, Any]], Mapping[str, Any]]
"""Answers one verb: gets the arguments of the question, and runs in the thread of the client that asks."""

LONGEST_QUESTION: Final = 64 * 1024
LONGEST_ANSWER_LINE: Final = 16 * 1024 * 1024
_PIECE: Final = 48 * 1024
_CLIENTS: Final = 16
_AT_THE_DOOR: Final = 128  # clients that may wait to be let in
_CLIENT_PATIENCE: Final = 30.0  # seconds for a client to ask, or to take its answer
_LAST_WORDS: Final = 1.0  # seconds for the answers that are on their way when the daemon leaves
_LONGEST_PATH: Final = 103  # bytes of a socket's path: 107 on Linux (unix(7)), 103 on macOS


class Control:
    """The daemon's end. `handlers` answer by verb; `report` is told, in words, what went wrong in one of them.

    Once started, `follows_a_crash` tells whether the last daemon of this name ended without a word. Whoever has ended
    what sounded from then sets it to False; until then, the next daemon of this name is told the same.
    """

    def __init__(
        self,
        name: str,
        handlers: Mapping[str, Handler],
        report: Callable[[str], None] = lambda text: complain([text]),
    ) -> None:
        self._name = valid_name(name)
        self._handlers = dict(handlers)
        self._report = report
        self._clients: dict[socket.socket, threading.Thread] = {}
        self._guard = threading.Lock()
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self.follows_a_crash = False

    def start(self) -> None:
        """Take the name and answer from now on.

        Raises MachineError if a daemon of this name runs already, or this machine has no such sockets.
        """
        self._path = _socket_path(self._name)
        self._lock = _taken_lock(self._path, self._name)
        self.follows_a_crash = self._path.exists()
        try:
            self._listener = _listening(self._path)
        except BaseException:
            os.close(self._lock)
            raise
        self._waker, self._woken = socket.socketpair()
        server = threading.Thread(target=self._serve, name="control", daemon=True)
        self._threads.append(server)
        server.start()

    def stop(self) -> None:
        """Answer nobody any more, and give the name back."""
        if self._stopping.is_set() or not self._threads:
            return
        self._stopping.set()
        self._waker.send(b"x")
        with self._guard:
            clients = dict(self._clients)
        for client in clients:
            with suppress(OSError):
                client.shutdown(socket.SHUT_RD)  # an answer that is on its way still gets there
        end = time.monotonic() + _LAST_WORDS
        for thread in (*self._threads, *clients.values()):
            if thread is not threading.current_thread():
                thread.join(timeout=max(end - time.monotonic(), 0.01))
        if not self.follows_a_crash:  # a socket that is left behind is how the next one knows
            with suppress(OSError):
                self._path.unlink()
        for one in (self._listener, self._waker, self._woken):
            one.close()
        os.close(self._lock)

    def _serve(self) -> None:
        with selectors.DefaultSelector() as waiting:
            waiting.register(self._listener, selectors.EVENT_READ)
            waiting.register(self._woken, selectors.EVENT_READ)
            while not self._stopping.is_set():
                waiting.select()
                if not self._stopping.is_set():
                    self._accept()

    def _accept(self) -> None:
        try:
            client, _ = self._listener.accept()
        except OSError as error:  # no descriptor is left, or the client has gone already
            self._report(f"control socket: a client couldn't be let in: {why(error)}")
            self._stopping.wait(0.1)
            return
        client.settimeout(_CLIENT_PATIENCE)
        with self._guard:
            if len(self._clients) < _CLIENTS:
                thread = threading.Thread(target=self._attend, args=(client,), name="control client", daemon=True)
                self._clients[client] = thread
                thread.start()
                return
        with client, suppress(OSError):
            client.sendall(_line({"ok": False, "error": f"{_CLIENTS} others talk to the daemon; try again later"}))

    def _attend(self, client: socket.socket) -> None:
        """Answer one client until it leaves. What it does wrong ends its own connection, nothing else."""
        try:
            with client, suppress(OSError):
                for question in _lines(client, LONGEST_QUESTION, _CLIENT_PATIENCE):
                    for line in self._answer(question):
                        client.sendall(line)
        except _TooLongError:
            pass
        finally:
            with self._guard:
                self._clients.pop(client, None)

    def _answer(self, line: bytes) -> Iterator[bytes]:
        try:
            answer = dict(self._ask(line))
            held = {key: value for key, value in answer.items() if isinstance(value, bytes)}
            last = _line({"ok": True, **{key: value for key, value in answer.items() if key not in held}})
        except PointsmanError as error:
            yield _line({"ok": False, "error": str(error)})
            return
        except Exception as error:
            self._report(
                f"control socket: {plain(line[:200].decode(errors='replace'))}: {type(error).__name__}: {error}"
            )
            yield _line({"ok": False, "error": f"the daemon failed to answer: {type(error).__name__}: {error}"})
            return
        for key, value in held.items():
            for at in range(0, max(len(value), 1), _PIECE):
                yield _line({"piece": [key, base64.b64encode(value[at : at + _PIECE]).decode("ascii")]})
        yield last

    def _ask(self, line: bytes) -> Mapping[str, Any]:
        try:
            question = json.loads(line)
        except (ValueError, RecursionError):
            raise MachineError('not understood: a question is a line of JSON such as {"verb": "status"}') from None
        verb = question.pop("verb", None) if isinstance(question, dict) else None
        if not isinstance(verb, str) or verb not in self._handlers:
            known = ", ".join(sorted(self._handlers))
            raise MachineError(f"the daemon doesn't know {json.dumps(verb)[:60]}; it knows {known}")
        return self._handlers[verb](question)


def ask_daemon(name: str, verb: str, /, patience: float = 10.0, **arguments: Any) -> dict[str, Any]:
    """Ask the running daemon `name` and return its answer; values of type bytes come back as bytes.

    `patience` is how many seconds each part of the answer may take. Raises MachineError if no such daemon runs, or
    doesn't answer in time, or says that it can't; UsageError for what can't be a name.
    """
    path = _socket_path(valid_name(name))
    held: dict[str, bytearray] = {}
    try:
        with _connected(path, patience) as daemon:
            daemon.sendall(_line({"verb": verb, **arguments}))
            for line in _lines(daemon, LONGEST_ANSWER_LINE, patience):
                answer = dict(json.loads(line))
                if "piece" not in answer:
                    return _told(answer, held)
                key, data = answer["piece"]
                held.setdefault(key, bytearray()).extend(base64.b64decode(data, validate=True))
    except (FileNotFoundError, ConnectionRefusedError):
        raise MachineError(_nobody(name, path)) from None
    except TimeoutError:
        raise MachineError(f'the daemon "{name}" doesn\'t answer; waited {patience:g} s') from None
    except (OSError, ValueError, KeyError, TypeError, _TooLongError) as error:
        reason = why(error) if isinstance(error, OSError) else "it isn't what this version of pointsman understands"
        raise MachineError(f'no answer of the daemon "{name}": {reason}') from error
    raise MachineError(f'the daemon "{name}" broke off; does it still run?')


def running_daemons() -> list[str]:
    """Return the names of the daemons that this user has running. Raises MachineError."""
    return [path.stem for path in sorted(runtime_folder().glob("*.sock")) if _is_alive(path)]


def _told(answer: dict[str, Any], held: Mapping[str, bytearray]) -> dict[str, Any]:
    if not answer.pop("ok"):
        raise MachineError(str(answer["error"]))
    return answer | {key: bytes(value) for key, value in held.items()}


def _nobody(name: str, path: Path) -> str:
    named = "" if name == STANDARD_NAME else f" --name {name}"
    others = [other for other in running_daemons() if other != path.stem]
    also = f", but --name {', --name '.join(others)}" if others else ""
    return f'no daemon of the name "{name}" runs here{also}; start it with: pointsman run RULES{named}'


def _socket_path(name: str) -> Path:
    if not hasattr(socket, "AF_UNIX"):
        raise MachineError(
            "this system has no control sockets, so a running daemon can't be talked to: use Linux or macOS"
        )
    path = runtime_folder() / f"{name}.sock"
    if len(os.fsencode(path)) > _LONGEST_PATH:
        raise MachineError(
            f"{path}: longer than the {_LONGEST_PATH} bytes that a socket's path may have: use a shorter --name, or "
            "set XDG_RUNTIME_DIR to a folder with a shorter path"
        )
    return path


def _taken_lock(path: Path, name: str) -> int:
    """The lock that makes a name ours until this process ends, however it ends."""
    import fcntl  # not on every system, and those have been refused by now

    try:
        lock = os.open(path.with_suffix(".lock"), os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise MachineError(f"{path.with_suffix('.lock')}: can't be made: {why(error)}") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if _is_alive(path):  # somebody tidied the lock away
            raise BlockingIOError
        os.ftruncate(lock, 0)
        os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)
    except OSError as error:
        number = os.pread(lock, 20, 0).decode("ascii", "replace").strip()
        os.close(lock)
        if isinstance(error, BlockingIOError):
            raise MachineError(_in_use(name, number)) from None
        raise MachineError(f"{path.with_suffix('.lock')}: can't be locked: {why(error)}") from error
    return lock


def _in_use(name: str, number: str) -> str:
    process = f" (process {number})" if number.isdigit() else ""
    return (
        f'a daemon of the name "{name}" runs already{process}: give this one another name with --name, or change the '
        "rules of the running one: it reloads them by itself when they are saved"
    )


def _listening(path: Path) -> socket.socket:
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        path.unlink(missing_ok=True)  # left over from a daemon that was killed: its lock is free
        listener.bind(str(path))
        path.chmod(0o600)
        listener.listen(_AT_THE_DOOR)
        listener.setblocking(False)
    except OSError as error:
        listener.close()
        raise MachineError(f"{path}: the control socket can't be made: {why(error)}") from error
    return listener


def _connected(path: Path, patience: float) -> socket.socket:
    """A connection, waited for where others crowd at the door. Raises OSError."""
    daemon = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        daemon.settimeout(patience)
        deadline = time.monotonic() + patience
        while True:
            try:
                daemon.connect(str(path))
                return daemon
            except BlockingIOError:  # connect(2): a local socket's queue is full, and no time-out waits for it
                if time.monotonic() > deadline:
                    raise TimeoutError from None
                time.sleep(0.01)
    except BaseException:
        daemon.close()
        raise


def _is_alive(path: Path) -> bool:
    try:
        _connected(path, 0.2).close()
    except (FileNotFoundError, ConnectionRefusedError):
        return False
    except OSError:  # somebody is there, and busy
        return True
    return True


class _TooLongError(Exception):
    """The other end sends a line without an end."""


def _lines(stream: socket.socket, longest: int, patience: float) -> Iterator[bytes]:
    """The lines that arrive until the other end has no more, each within `patience` seconds. Raises OSError."""
    held = bytearray()
    begun = time.monotonic()
    while len(held) <= longest:
        stream.settimeout(max(begun + patience - time.monotonic(), 0.001))
        data = stream.recv(64 * 1024)
        stream.settimeout(patience)
        if not data:
            return
        seen = len(held)
        held += data
        while (end := held.find(b"\n", seen)) >= 0:
            line = bytes(held[:end])
            del held[: end + 1]
            seen = 0
            yield line
            begun = time.monotonic()
    raise _TooLongError


def _line(data: Mapping[str, Any]) -> bytes:
    return json.dumps(data).encode() + b"\n"
