"""Positions in TOML texts: every key of what `tomllib` reads has its line."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.rulefile.positions import Path, find_positions

TEXT = """\
# a comment = not a key
title = "a # b = [c]"  # behind it
middle.c = 1
"quoted key" = 2
'literal.key' = 3
"esc\\u00e9 \\"x\\"" = 4

[ports]
seq = { both = "Step Box*", steps = [{ velocity = { scale_to = "20..127" } }] }
list = [
  1, # one
  2,

  { a = 3, b = [4,
    5] },
]
text = \"\"\"
[not a table]
key = "no key\"\"\"\"
raw = '''
[[nor this]]'''
when = 1979-05-27 07:32:00

[[rules]]
name = "one"
[[rules.zones]]
notes = "..B3"
[[rules.zones]]
notes = "C4.."
[rules.to]
1 = "a"

[[rules]]
[rules.deep.er]
x.y.z = 1
"""

EXPECTED: dict[Path, int] = {
    ("title",): 2,
    ("middle",): 3,
    ("middle", "c"): 3,
    ("quoted key",): 4,
    ("literal.key",): 5,
    ('escé "x"',): 6,
    ("ports",): 8,
    ("ports", "seq"): 9,
    ("ports", "seq", "both"): 9,
    ("ports", "seq", "steps"): 9,
    ("ports", "seq", "steps", 0): 9,
    ("ports", "seq", "steps", 0, "velocity"): 9,
    ("ports", "seq", "steps", 0, "velocity", "scale_to"): 9,
    ("ports", "list"): 10,
    ("ports", "list", 0): 11,
    ("ports", "list", 1): 12,
    ("ports", "list", 2): 14,
    ("ports", "list", 2, "a"): 14,
    ("ports", "list", 2, "b"): 14,
    ("ports", "list", 2, "b", 0): 14,
    ("ports", "list", 2, "b", 1): 15,
    ("ports", "text"): 17,
    ("ports", "raw"): 20,
    ("ports", "when"): 22,
    ("rules",): 24,
    ("rules", 0): 24,
    ("rules", 0, "name"): 25,
    ("rules", 0, "zones"): 26,
    ("rules", 0, "zones", 0): 26,
    ("rules", 0, "zones", 0, "notes"): 27,
    ("rules", 0, "zones", 1): 28,
    ("rules", 0, "zones", 1, "notes"): 29,
    ("rules", 0, "to"): 30,
    ("rules", 0, "to", "1"): 31,
    ("rules", 1): 33,
    ("rules", 1, "deep"): 34,
    ("rules", 1, "deep", "er"): 34,
    ("rules", 1, "deep", "er", "x"): 35,
    ("rules", 1, "deep", "er", "x", "y"): 35,
    ("rules", 1, "deep", "er", "x", "y", "z"): 35,
}


def paths_of(value: Any, path: Path = ()) -> set[Path]:
    """Every path of a parsed document."""
    members: list[tuple[str | int, Any]] = []
    if isinstance(value, dict):
        members = list(value.items())
    elif isinstance(value, list):
        members = list(enumerate(value))
    return {path}.union(*(paths_of(member, (*path, key)) for key, member in members))


def test_lines_of_all_forms() -> None:
    """Tables, arrays of tables, dotted and quoted keys, inline and multi-line values have the line they stand on."""
    assert find_positions(TEXT).lines == EXPECTED
    assert paths_of(tomllib.loads(TEXT)) == {(), *EXPECTED}


def test_line_ends_of_dos() -> None:
    """A file with CR LF has the same lines."""
    assert find_positions(TEXT.replace("\n", "\r\n")).lines == EXPECTED


def test_what_isnt_written_has_the_line_around_it() -> None:
    """A path that no key stands for has the line of the nearest table around it, and line 1 outside all of them."""
    positions = find_positions(TEXT)
    assert positions.line(("rules", 1, "steps", 4)) == 33
    assert positions.line(("nothing", "here")) == 1
    assert positions.line(()) == 1


@pytest.mark.parametrize(
    ("text", "path", "first", "second"),
    [
        ("a = 1\nb = 2\na = 3", ("a",), 1, 3),
        ("[ports]\nseq = 1\n\n[ports]\n", ("ports",), 1, 4),
        ("[ports]\nseq = 1\nseq = 2", ("ports", "seq"), 2, 3),
        ("[ports]\nseq = { both = 1, both = 2 }", ("ports", "seq", "both"), 2, 2),
        ("[[rules]]\nname = 1\nname = 2", ("rules", 0, "name"), 2, 3),
        ("[a.b]\nx = 1\n[a]\nb = 2", ("a", "b"), 1, 4),
        ("a = 1\n[a]", ("a",), 1, 2),
        ("a = 1\n[[a]]", ("a",), 1, 2),
        ("[[a]]\n[a]", ("a",), 1, 2),
        ("[[a.b]]\n[a]\nb = 1", ("a", "b"), 1, 3),
    ],
)
def test_repeated_keys(text: str, path: Path, first: int, second: int) -> None:
    """What is written twice is found with both of its lines; `tomllib` refuses each of these."""
    with pytest.raises(tomllib.TOMLDecodeError, match=r"\w"):
        tomllib.loads(text)
    repeat = find_positions(text).repeat
    assert repeat is not None
    assert (repeat.path, repeat.first, repeat.second) == (path, first, second)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("x = 1\na = { b = 1,\n c = 2 }", 2),
        ("a = {\n b = 1 }", 1),
        ("a = { b = 1\n}", 1),
        ("a = [\n{ b = { c = 1, }, d = 1 }]", 2),
        ("a = { b = [1,\n2,\n], c = 3 }", None),
        ("a = {}", None),
    ],
)
def test_inline_tables_over_several_lines(text: str, line: int | None) -> None:
    """An inline table that is left open at the end of a line, or ends in a comma, is found; its arrays may be long."""
    assert find_positions(text).split_table == line


LETTERS = st.text(alphabet="ab1-_", min_size=1, max_size=3)
ANY_TEXT = st.text(alphabet="ab \\\"'#[]{}=,.\n\u00e9\u2028\U0001f3b9", max_size=4)
SPACES = st.sampled_from(["", " ", "\t "])
GAPS = st.sampled_from(["", " ", "\n", ' # [no = "\n', "\n\n  "])


def spaced(strategy: st.SearchStrategy[str], spaces: st.SearchStrategy[str] = SPACES) -> st.SearchStrategy[str]:
    """A part of the text with spaces, or whatever else is allowed, around it."""
    return st.tuples(spaces, strategy, spaces).map("".join)


def arrays(members: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    """Arrays, over several lines and with a comma at the end if it comes so."""
    return st.tuples(st.lists(spaced(members, GAPS), max_size=3), st.sampled_from(["", ","]), GAPS).map(
        lambda parts: f"[{','.join(parts[0])}{parts[1] if parts[0] else ''}{parts[2]}]"
    )


def tables(members: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    """Inline tables, on one line but for what their values bring."""
    return st.lists(pairs(members), max_size=3).map(lambda inside: f"{{{','.join(inside)}}}")


def pairs(members: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    """A key with its value."""
    return st.tuples(spaced(KEYS), spaced(members)).map("=".join)


QUOTED = ANY_TEXT.map(lambda text: json.dumps(text, ensure_ascii=False))  # JSON escapes are a subset of TOML escapes
KEYS = st.lists(spaced(LETTERS | LETTERS | QUOTED), min_size=1, max_size=3).map(".".join)
ODD_STRINGS = st.sampled_from(["'lit]#'", "''", '""', "'''a\n''b'''", '"""\n\\\n"x"""""', "'''''a''''"])
SCALARS = st.sampled_from(["-17", "true", "1.5", "1979-05-27 07:32:00", "inf"]) | ODD_STRINGS | QUOTED
VALUES = st.recursive(SCALARS, lambda inner: arrays(inner) | tables(inner), max_leaves=6)
STATEMENTS = (
    pairs(VALUES)
    | spaced(KEYS).map(lambda key: f"[{key}]")
    | spaced(KEYS).map(lambda key: f"[[{key}]]")
    | st.sampled_from(["", " # c = 1"])
)
DOCUMENTS = st.tuples(st.sampled_from(["\n", "\r\n", " # x = [\n"]), st.lists(STATEMENTS, max_size=8)).map(
    lambda parts: parts[0].join(parts[1])
)


@given(DOCUMENTS)
def test_every_path_has_a_line(text: str) -> None:
    """Whatever `tomllib` reads, each path of it has a line, and nothing else has one."""
    found = find_positions(text)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:  # by chance a key came twice: nothing to compare with
        return
    assert set(found.lines) == paths_of(document) - {()}
    assert found.repeat is None
    assert found.split_table is None


@given(st.lists(LETTERS, min_size=1, max_size=10, unique=True), st.data())
def test_lines_are_those_of_the_keys(keys: list[str], data: st.DataObject) -> None:
    """The line of a key is the line it was written on, whatever values stand between."""
    text, lines = "", {}
    for key in keys:
        lines[key] = text.count("\n") + 1
        text += f"{key} = {data.draw(VALUES)}\n"
    found = find_positions(text)
    assert {key: found.lines[(key,)] for key in keys} == lines


@given(st.text(alphabet="ab.='\"[]{},#\n\\ 1", max_size=40))
def test_any_text_is_taken(text: str) -> None:
    """The scanner never raises; on what `tomllib` accepts it finds the same paths."""
    found = find_positions(text)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        assert all(line >= 1 for line in found.lines.values())
    else:
        assert set(found.lines) == paths_of(document) - {()}


def test_deep_nesting() -> None:
    """Arrays within arrays are no matter of depth."""
    text = "a = " + "[" * 5000 + "]" * 5000
    assert len(find_positions(text).lines) == 5000
