"""What the libraries below Python write to standard error by themselves, kept away from the terminal.

A sound server that dies makes them write hundreds of lines, in words for programmers. They are collected here, and can
be told in their place.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from types import TracebackType
from typing import Final, Self, TextIO

from router.files.clock import SYSTEM_CLOCK, Clock
from router.text.formatting import count

_ERRORS: Final = 2  # the descriptor of standard error
_MOST_LINES: Final = 8
_MOST_BYTES: Final = 65_536  # of which lines are told
_MOST_AT_ONCE: Final = 64 * 1024 * 1024  # bytes: far more than is written within a look
_LONG_FILE: Final = 256 * 1024  # bytes
_QUIET_NS: Final = 500_000_000  # a write takes microseconds

_OVERRUN: Final = (
    "more came in at once than ALSA keeps, and what waited there is lost. If a note hangs, run pointsman panic"
)
_MEANINGS: Final = {
    "MIDI input buffer overrun": _OVERRUN,
    "alsaMidiHandler: unknown MIDI input error": _OVERRUN,  # RtMidi asks twice, and only the first answer tells
    "System reports: Resource temporarily unavailable": "",
    "MidiBufferMixdown - got invalid next event": "JACK cleared messages before they were read, and some may be lost. "
    "If a note hangs, run pointsman panic",
    "MidiBufferMixdown - invalid source buffer": "a port came or went while JACK read it",
}
"""What lines with these words in them mean for who plays, if anything. The words are those of RtMidi 5.0 and JACK 2."""


_MISSED: Final = re.compile(rb"\n*MidiIn\w+: message queue limit reached!*\n*")
"""RtMidi writes this for each message that came in and found no room among those that wait for us."""


class LibraryStderr:
    """While this lasts, libraries write into a file that nobody has to read, and Python to standard error as before.

    `missed` counts the messages that an input had no room for, as far as `lines` has seen. They come by the thousand,
    so none of those lines is told. `overruns` counts how often ALSA lost what waited there, however much that was.
    """

    def __init__(self, clock: Clock = SYSTEM_CLOCK) -> None:
        self.missed = 0
        self.overruns = 0
        self._now_ns = clock.now_ns
        self._files = [_WrittenFile(clock.now_ns())]  # libraries write into the last one
        self._terminal = -1
        self._before: TextIO = sys.stderr

    def __enter__(self) -> Self:
        self._before = sys.stderr
        if _is_descriptor(sys.stderr):
            sys.stderr.flush()
            self._terminal = os.dup(_ERRORS)
            sys.stderr = open(self._terminal, "w", buffering=1, errors="backslashreplace", closefd=False)
        else:  # somebody listens to Python's own stream already; the descriptor is free
            self._terminal = os.dup(_ERRORS)
        os.dup2(self._files[-1].descriptor, _ERRORS)
        return self

    def lines(self) -> list[str]:
        """Return the first few lines written since the last look, each once, with how often it came."""
        written = b"".join(self._unread())
        if not written:
            return []
        written, missed = _MISSED.subn(b"\n", written)
        self.missed += missed
        written = written[:_MOST_BYTES]
        meanings = map(_meaning, written.decode("utf-8", "replace").splitlines())
        counts = Counter(meaning for meaning in meanings if meaning.strip())
        self.overruns += counts[_OVERRUN]
        told = [line if times == 1 else f"{line} ({times} times)" for line, times in counts.items()]
        more = [f"and {count(len(told) - _MOST_LINES, 'more line')}"] if len(told) > _MOST_LINES else []
        return told[:_MOST_LINES] + more

    def _unread(self) -> Iterator[bytes]:
        """The whole lines written since the last look.

        Nothing is ever cut off a file, as libraries write at the same time: a long one gives way to a new one, and is
        read on for as long as somebody may still be about to write into it.
        """
        now = self._now_ns()
        yield from (file.new_lines(now) for file in self._files)
        *former, written = self._files
        for file in former:
            if file.is_quiet(now):
                file.close()
                self._files.remove(file)
        if written.read > _LONG_FILE:
            self._files.append(_WrittenFile(now))
            os.dup2(self._files[-1].descriptor, _ERRORS)

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        os.dup2(self._terminal, _ERRORS)
        if sys.stderr is not self._before and not sys.stderr.closed:
            sys.stderr.flush()
            sys.stderr = self._before
        os.close(self._terminal)
        for file in self._files:
            file.close()


class _WrittenFile:
    """A file that libraries write into while it is read. `read` counts the bytes of the lines that were returned."""

    def __init__(self, now: int) -> None:
        self.read = 0
        self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115 - closed by `close`
        self.descriptor = self._file.fileno()
        self._length = 0  # bytes, at the last look
        self._grew_at = now

    def new_lines(self, now: int) -> bytes:
        """Return the lines written since the last look. The loop asks often: mostly it is nothing, at no cost.

        Somebody may be in the midst of writing the last line, if it has no end yet: it is whole once all is quiet.
        """
        length = os.fstat(self.descriptor).st_size
        if length != self._length:
            self._length, self._grew_at = length, now
        if length == self.read:
            return b""
        new = os.pread(self.descriptor, min(length - self.read, _MOST_AT_ONCE), self.read)
        lines = new if self.is_quiet(now) else new[: new.rfind(b"\n") + 1]
        self.read += len(lines)
        return lines

    def is_quiet(self, now: int) -> bool:
        """Return whether nobody has written into it for so long that nobody is still about to."""
        return now - self._grew_at >= _QUIET_NS

    def close(self) -> None:
        self._file.close()


def _meaning(line: str) -> str:
    """In words for who plays, where we know them."""
    return next((meaning for words, meaning in _MEANINGS.items() if words in line), line)


def _is_descriptor(stream: TextIO | None) -> bool:
    """Return whether a stream writes to the descriptor of standard error."""
    try:
        return stream is not None and stream.fileno() == _ERRORS
    except (OSError, ValueError):
        return False
