"""The terminal: colour where someone looks at one, and streams that no file name can break.

Colour only repeats what the words say; NO_COLOR (https://no-color.org) turns it off.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from typing import Final, TextIO

from router.text.formatting import plain, why
from rules.errors import MachineError

_CODES: Final = {"good": "32", "bad": "31", "mild": "33", "strong": "1"}


def shows_colour(stream: TextIO) -> bool:
    """Return whether `stream` is a terminal that takes colours, and its user wants them."""
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" or os.name == "nt":
        return False
    return is_terminal(stream)


def is_terminal(stream: TextIO | None) -> bool:
    """Return whether someone looks at `stream`; a closed or missing one is looked at by nobody."""
    try:
        return stream is not None and stream.isatty()
    except ValueError:
        return False


def screen_width() -> int:
    """The columns of the terminal that shows the results; 80 where none does."""
    if not is_terminal(sys.stdout):
        return 80
    import shutil  # brings three compressors along

    return shutil.get_terminal_size().columns


def painted(text: str, mood: str, stream: TextIO) -> str:
    """Return `text` in the colour of `mood` (good, bad, mild, strong) if `stream` shows colours."""
    return f"\x1b[{_CODES[mood]}m{text}\x1b[0m" if shows_colour(stream) else text


class OutputError(MachineError):
    """Standard output can't be written: its disk is full, for instance."""


def say(lines: Iterable[str]) -> None:
    """Print results, a line each. Raises BrokenPipeError where nobody reads them, OutputError where they can't go."""
    with _written():
        for line in lines:
            print(line)


def flush() -> None:
    """Bring out all that was printed. Raises as `say` does."""
    with _written():
        sys.stdout.flush()


def complain(lines: Iterable[str]) -> None:
    """Print what went wrong, a line each, to standard error and after all results so far."""
    flush()
    with suppress(OSError):  # there is nobody left to tell
        for line in lines:
            print(line, file=sys.stderr)


@contextmanager
def _written() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(f"the output can't be written: {why(error)}") from error


def problem(text: str) -> str:
    """Return one problem as it is printed: safe for a terminal, red where colours are shown."""
    return painted(plain(text), "bad", sys.stderr)


def take_any_name() -> None:
    """Let both streams print file names that are not valid text, as codes, instead of failing on them."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
