"""What other threads want of the loop: calls that it makes between two messages, so that nothing needs a lock."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from typing import Any, Final, TypeVar

from rules.errors import MachineError

T = TypeVar("T")

_PATIENCE_S: Final = 10.0  # for the loop's answer


class Requests:
    """Calls that wait for the loop. It calls `answer` when any are `waiting`, and `close` when it has ended.

    `wake` lets a loop turn that waits; it must be callable from any thread.
    """

    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake
        self.waiting: deque[tuple[Future[Any], Callable[[], Any]]] = deque()
        self._closed = False

    def ask(self, work: Callable[[], T]) -> T:
        """Have the loop call `work`, and return what it returns, or raise what it raises.

        Raises MachineError when the loop doesn't answer within ten seconds, or has ended.
        """
        if not self._closed:
            answer: Future[T] = Future()
            self.waiting.append((answer, work))
            self._wake()
            try:
                return answer.result(_PATIENCE_S)
            except CancelledError:
                pass
            except TimeoutError:
                if not answer.cancel():
                    return answer.result()  # it was just about to begin
                raise MachineError("the daemon is too busy to answer") from None
        raise MachineError("the daemon is about to end")

    def answer(self) -> None:
        """Make the calls that wait. For the loop."""
        while self.waiting:
            answer, work = self.waiting.popleft()
            if answer.set_running_or_notify_cancel():
                try:
                    answer.set_result(work())
                except Exception as error:
                    answer.set_exception(error)

    def close(self) -> None:
        """Refuse what waits, and all that comes later. For the loop, at its end."""
        self._closed = True
        while self.waiting:
            self.waiting.popleft()[0].cancel()
