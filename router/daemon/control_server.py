"""The daemon's end of the control socket.

Each client has a thread of its own, which only waits and computes; what it asks of the music, the loop answers between
two messages. Where there are too many clients, the one that has kept the daemon waiting longest makes room.
"""

from __future__ import annotations

import json
import os
import selectors
import socket
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from types import MappingProxyType
from typing import Any, Final, Protocol

from router.daemon.control_answers import answer_lines, refusal_line
from router.daemon.control_socket import TooLongError, line_of, lines_from, listening, socket_path
from router.daemon.daemon_name import lock_name
from router.daemon.runtime_folder import valid_name
from router.files.clock import SYSTEM_CLOCK, Clock
from router.text.formatting import plain, why
from router.text.terminal import complain
from rules.errors import MachineError, PointsmanError

Handler = Callable[[dict[str, Any]], Mapping[str, Any]]
"""Answers one verb: gets the arguments of the question, and runs in the thread of the client that asks."""

Stream = Callable[[dict[str, Any], Callable[[float], bool]], Iterator[Mapping[str, Any]]]
"""Answers one verb with line after line until the client leaves, in the thread of the client. It waits with the second
argument, which gets seconds, and returns False once the server stops."""


class Conversation(Protocol):
    """What one client asks by a verb belongs together: its questions come one after the other, in its thread."""

    def answer(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        """Answer a question by its arguments."""

    def close(self) -> None:
        """End what belongs to it: the client has gone. Raises nothing."""


LONGEST_QUESTION: Final = 64 * 1024
_CLIENTS: Final = 16
_EXTRA_FOR_PANIC: Final = 16  # clients that may come on top while all others wait for the daemon: panic gets through
_STREAMS: Final = 8  # clients with an endless answer: they keep their places, and leave enough to the others
_PANIC: Final = "panic"
_CLIENT_PATIENCE_S: Final = 30.0  # for a client to ask, or to take its answer
_LAST_ANSWERS_S: Final = 1.0  # for the answers that are on their way when the daemon leaves


_TOO_MANY: Final = f"{_CLIENTS} other programs wait for the daemon: try again later"
_TOO_MANY_ANSWER: Final = refusal_line(_TOO_MANY)


class _Client:
    """A client with a thread of its own. `awaited_since` is since when (ns) the daemon has waited for it to ask or to
    listen; None while the client waits for the daemon. With `only_panic` there was no room for any other question.
    `streams` says that its answer has no end."""

    def __init__(self, stream: socket.socket, since: int, only_panic: bool) -> None:
        self.stream = stream
        self.awaited_since: int | None = since
        self.only_panic = only_panic
        self.streams = False
        self.conversations: dict[str, Conversation] = {}
        self.thread = threading.current_thread()


class ControlServer:
    """The daemon's end. `handlers` answer by verb, `streams` do so without end, and `conversations` make what answers
    for as long as a client stays; `report` is told, in words, what went wrong in one of them.

    Once started, `follows_a_crash` tells whether the last daemon of this name ended without a word. It is set to
    False once what sounded from then is ended; until then, the next daemon of this name is told the same.
    """

    def __init__(
        self,
        name: str,
        handlers: Mapping[str, Handler],
        report: Callable[[str], None] = lambda text: complain([text]),
        clock: Clock = SYSTEM_CLOCK,
        streams: Mapping[str, Stream] = MappingProxyType({}),
        conversations: Mapping[str, Callable[[], Conversation]] = MappingProxyType({}),
    ) -> None:
        self._name = valid_name(name)
        self._handlers = dict(handlers)
        self._streams = dict(streams)
        self._conversations = dict(conversations)
        self._report = report
        self._clock = clock
        self._clients: list[_Client] = []
        self._guard = threading.Lock()
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []
        self.follows_a_crash = False

    def start(self) -> None:
        """Take the name and answer from now on.

        Raises MachineError if a daemon of this name runs already, or this machine has no such sockets.
        """
        self._path = socket_path(self._name)
        self._lock = lock_name(self._path, self._name)
        self.follows_a_crash = self._path.exists()
        try:
            self._listener = listening(self._path)
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
            clients = list(self._clients)
        for client in clients:
            with suppress(OSError):
                client.stream.shutdown(socket.SHUT_RD)  # an answer that is on its way still gets there
        end = self._clock.now_ns() + _LAST_ANSWERS_S * 1e9
        for thread in (*self._threads, *(client.thread for client in clients)):
            if thread is not threading.current_thread():
                thread.join(timeout=max((end - self._clock.now_ns()) / 1e9, 0.01))
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
            stream, _ = self._listener.accept()
        except OSError as error:  # no descriptor is left, or the client has gone already
            self._report(f"control socket: a client couldn't be let in: {why(error)}")
            self._stopping.wait(0.1)
            return
        stream.settimeout(_CLIENT_PATIENCE_S)
        with self._guard:
            is_full = len(self._clients) >= _CLIENTS and not self._drop_slowest()
            if len(self._clients) < _CLIENTS + _EXTRA_FOR_PANIC:
                client = _Client(stream, self._clock.now_ns(), only_panic=is_full)
                client.thread = threading.Thread(
                    target=self._attend, args=(client,), name="control client", daemon=True
                )
                self._clients.append(client)
                client.thread.start()
                return
        with stream, suppress(OSError):
            stream.sendall(_TOO_MANY_ANSWER)

    def _drop_slowest(self) -> bool:
        """Leave the client that has kept us waiting longest; False if all of them wait for us."""
        slow = [client for client in self._clients if client.awaited_since is not None]
        if not slow:
            return False
        slowest = min(slow, key=lambda client: client.awaited_since or 0)
        self._clients.remove(slowest)
        with suppress(OSError):
            slowest.stream.shutdown(socket.SHUT_RDWR)  # its thread wakes, and ends
        return True

    def _attend(self, client: _Client) -> None:
        """Answer one client until it leaves. What it does wrong ends its own connection, nothing else."""
        stream = client.stream
        try:
            with stream, suppress(OSError):
                for question in lines_from(stream, LONGEST_QUESTION, _CLIENT_PATIENCE_S, self._clock):
                    client.awaited_since = None
                    for line in self._answer(question, client):
                        client.awaited_since = self._clock.now_ns()
                        stream.sendall(line)
                        client.awaited_since = None
                    client.awaited_since = self._clock.now_ns()
        except TooLongError:
            pass
        finally:
            for conversation in client.conversations.values():
                conversation.close()
            with self._guard, suppress(ValueError):
                self._clients.remove(client)

    def _answer(self, line: bytes, client: _Client) -> Iterator[bytes]:
        try:
            verb, question = self._understood(line, client.only_panic)
            if verb in self._streams:
                yield from self._streamed(verb, question, client)
                return
            lines = answer_lines(self._handler(verb, client)(question))
        except PointsmanError as error:
            yield refusal_line(str(error))
            return
        except Exception as error:
            self._report(
                f"control socket: {plain(line[:200].decode(errors='replace'))}: {type(error).__name__}: {error}"
            )
            yield refusal_line(f"the daemon failed to answer: {type(error).__name__}: {error}")
            return
        yield from lines

    def _streamed(self, verb: str, question: dict[str, Any], client: _Client) -> Iterator[bytes]:
        """Lines without end, until the client or the daemon leaves."""
        with self._guard:
            if sum(other.streams for other in self._clients) >= _STREAMS:
                raise MachineError(f"{_STREAMS} other programs watch the daemon: end one of them")
            client.streams = True
        try:
            for told in self._streams[verb](question, lambda seconds: not self._stopping.wait(seconds)):
                yield line_of(told)
        finally:
            client.streams = False

    def _understood(self, line: bytes, only_panic: bool) -> tuple[str, dict[str, Any]]:
        """Return the verb of a question, and its arguments. Raises MachineError."""
        try:
            question = json.loads(line)
        except (ValueError, RecursionError):
            raise MachineError('not understood: write a line of JSON such as {"verb": "status"}') from None
        verb = question.pop("verb", None) if isinstance(question, dict) else None
        if not isinstance(verb, str) or verb not in self._verbs:
            known = ", ".join(sorted(self._verbs))
            raise MachineError(f"the daemon doesn't know {json.dumps(verb)[:60]}; it knows {known}")
        if only_panic and verb != _PANIC:
            raise MachineError(_TOO_MANY)
        return verb, question

    @property
    def _verbs(self) -> set[str]:
        return {*self._handlers, *self._streams, *self._conversations}

    def _handler(self, verb: str, client: _Client) -> Handler:
        """Return what answers a verb: for a conversation, what has answered this client before."""
        if verb in self._handlers:
            return self._handlers[verb]
        if verb not in client.conversations:
            client.conversations[verb] = self._conversations[verb]()
        return client.conversations[verb].answer
