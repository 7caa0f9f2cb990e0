"""How large rule files may be: limits far above what a rig needs, which keep reading them quick.

The text is looked at before it is parsed, since a parser needs time that grows with the square of some lengths. Then
the tables are counted before they are validated: that is done in long steps, which would hold up the music.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from rules.errors import Problem, RuleFileError

COMMAS: Final = 500_000
"""Entries of lists and inline tables in one file."""
KEY_PARTS: Final = 8
DOTS_IN_KEYS: Final = 50_000
WORD_LENGTH: Final = 1_000
TEXT_LENGTH: Final = 100_000
ENTRIES: Final = 10_000
"""Values, lists and tables inside one rule, device and so on."""
MESSAGES_IN_TEST: Final = 200_000

TOGETHER: Final[Mapping[str, int]] = {
    "ports": 1_000,
    "devices": 1_000,
    "switches": 1_000,
    "rules": 10_000,
    "on_switch": 1_000,
    "songs": 64,
    "tests": 10_000,
    "promises": 1_000,
}
"""How many of a kind all files together may have; of songs as many as a switch has values."""

_BARE: Final = re.compile(rf"[\w-]{{1,{WORD_LENGTH + 1}}}+")
_DOT: Final = re.compile(r"[ \t]{0,1000}+\.[ \t]{0,1000}+")
_OTHER: Final = re.compile(r"""[^\w\-"'#]{1,1000}+|#[^\n]*+""")


def check_text(file: str, text: str) -> None:
    """Raise RuleFileError, with the line, where the text of a file goes beyond what may be parsed.

    What isn't TOML is left to the parser.
    """
    if text.count(",") > COMMAS:
        raise RuleFileError([Problem(file, 0, "", f"this file has more than {COMMAS:,} commas: split it into several")])
    at = dotted = parts = 0
    while at < len(text):
        start = at
        if word := _BARE.match(text, at):
            at = word.end()
            fault = (
                f"a word or number of more than {WORD_LENGTH:,} characters: shorten it"
                if at - start > WORD_LENGTH
                else ""
            )
        elif text[at] in "\"'":
            at = _text_end(text, at)
            fault = f"a text of more than {TEXT_LENGTH:,} characters: shorten it" if at - start > TEXT_LENGTH else ""
        else:
            other = _OTHER.match(text, at)
            at = other.end() if other is not None else at + 1
            parts = 0
            continue
        if dot := _DOT.match(text, at):
            at = dot.end()
            parts += 1
            dotted += 1
        if parts >= KEY_PARTS:
            fault = f"a key of more than {KEY_PARTS} parts: write the header of a table, such as [ports.keys]"
        elif dotted > DOTS_IN_KEYS:
            fault = f"more than {DOTS_IN_KEYS:,} dots in keys: write the header of a table, such as [ports.keys]"
        if fault:
            raise RuleFileError([Problem(file, text.count("\n", 0, start) + 1, "", fault)])


def _text_end(text: str, at: int) -> int:
    """Where the text in quotes ends that begins at `at`; for one without an end, that of its line."""
    quote = text[at]
    if text.startswith(quote * 3, at):
        end = _closing(text, at + 3, len(text), quote * 3)
        while text[end : end + 1] == quote:
            end += 1
        return end
    end = _closing(text, at + 1, min(len(text), at + TEXT_LENGTH + 1), quote)
    line_end = text.find("\n", at, end)
    return end if line_end < 0 else line_end


def _closing(text: str, at: int, most: int, quotes: str) -> int:
    """Behind the next quotes that no backslash escapes, `most` if there are none."""
    while True:
        found = text.find(quotes, at, most)
        if found < 0:
            return most
        slashes = 0
        while quotes[0] == '"' and found - slashes > at and text[found - slashes - 1] == "\\":
            slashes += 1
        if slashes % 2 == 0:
            return found + len(quotes)
        at = found + 1


def too_many_entries(section: str, table: Any) -> str:
    """What is wrong with a table that holds too much, such as one rule; empty when it doesn't."""
    if section == "tests":
        if _holds_more(table, 2 * MESSAGES_IN_TEST):
            return f"this test has more than {MESSAGES_IN_TEST:,} messages: split it into several tests"
    elif _holds_more(table, ENTRIES):
        return f"this table has more than {ENTRIES:,} entries: split it into several"
    return ""


def _holds_more(table: Any, most: int) -> bool:
    """Whether more than `most` values, lists and tables are in a table, at all depths."""
    amount = 0
    waiting = [table]
    while waiting:
        inside = waiting.pop()
        if isinstance(inside, list | dict):
            amount += len(inside)
            if amount > most:
                return True
            waiting += inside.values() if isinstance(inside, dict) else inside
    return False
