#!/usr/bin/env python3
"""What a player reads is short and plain: no sentence over 25 words, and none of the words that players stumble over.

Looks at README.md, the manual pages, the comments of the example rule files, the page in the browser, and every piece
of text in router/ and rules/ that can reach a person: messages, help texts, words of a trace.

Prints a line for each fault, as FILE:LINE: what is wrong, and ends with exit code 1; or says nothing and ends with 0.
With --list it prints all texts of the program instead, with the place of each; those with a fault have a ! before them.
An argument names the project folder; the one that holds this script is taken otherwise.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

from checks.browser_texts import markup_texts, script_texts  # noqa: E402
from checks.faults import Text, faults, line_of, shown  # noqa: E402
from checks.page_texts import comment_texts, page_texts  # noqa: E402
from checks.program_texts import program_texts  # noqa: E402


def texts_of(project: Path) -> Iterator[tuple[Text, list[str]]]:
    """Every text with the lines of its file."""
    pages = [project / "README.md", *sorted((project / "router/manual").glob("*.md"))]
    readers = [(path, page_texts) for path in pages if path.exists()]
    readers += [(path, comment_texts) for path in sorted((project / "examples").glob("*.toml"))]
    for path, texts in readers:
        lines = path.read_text(encoding="utf-8").splitlines()
        yield from ((text, lines) for text in texts(str(path.relative_to(project)), lines))
    program = [(path, program_texts) for package in ("router", "rules") for path in (project / package).rglob("*.py")]
    program += [(path, script_texts) for path in (project / "router").rglob("*.js")]
    program += [(path, markup_texts) for path in (project / "router").rglob("*.html")]
    for path, texts_in in sorted(program, key=lambda one: one[0]):
        source = path.read_text(encoding="utf-8")
        name = str(path.relative_to(project))
        yield from ((text, source.splitlines()) for text in texts_in(name, source))


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser("words.py")
    parser.add_argument("project", nargs="?", type=Path, default=ROOT)
    parser.add_argument("--list", action="store_true", help="print all texts of the program, with their places")
    asked = parser.parse_args(arguments)
    lines_found: set[tuple[str, int, str]] = set()
    for text, lines in texts_of(asked.project):
        found = faults(text.words)
        if asked.list and text.path.endswith((".py", ".js", ".html")):
            words = re.sub(r"\s+", " ", shown(text.words))
            print(f"{'!' if found else ' '} {text.path}:{text.first}  [{text.where}]  {words}")
        lines_found.update((text.path, line_of(text, fault, lines), fault.what) for fault in found)
    if asked.list:
        return 0
    for path, line, what in sorted(lines_found):
        print(f"{path}:{line}: {what}")
    return 1 if lines_found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
