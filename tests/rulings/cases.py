"""The cases of this folder, read from their text files. The form is described in `tests/rulings/__init__.py`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).parent
PORTS: Final = """\
[ports]
keys  = { input = true }
pads  = { input = true }
seq   = { input = true }
synth = { output = true }
rack  = { output = true }
"""
_HEAD: Final = re.compile(r"Rulings? (\d+(?:, \d+)*)\n(.*\S.*)", re.DOTALL)
_DIVIDER: Final = re.compile(r"^-----(.*)\n", re.MULTILINE)
_LOOP: Final = re.compile(r"for (\w+) (\d+)\.\.(\d+)")


@dataclass(frozen=True, slots=True)
class Case:
    """Rule files, what is played with them, and what goes out.

    `rulings` begins with the one that the case shows. `reloads` are the rule files that take over, in their order. What
    is played live is a session with clocks.
    """

    rulings: tuple[int, ...]
    sentence: str
    rules: str
    reloads: tuple[str, ...]
    played: str
    sent: str
    is_live: bool = False


def read_cases() -> dict[str, Case]:
    """The cases by subject and behaviour, as in `notes/note_offs_wait_for_the_last_holder`."""
    paths = sorted(FOLDER.glob("**/*.txt"))
    return {
        path.relative_to(FOLDER).with_suffix("").as_posix(): parse_case(path.read_text("utf-8"), path.name)
        for path in paths
    }


def parse_case(text: str, name: str) -> Case:
    """The case that a file holds. Raises ValueError, with `name`, if it has another form."""
    head, *parts = _DIVIDER.split(text)
    sections = list(zip((title.strip() for title in parts[::2]), parts[1::2], strict=True))
    titles = [title for title, _ in sections]
    is_live = "played live" in titles
    played_title = "played live" if is_live else "played"
    expected = ["rules", *["rules after reload"] * (len(sections) - 3), played_title, "sent"]
    match = _HEAD.fullmatch(head.strip())
    if match is None:
        raise ValueError(f"{name}: write `Ruling` and its number, then a sentence that says what can be relied on")
    if titles != expected:
        raise ValueError(f"{name}: the sections are {titles}, not {expected}")
    rules, *reloads = (with_ports(content) for _, content in sections[:-2])
    played, sent = (_events(content, name) for _, content in sections[-2:])
    asked = sum(line.split()[2:] == ["reload"] for line in played)
    if asked != len(reloads):
        raise ValueError(f"{name}: {asked} reloads are played, and {len(reloads)} rule files follow the first")
    if not played:
        raise ValueError(f"{name}: nothing is played")
    numbers = tuple(int(number) for number in match[1].split(", "))
    return Case(numbers, match[2].strip(), rules, tuple(reloads), "\n".join(played), "\n".join(sent), is_live)


def with_ports(rules: str) -> str:
    """A rule file with the ports of all cases, if it has none. What precedes its first table stays there."""
    if "[ports]" in rules:
        return rules
    top, bracket, rest = rules.partition("[")
    return f"{top}{PORTS}{bracket}{rest}"


def _events(section: str, name: str) -> list[str]:
    """The lines of `played` or `sent`, without remarks, each `for` written out."""
    lines = [line.partition("  # ")[0].rstrip() for line in section.splitlines()]
    return list(_written_out([line for line in lines if line and not line.lstrip().startswith("#")], name))


def _written_out(lines: Sequence[str], name: str) -> Iterator[str]:
    """Lines without indent as they are; below a `for`, what is indented, once for each number."""
    position = 0
    while position < len(lines):
        line = lines[position]
        position += 1
        loop = _LOOP.fullmatch(line)
        if loop is None:
            if line.startswith(" "):
                raise ValueError(f"{name}: `{line.strip()}` is indented, but no `for` precedes it")
            yield line
            continue
        inner = list(takewhile(lambda later: later.startswith("  "), lines[position:]))
        position += len(inner)
        for number in range(int(loop[2]), int(loop[3]) + 1):
            yield from _written_out([later[2:].replace(f"{{{loop[1]}}}", str(number)) for later in inner], name)
