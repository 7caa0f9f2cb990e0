"""Where each key of a TOML text stands: a scanner of our own, since `tomllib` keeps no positions.

It never judges: it takes any text, and on one that `tomllib` refuses it stops where it is lost and tells what it found
until then. Lines count from 1. A path names keys by text and members of arrays by number, from 0.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from typing import Final

Path = tuple[str | int, ...]

_SPACE: Final = re.compile(r"[ \t]*")
_BLANK: Final = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_KEY_PART: Final = re.compile(r"""[\w-]+|"(?:[^"\\\n]++|\\.)*+"|'[^'\n]*+'""")
_DOT: Final = re.compile(r"[ \t]*\.[ \t]*")
_EQUALS: Final = re.compile(r"[ \t]*=[ \t]*")
_SCALAR: Final = re.compile(
    r'"""(?:[^"\\]++|\\[\s\S]|"{1,2}(?!"))*+"{3,5}'
    r"|'''(?:[^']++|'{1,2}(?!'))*+'{3,5}"
    r'|"(?:[^"\\\n]++|\\.)*+"'
    r"|'[^'\n]*+'"
    r"|[^,\[\]{}\n#]++"
)


@dataclass(frozen=True, slots=True)
class Repeat:
    """A key or table that is written twice: its path, the line of the first time and that of the second."""

    path: Path
    first: int
    second: int


@dataclass(slots=True)
class Positions:
    """What the scanner found.

    That is the line of each path, the first repeated key, and the line of the first inline table that is left open at
    the end of a line or ends in a comma: errors in TOML 1.0 that deserve an explanation. `unclosed` is the line where
    the list, table or text begins that was open when the scanner got lost.
    """

    lines: dict[Path, int] = field(default_factory=dict)
    repeat: Repeat | None = None
    split_table: int | None = None
    unclosed: int | None = None

    def line(self, path: Path) -> int:
        """The line of `path`, or of the nearest table around it that is written; 1 for the whole text."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)


def find_positions(text: str) -> Positions:
    """Scan a whole TOML text. Never raises."""
    scanner = _Scanner(text.replace("\r\n", "\n"))
    try:
        scanner.statements()
    except _Lost:
        return scanner.found
    return scanner.found


class _Lost(Exception):
    """The text isn't TOML from here on."""


@dataclass(slots=True)
class _Open:
    """An array (`closing` is `]`) or inline table that isn't closed yet. `count` is how many members it has so far."""

    path: Path
    closing: str
    line: int
    count: int = 0


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found = Positions()
        self.members: dict[Path, int] = {}
        """How many members each array of tables has so far."""
        self.whole: set[Path] = set()
        """Keys with a value and tables with a header: writing one again is an error."""
        self._counted = 0
        self._line = 1

    def statements(self) -> None:
        table: Path = ()
        while True:
            self._skip(_BLANK)
            if self.at >= len(self.text):
                return
            if self.text.startswith("[[", self.at):
                table = self._array_header()
            elif self.text.startswith("[", self.at):
                table = self._table_header()
            else:
                self._pair(table)

    def line(self) -> int:
        """The line of the place that the scanner has reached; counts on from the last time it was asked."""
        self._line += self.text.count("\n", self._counted, self.at)
        self._counted = self.at
        return self._line

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise _Lost
        self.at = match.end()
        return match[0]

    def _expect(self, token: str) -> None:
        self._skip(_SPACE)
        if not self.text.startswith(token, self.at):
            raise _Lost
        self.at += len(token)

    def _array_header(self) -> Path:
        self.at += 2
        line = self.line()
        path = self._resolved(self._key(), line)
        self._expect("]]")
        if path in self.whole:
            self._repeated(path, line)
        self.found.lines.setdefault(path, line)
        number = self.members.get(path, 0)
        self.members[path] = number + 1
        self.found.lines[(*path, number)] = line
        return (*path, number)

    def _table_header(self) -> Path:
        self.at += 1
        line = self.line()
        path = self._resolved(self._key(), line)
        self._expect("]")
        if path in self.whole or path in self.members:
            self._repeated(path, line)
        self.whole.add(path)
        self.found.lines.setdefault(path, line)
        return path

    def _resolved(self, key: list[str], line: int) -> Path:
        """A header's key as a path: inside an array of tables it means the last member."""
        path: Path = ()
        for part in key[:-1]:
            path = (*path, part)
            self.found.lines.setdefault(path, line)
            if path in self.members:
                path = (*path, self.members[path] - 1)
        return (*path, key[-1])

    def _key(self) -> list[str]:
        self._skip(_SPACE)
        parts = [_unquoted(self._skip(_KEY_PART))]
        while (match := _DOT.match(self.text, self.at)) is not None:
            self.at = match.end()
            parts.append(_unquoted(self._skip(_KEY_PART)))
        return parts

    def _pair(self, table: Path) -> None:
        """Scan one `key = value`, with all that is in the value. A loop, so that depth doesn't matter."""
        opened: list[_Open] = []
        self._member(table, opened)
        while opened:
            inner = opened[-1]
            self.found.unclosed = inner.line
            if self._closed(inner):
                opened.pop()
                continue
            inner.count += 1
            if inner.closing == "]":
                path = (*inner.path, inner.count - 1)
                self.found.lines[path] = self.line()
                self._value(path, opened)
            else:
                self._member(inner.path, opened)
        self.found.unclosed = None

    def _closed(self, inner: _Open) -> bool:
        """Go on to the next member of an array or inline table, or past its end."""
        broken = "\n" in self._skip(_BLANK)
        comma = self.text.startswith(",", self.at)
        if comma and inner.count:
            self.at += 1
            broken |= "\n" in self._skip(_BLANK)
        closed = self.text.startswith(inner.closing, self.at)
        if inner.closing == "}" and (broken or (comma and closed)) and self.found.split_table is None:
            self.found.split_table = inner.line
        if not closed and not comma and inner.count:
            raise _Lost
        self.at += closed
        return closed

    def _member(self, table: Path, opened: list[_Open]) -> None:
        """Scan one key with its value, in a table of either kind."""
        line = self.line()
        path = table
        for part in self._key():
            path = (*path, part)
            self.found.lines.setdefault(path, line)
        if path in self.whole or path in self.members:
            self._repeated(path, line)
        self.whole.add(path)
        self._skip(_EQUALS)
        self._value(path, opened)

    def _value(self, path: Path, opened: list[_Open]) -> None:
        """Scan a simple value whole; of an array or inline table only the beginning."""
        first = self.text[self.at : self.at + 1]
        if first in ("[", "{"):
            opened.append(_Open(path, "]" if first == "[" else "}", self.line()))
            self.at += 1
            return
        start, line = self.at, self.line()
        text = self._skip(_SCALAR)
        if text in ('""', "''") and self.text.startswith(text[0] * 3, start):
            self.found.unclosed = line
            raise _Lost

    def _repeated(self, path: Path, line: int) -> None:
        if self.found.repeat is None:
            self.found.repeat = Repeat(path, self.found.lines[path], line)


def _unquoted(part: str) -> str:
    """A part of a key without its quotes."""
    if part.startswith("'"):
        return part[1:-1]
    if part.startswith('"'):
        return _unescaped(part) if "\\" in part else part[1:-1]
    return part


def _unescaped(quoted: str) -> str:
    try:
        return str(tomllib.loads(f"key = {quoted}")["key"])
    except ValueError:
        raise _Lost from None
