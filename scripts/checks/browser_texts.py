"""The texts of the page in the browser: its markup, and the strings of its scripts."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser

from checks.faults import HOLE, Text, is_text

SCRIPT_PARTS = re.compile(r"//[^\n]*|/\*.*?\*/|\"((?:\\.|[^\"\\\n])*)\"|`((?:\\.|[^`\\])*)`", re.DOTALL)


def script_texts(path: str, source: str) -> Iterator[Text]:
    """The strings of a JavaScript module, but paths. In a template, what only the page knows counts as one word."""
    for part in SCRIPT_PARTS.finditer(source):
        words = part[1] or re.sub(r"\$\{[^{}]*\}", HOLE, part[2] or "")
        if not words.startswith(("/", "./")) and is_text(words):
            first = source.count("\n", 0, part.start()) + 1
            yield Text(path, first, first + part[0].count("\n"), words, "")


class Markup(HTMLParser):
    """The texts of an HTML file, and the attributes that a person reads or hears."""

    def __init__(self, path: str) -> None:
        super().__init__()
        self.texts: list[Text] = []
        self._path = path

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        for name, value in attributes:
            if name in ("aria-label", "title", "alt", "placeholder"):
                self.handle_data(value or "")

    def handle_data(self, data: str) -> None:
        first = self.getpos()[0]
        if is_text(data):
            self.texts.append(Text(self._path, first, first + data.count("\n"), data, ""))


def markup_texts(path: str, source: str) -> Iterator[Text]:
    """All texts of an HTML file."""
    markup = Markup(path)
    markup.feed(source)
    yield from markup.texts
