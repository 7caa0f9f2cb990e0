"""From the bytes of a rule file to its tables, with syntax errors in our own words."""

from __future__ import annotations

import re
import tomllib
from typing import Any, Final

from rules.errors import Problem, RuleFileError
from rules.rulefile.positions import Path, Positions, find_positions

_WHERE: Final = re.compile(r"(.*?) \(at (?:line (\d+), column \d+|end of document)\)", re.DOTALL)
_TWICE: Final = re.compile(r"Cannot (overwrite|declare|mutate|redefine)|Duplicate inline table key")
_SPLIT: Final = re.compile(r"Invalid initial character for a key part|Unclosed inline table")

_IN_OUR_WORDS: Final = (
    ("Cannot|Duplicate", "a name is written twice, or is a value in one place and a table in another"),
    ("Expected newline", "one `key = value` stands on a line, and here something follows it"),
    ("Expected '='", "after a key come `=` and its value"),
    ("Invalid initial character", "a key is expected here: letters, digits, - and _ (others in quotes)"),
    ("Invalid statement", "this is no line of a rule file: write `key = value`, `[table]` or `# a comment`"),
    ("Invalid value", 'no value is found after `=`: text stands in quotes ("C4"), numbers, true and false don\'t'),
    ("Unclosed array", "here the list that begins in line {begin} needs a comma, or its closing ]"),
    ("Unclosed inline table", "here the table that begins in line {begin} needs a comma, or its closing }"),
    (r"Expected '\]", "the header of a table ends with as many ] as it begins with ["),
    (r"Illegal character '\\n'", "a text is not closed on its line: its second quote is missing"),
    (r"Unterminated|Expected [\"']", "the text that begins in line {begin} is not closed: its last quotes are missing"),
    ("Illegal|Found invalid", "a control character stands here, which text can't hold: remove it"),
    (r"Unescaped '\\'", r"a \ in quotes begins an escape such as \n: write \\, or the text in single quotes"),
    ("Invalid hex|Escaped", r"an escape such as \u00e9 has four hex digits, \U0001f3b9 eight"),
    ("Invalid date", "this date or time doesn't exist"),
)

_SPLIT_TABLE: Final = (
    "an inline table { ... } stands on one line, with no comma at its end: join the lines, or give it a header of its "
    "own such as [ports.keys]"
)


def parse(file: str, data: bytes) -> tuple[str, dict[str, Any]]:
    """The text of a rule file and its tables. Raises RuleFileError when it isn't text, or isn't TOML."""
    text = _decoded(file, data)
    try:
        return text, tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _refused(file, *_explained(str(error), text)) from None
    except ValueError:
        raise _refused(
            file, 0, "a number with thousands of digits stands in this file: nothing here is that large"
        ) from None
    except RecursionError:
        raise _refused(file, 0, "lists within lists go too deep: a rule file has only a few levels") from None


def _refused(file: str, line: int, text: str) -> RuleFileError:
    return RuleFileError([Problem(file, line, "", text)])


def _decoded(file: str, data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refused(file, 0, "this file is saved as UTF-16: save it as UTF-8")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _refused(
            file, line, f"byte {data[error.start]:02X} at offset {error.start} is not UTF-8: save the file as UTF-8"
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise _refused(file, line, "this is not a text file: it holds a byte 00. A rule file is written in TOML")
    return text


def _explained(error: str, text: str) -> tuple[int, str]:
    """The line of a syntax error, and what it means."""
    match = _WHERE.fullmatch(error)
    message = match[1] if match else error
    line = int(match[2]) if match and match[2] else text.rstrip("\n").count("\n") + 1
    positions = find_positions(text)
    if _TWICE.match(message) and positions.repeat is not None:
        repeat = positions.repeat
        return repeat.second, f"`{_written(repeat.path)}` is already in line {repeat.first}: write it once"
    if _is_split(message, line, positions):
        return positions.split_table or line, _SPLIT_TABLE
    for pattern, words in _IN_OUR_WORDS:
        if re.match(pattern, message):
            return line, words.replace("{begin}", str(positions.unclosed or line))
    return line, f"this is not TOML: {message}"


def _is_split(message: str, line: int, positions: Positions) -> bool:
    return positions.split_table is not None and positions.split_table <= line and bool(_SPLIT.match(message))


def _written(path: Path) -> str:
    """A path as a dotted key; members of arrays of tables are left out, since a header doesn't number them."""
    return ".".join(part for part in path if isinstance(part, str))
