"""From the bytes of a rule file to its tables, with syntax errors in our own words."""

from __future__ import annotations

import re
import tomllib
from typing import Any, Final

from rules.errors import Problem, RuleFileError
from rules.rulefile.limits import check_text
from rules.rulefile.positions import Path, Positions, find_positions
from rules.rulefile.schema import LISTED_SECTIONS

_WHERE: Final = re.compile(r"(.*?) \(at (?:line (\d+), column \d+|end of document)\)", re.DOTALL)
_TWICE: Final = re.compile(r"Cannot (overwrite|declare|mutate|redefine)|Duplicate inline table key")
_SPLIT: Final = re.compile(r"Invalid initial character for a key part|Unclosed inline table")

_IN_OUR_WORDS: Final = (
    ("Cannot|Duplicate", "a name is written twice, or is a value in one place and a table in another: write it once"),
    ("Expected newline", "something follows the value on this line: write one `setting = value` a line"),
    ("Expected '='", "write `=` and a value after the name. A name with a space needs quotes"),
    ("Invalid initial character", "write a name here, of letters, digits, - and _, or any other name in quotes"),
    ("Invalid statement", "this isn't a line of a rule file: write `setting = value`, `[table]` or `# a comment`"),
    ("Invalid value", 'there is no value after `=`: write text in quotes ("C4"), and numbers, true and false without'),
    ("Unclosed array", "the list that begins in line {begin} needs a comma here, or its closing ]"),
    ("Unclosed inline table", "the table that begins in line {begin} needs a comma here, or its closing }"),
    (r"Expected '\]", "a header needs as many ] as [: write it as in [ports] or [[rules]]"),
    (r"Illegal character '\\n'", "the text isn't closed on its line: write its second quote"),
    (r"Unterminated|Expected [\"']", "the text that begins in line {begin} isn't closed: write its last quotes"),
    ("Illegal|Found invalid", "there is a control character here: remove it"),
    (r"Unescaped '\\'", r"a \ in quotes begins an escape such as \n: write \\, or put the text in single quotes"),
    ("Invalid hex|Escaped", r"write an escape such as \u00e9 with four hex digits, or \U0001f3b9 with eight"),
    ("Invalid date", "this date or time doesn't exist: write it in quotes if it is text"),
)

_SPLIT_TABLE: Final = (
    "an inline table { ... } belongs on one line, with a } and no comma at its end: "
    "join the lines, or write a header such as [ports.keys]"
)


_CURLY: Final = re.compile("[\u201c\u201d\u201e\u2018\u2019\u00ab\u00bb]")
_STRAIGHT_TEXT: Final = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'|#.*")
_CURLY_QUOTES: Final = 'the quotes on this line are curly: write straight ones, as in "C4"'


def parse(file: str, data: bytes) -> tuple[str, dict[str, Any]]:
    """The text of a rule file and its tables. Raises RuleFileError when it isn't text, isn't TOML, or
    goes beyond the limits of a rule file."""
    text = _decoded(file, data)
    check_text(file, text)
    try:
        return text, tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _refused(file, *_explained(str(error), text)) from None
    except RecursionError:
        raise _refused(
            file, 0, "this file has lists within lists within lists: a rule file needs only a few levels"
        ) from None


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
        raise _refused(file, line, "this is not a text file, because it has a byte 00: save the rules as plain text")
    return text


def _explained(error: str, text: str) -> tuple[int, str]:
    """The line of a syntax error, and what it means."""
    match = _WHERE.fullmatch(error)
    message = match[1] if match else error
    line = int(match[2]) if match and match[2] else text.rstrip("\n").count("\n") + 1
    positions = find_positions(text)
    if _TWICE.match(message) and positions.repeat is not None:
        repeat = positions.repeat
        name = _written(repeat.path)
        remedy = f"write the header [[{name}]] for each" if name in LISTED_SECTIONS else "write it once"
        return repeat.second, f"`{name}` is already in line {repeat.first}: {remedy}"
    if _is_split(message, line, positions):
        return positions.split_table or line, _SPLIT_TABLE
    if _CURLY.search(_STRAIGHT_TEXT.sub("", text.splitlines()[line - 1] if text.strip() else "")):
        return line, _CURLY_QUOTES
    for pattern, words in _IN_OUR_WORDS:
        if re.match(pattern, message):
            return line, words.replace("{begin}", str(positions.unclosed or line))
    return line, f"this is not TOML: {message}"


def _is_split(message: str, line: int, positions: Positions) -> bool:
    return positions.split_table is not None and positions.split_table <= line and bool(_SPLIT.match(message))


def _written(path: Path) -> str:
    """A path as a dotted key; members of arrays of tables are left out, since a header doesn't number them."""
    return ".".join(part for part in path if isinstance(part, str))
