"""What the libraries below Python write to standard error by themselves, kept away from the terminal.

A sound server that dies makes them write hundreds of lines, in words for programmers. They are collected here, and can
be told in their place.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter
from types import TracebackType
from typing import Final, Self, TextIO

_ERRORS: Final = 2  # the descriptor of standard error
_MOST_LINES: Final = 8
_MOST_BYTES: Final = 65_536

_OVERRUN: Final = (
    "more came in at once than ALSA keeps, and what waited there is lost. If a note hangs, run pointsman panic"
)
_MEANINGS: Final = {
    "MIDI input buffer overrun": _OVERRUN,
    "alsaMidiHandler: unknown MIDI input error": _OVERRUN,  # RtMidi asks twice, and only the first answer tells
    "System reports: Resource temporarily unavailable": "",
    "message queue limit reached": "more came in at once than Pointsman keeps, and the newest is lost. "
    "If a note hangs, run pointsman panic",
    "MidiBufferMixdown - got invalid next event": "JACK cleared messages before they were read, and some may be lost. "
    "If a note hangs, run pointsman panic",
    "MidiBufferMixdown - invalid source buffer": "a port came or went while JACK read it",
}
"""What lines with these words in them mean for who plays, if anything. The words are those of RtMidi 5.0 and JACK 2."""


class LibraryStderr:
    """While this lasts, libraries write into a file that nobody has to read, and Python to standard error as before."""

    def __init__(self) -> None:
        self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115
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
        if not self._file.tell():  # each writer moves the place where all write
            return []
        self._file.seek(0)
        written = self._file.read(_MOST_BYTES)
        self._file.seek(0)
        self._file.truncate()
        meanings = map(_meaning, written.decode("utf-8", "replace").splitlines())
        counts = Counter(meaning for meaning in meanings if meaning.strip())
        told = [line if times == 1 else f"{line} ({times} times)" for line, times in counts.items()]
        more = [f"and {len(told) - _MOST_LINES} more lines"] if len(told) > _MOST_LINES else []
        return told[:_MOST_LINES] + more

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        os.dup2(self._terminal, _ERRORS)
        if sys.stderr is not self._before and not sys.stderr.closed:
            sys.stderr.flush()
            sys.stderr = self._before
        os.close(self._terminal)
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
