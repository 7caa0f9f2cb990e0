"""Bytes that are no rule file, or none that can be read: each is refused in words, with its line."""

from __future__ import annotations

import pytest

from rules.errors import RuleFileError
from rules.rulefile.document import parse


def refusal(data: bytes) -> str:
    """What is said about a file that is refused."""
    with pytest.raises(RuleFileError, match=r"\w") as raised:
        parse("rules.toml", data)
    assert len(raised.value.problems) == 1
    return str(raised.value)


def test_latin_1() -> None:
    """A file in Latin-1 is refused with the byte, its place, and what to do."""
    data = 'middle_c = "C4"\n[ports]\nflügel = { input = "Flügel" }\n'.encode("latin-1")
    assert refusal(data) == "rules.toml:3: byte FC at offset 26 is not UTF-8: save the file as UTF-8"


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16(encoding: str) -> None:
    """A file in UTF-16 with its mark is refused by name."""
    data = "\ufeff[ports]\n".encode(encoding)
    assert refusal(data) == "rules.toml: this file is saved as UTF-16: save it as UTF-8"


def test_no_text_at_all() -> None:
    """A file with bytes 00, such as a picture or UTF-16 without its mark, is told from a text."""
    assert refusal(b"a = 1\nb\0c = 2") == (
        "rules.toml:2: this is not a text file, because it has a byte 00: save the rules as plain text"
    )


def test_midi_file() -> None:
    """A MIDI file in the place of a rule file is refused as no text."""
    assert "this is not a text file" in refusal(bytes.fromhex("4D546864 00000006 0000 0001 0060"))


def test_numbers_without_end() -> None:
    """A number of thousands of digits, which Python doesn't read, is refused and not a crash."""
    assert refusal(b"bpm = " + b"9" * 5000) == (
        "rules.toml:1: a word or number of more than 1,000 characters: shorten it"
    )


def test_lists_without_end() -> None:
    """Lists within lists, deeper than Python goes, are refused and not a crash."""
    assert refusal(b"bpm = " + b"[" * 20_000 + b"]" * 20_000) == (
        "rules.toml: this file has lists within lists within lists: a rule file needs only a few levels"
    )


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('bpm = "fast\n', 1, "the text isn't closed on its line: write its second quote"),
        ('bpm = "fast', 1, "the text that begins in line 1 isn't closed: write its last quotes"),
        ("\na = '''x\ny = 3", 3, "the text that begins in line 2 isn't closed: write its last quotes"),
        ('a = [\n"""x\n]', 3, "the text that begins in line 2 isn't closed: write its last quotes"),
        ('a = "x\\u12"', 1, r"write an escape such as \u00e9 with four hex digits, or \U0001f3b9 with eight"),
        ('a = "x\ty\x01"', 1, "there is a control character here: remove it"),
        ("# comment \x07", 1, "there is a control character here: remove it"),
        ("a = [1,\n2\nb = 3", 3, "the list that begins in line 1 needs a comma here, or its closing ]"),
        ("a = [\n{ b = 1 }\n{ c = 1 }\n]", 3, "the list that begins in line 1 needs a comma here, or its closing ]"),
        ("a = [\n{ b = 1 c = 2 }]", 2, "the table that begins in line 2 needs a comma here, or its closing }"),
        ("a. = 1", 1, "write a name here, of letters, digits, - and _, or any other name in quotes"),
        ("[[rules]\n", 1, "a header needs as many ] as [: write it as in [ports] or [[rules]]"),
        ("a = 1979-02-30", 1, "this date or time doesn't exist: write it in quotes if it is text"),
        ("x = 1\na = { b = 1, b = 2 }", 2, "`a.b` is already in line 2: write it once"),
        (
            "a = { b = 1 }\na.c = 2",
            2,
            "a name is written twice, or is a value in one place and a table in another: write it once",
        ),
    ],
)
def test_syntax_errors_have_their_line_and_our_own_words(text: str, line: int, words: str) -> None:
    """Whatever the reader of TOML calls them."""
    assert refusal(text.encode()) == f"rules.toml:{line}: {words}"
