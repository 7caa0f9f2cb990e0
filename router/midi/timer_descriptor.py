"""A timer that makes a descriptor readable at a given moment: timerfd_create(2) of Linux.

Timeouts of epoll are whole milliseconds, and those of select are late by up to a thousandth. Python's own
`os.timerfd_create` came with 3.13.
"""

from __future__ import annotations

import ctypes
import os
from typing import Final

_MONOTONIC: Final = 1  # CLOCK_MONOTONIC, the clock of `time.monotonic_ns` on Linux (clock_gettime(2))
_CLOSE_ON_EXEC: Final = os.O_CLOEXEC
_NON_BLOCKING: Final = os.O_NONBLOCK
_ABSOLUTE: Final = 1  # TFD_TIMER_ABSTIME
_SECOND_NS: Final = 1_000_000_000


class _Setting(ctypes.Structure):
    """`struct itimerspec`: every so long, from then on; zeros stop the timer."""

    _fields_ = (
        ("every_s", ctypes.c_long),
        ("every_ns", ctypes.c_long),
        ("at_s", ctypes.c_long),
        ("at_ns", ctypes.c_long),
    )


class TimerDescriptor:
    """`descriptor` is readable from the moment that was set, until another is set. Raises OSError."""

    def __init__(self) -> None:
        library = ctypes.CDLL(None, use_errno=True)
        self._settime = library.timerfd_settime
        self.descriptor: int = library.timerfd_create(_MONOTONIC, _CLOSE_ON_EXEC | _NON_BLOCKING)
        if self.descriptor < 0:
            raise OSError(ctypes.get_errno(), "timerfd_create")
        self._setting = _Setting()
        self._address = ctypes.byref(self._setting)
        self._at = 0

    def set(self, at: int) -> None:
        """Set the moment (ns of `time.monotonic_ns`, from 1 to NEVER); the same one again costs nothing."""
        if at != self._at:
            self._at = at
            self._setting.at_s, self._setting.at_ns = divmod(at, _SECOND_NS)
            self._settime(self.descriptor, _ABSOLUTE, self._address, None)

    def __del__(self) -> None:
        """Give the descriptor back."""
        if self.descriptor >= 0:
            os.close(self.descriptor)
