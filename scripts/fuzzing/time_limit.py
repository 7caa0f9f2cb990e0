"""How long a damaged file may take."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Final

SECONDS_A_FILE: Final = 10


class HangError(Exception):
    """It took too long."""


@contextmanager
def time_limit(seconds: int) -> Iterator[None]:
    """Raise HangError when what runs takes more seconds of the processor, so that a busy machine is no fault."""

    def hangs(signum: int, frame: FrameType | None) -> None:
        raise HangError(f"longer than {seconds} s")

    before = signal.signal(signal.SIGPROF, hangs)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
