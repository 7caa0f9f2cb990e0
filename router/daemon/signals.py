"""How a daemon hears that it shall leave, or read its rules again."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from router.text.exit_codes import INTERRUPTED
from router.text.terminal import is_terminal


@contextmanager
def signals_heeded(leave: Callable[[], None], reload: Callable[[], None]) -> Iterator[None]:
    """Call `leave` at SIGINT and SIGTERM; a second one ends the process at once.

    SIGHUP calls `reload`; but where a terminal started us it means that the terminal was closed, so `leave`. It never
    ends the process at once: shells hand it on to what they started, and then the system sends it again. `leave` and
    `reload` are called in the midst of anything: they must only take note.

    A SIGINT that was ignored stays so: a script started us in the background, and a Ctrl-C at its terminal is meant for
    the script, which ends us as it sees fit. So does a SIGHUP where a terminal started us (`nohup`). A service hears it
    in any case, since there it means nothing but reading the rules.
    """
    leaving = False
    from_terminal = is_terminal(sys.stdin)

    def stop(number: int, frame: FrameType | None) -> None:
        if leaving:
            os._exit(INTERRUPTED)
        leave_once()

    def hang_up(number: int, frame: FrameType | None) -> None:
        if from_terminal:
            leave_once()
        else:
            reload()

    def leave_once() -> None:
        nonlocal leaving
        if not leaving:
            leaving = True
            leave()

    def may_stay_ignored(name: str) -> bool:
        return name == "SIGINT" or (name == "SIGHUP" and from_terminal)

    handlers = {"SIGINT": stop, "SIGTERM": stop, "SIGHUP": hang_up}
    numbers = {name: getattr(signal, name) for name in handlers if hasattr(signal, name)}
    before = {
        number: signal.signal(number, handlers[name])
        for name, number in numbers.items()
        if not (may_stay_ignored(name) and signal.getsignal(number) == signal.SIG_IGN)
    }
    try:
        yield
    finally:
        for number, earlier in before.items():
            signal.signal(number, earlier)
