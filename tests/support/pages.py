"""README.md and the pages of the manual, taken apart: blocks of code, tables, and code within lines.

A comment <!-- file: NAME --> before a block says into which file its reader saves it, behind what is there already.
Blocks of rules without one make up a file for each page, in their order.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import dedent

import router
from router.cli.main import main

PROJECT = Path(__file__).parents[2]
MANUAL = Path(router.__file__).parent / "manual"
PAGES = {"README": (PROJECT / "README.md").read_text(encoding="utf-8")} | {
    path.stem: path.read_text(encoding="utf-8") for path in sorted(MANUAL.glob("*.md"))
}
"""All pages by name."""

_BLOCK = re.compile(
    r"^(?:<!-- file: (?P<file>[\w.-]+) -->\n)?(?P<indent> *)```(?P<language>\w*)\n(?P<text>.*?)^(?P=indent)```$",
    re.MULTILINE | re.DOTALL,
)


@dataclass(frozen=True)
class Block:
    """A fenced block: where it is, its language, and the file into which it is saved."""

    page: str
    line: int
    language: str
    text: str
    file: str

    def __str__(self) -> str:
        return f"{self.page}:{self.line}"


def _blocks(page: str) -> list[Block]:
    found = []
    for match in _BLOCK.finditer(PAGES[page]):
        line = PAGES[page].count("\n", 0, match.start("language")) + 1
        file = match["file"] or f"{page}.toml"
        found.append(Block(page, line, match["language"], dedent(match["text"]), file))
    return found


BLOCKS = [block for page in PAGES for block in _blocks(page)]


SAVED: dict[str, str] = {}
for _block in BLOCKS:
    if _block.language == "toml":
        SAVED[_block.file] = SAVED.get(_block.file, "") + _block.text + "\n"

_FIRST = SAVED["first.toml"]
FILES = SAVED | {
    "gig.toml": (PROJECT / "examples/one-keyboard-two-modules.toml").read_text(encoding="utf-8"),
    "typo.toml": _FIRST.replace("transpose", "transpos", 1).replace("otherwise = true", 'otherwise = "yes"'),
    "broken.toml": SAVED["promises.toml"]
    .replace('  { velocity = { limit = "20..110" } },\n', "")
    .split("[[tests]]")[0],
    "edited.toml": SAVED["promises.toml"]
    .partition("[[promises]]")[0]
    .replace("20..110", "30..100")
    .replace("match = { channel = 10 }", ""),
    "louder.toml": _FIRST.replace("30..110", "60..120").partition("[[tests]]")[0],
    "failing.toml": _FIRST.replace("note-on 3 D4 110", "note-on 3 D4 120"),
    "gap.toml": re.sub(r"accept = .*\n", "", SAVED["split.toml"]),
}
"""The files that a reader is asked to save, or that the pages spoil."""


def save_everything(folder: Path) -> None:
    """Make a folder such as the reader has: the examples, the files of the pages, and a folder of takes."""
    shutil.copytree(PROJECT / "examples", folder / "examples")
    (folder / "takes").mkdir()
    for take in ("monday", "tuesday"):
        shutil.copy(PROJECT / "examples/recording.mid", folder / f"takes/{take}.mid")
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")


def printed(command: str) -> str:
    """Return what a command prints, results and complaints in the order in which a terminal shows them."""
    terminal = io.StringIO()
    with contextlib.redirect_stdout(terminal), contextlib.redirect_stderr(terminal):
        main(shlex.split(command)[1:])
    return terminal.getvalue()


def timeless(text: str) -> str:
    """Leave out how long it took."""
    return re.sub(r"\b\d+\.\d\d s\b", "0.00 s", text)


def codes(text: str) -> list[str]:
    """Return the code within lines, without its backticks."""
    return re.findall(r"`([^`\n]+)`", text)


def rows(text: str, head: str) -> list[list[str]]:
    """Return the cells of each row of all tables whose first column has this head."""
    tables = re.findall(rf"^\| {re.escape(head)} \|.*\n\|[-|]+\|\n((?:\|.*\n)+)", text, re.MULTILINE)
    assert tables, head
    return [cells(line) for table in tables for line in table.splitlines()]


def cells(line: str) -> list[str]:
    """Return the cells of a row."""
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip().removeprefix("|").removesuffix("|"))]


def settings_tables() -> dict[str, tuple[str, Sequence[Sequence[str]]]]:
    """Return the tables of settings: by the class they are about, their page and their rows."""
    found: dict[str, tuple[str, Sequence[Sequence[str]]]] = {}
    for page, text in PAGES.items():
        for name, table in re.findall(r"<!-- settings: (\w+) -->\n(.*?)<!-- end -->", text, re.DOTALL):
            assert name not in found
            found[name] = (page, [cells(line) for line in table.splitlines()])
    return found
