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
from typing import BinaryIO, Final, Self, TextIO

from router.text.formatting import count

_ERRORS: Final = 2  # the descriptor of standard error
_MOST_LINES: Final = 8
_MOST_BYTES: Final = 65_536  # of which lines are told
_MOST_AT_ONCE: Final = 64 * 1024 * 1024  # bytes: far more than is written within a look
_LONG_FILE: Final = 256 * 1024  # bytes

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

    def __init__(self) -> None:
        self.missed = 0
        self.overruns = 0
        self._file = _temporary_file()
        self._read = 0  # bytes of it
        self._unfinished = 0  # bytes behind the last whole line, at the last look
        self._former: BinaryIO | None = None
        self._former_read = 0
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
        os.dup2(self._file.fileno(), _ERRORS)
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
        """What was written since the last look.

        Nothing is ever cut off a file, as libraries write at the same time: a long one gives way to a new one, and is
        read once more at the next look, since somebody may have been just about to write.
        """
        if self._former is not None:
            yield _behind(self._former, self._former_read)
            self._former.close()
            self._former = None
        new = self._finished(_behind(self._file, self._read))
        yield new
        self._read += len(new)
        if self._read > _LONG_FILE:
            self._former, self._former_read = self._file, self._read
            self._file, self._read, self._unfinished = _temporary_file(), 0, 0
            os.dup2(self._file.fileno(), _ERRORS)

    def _finished(self, new: bytes) -> bytes:
        """Return whole lines: somebody may be in the midst of writing the last one. One that has not grown is whole."""
        end = new.rfind(b"\n") + 1
        unfinished, self._unfinished = self._unfinished, len(new) - end
        return new if not end and len(new) == unfinished else new[:end]

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        os.dup2(self._terminal, _ERRORS)
        if sys.stderr is not self._before and not sys.stderr.closed:
            sys.stderr.flush()
            sys.stderr = self._before
        os.close(self._terminal)
        self._file.close()
        if self._former is not None:
            self._former.close()


def _temporary_file() -> BinaryIO:
    return tempfile.TemporaryFile(buffering=0)


def _behind(file: BinaryIO, begin: int) -> bytes:
    """Return what a file has behind `begin`. The loop asks each second: mostly it is nothing, at no cost."""
    length = os.fstat(file.fileno()).st_size - begin
    return os.pread(file.fileno(), min(length, _MOST_AT_ONCE), begin) if length > 0 else b""


def _meaning(line: str) -> str:
    """In words for who plays, where we know them."""
    return next((meaning for words, meaning in _MEANINGS.items() if words in line), line)


def _is_descriptor(stream: TextIO | None) -> bool:
    """Return whether a stream writes to the descriptor of standard error."""
    try:
        return stream is not None and stream.fileno() == _ERRORS
    except (OSError, ValueError):
        return False
