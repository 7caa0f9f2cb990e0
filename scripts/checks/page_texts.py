"""The texts of Markdown pages and of example rule files."""

from __future__ import annotations

import re
from collections.abc import Iterator

from checks.faults import Text


def page_texts(path: str, lines: list[str]) -> Iterator[Text]:
    """Paragraphs, items, headings and cells of a Markdown page, and the comments in its rule files."""
    language, paragraph = None, list[str]()
    for number, line in enumerate([*lines, ""], start=1):
        if fence := re.match(r"\s*```(\w*)", line):
            language = fence[1] if language is None else None
        if fence or language is not None:
            comment = re.search(r"(?:^|\s)#\s+(.*)", line) if language in ("toml", "sh") and not fence else None
            if comment:
                yield Text(path, number, number, comment[1], "")
        starts_item = re.match(r"\s*(?:[-*]|\d+\.)\s+|#+\s|\||!\[", line) is not None
        if paragraph and (fence or language is not None or not line.strip() or starts_item):
            yield Text(path, number - len(paragraph), number - 1, " ".join(paragraph), "")
            paragraph = []
        if fence or language is not None or not line.strip() or line.startswith(("<!--", "|--")):
            continue
        if line.lstrip().startswith("|"):
            cells = re.split(r"(?<!\\)\|", line.strip().strip("|"))
            yield from (Text(path, number, number, rendered(cell), "") for cell in cells)
        else:
            paragraph.append(rendered(re.sub(r"^\s*(?:[-*]|\d+\.|#+|>)\s+", "", line)))


def rendered(text: str) -> str:
    """A line as it is read: the words of links, not their targets. Words of a link to a file are code."""
    text = re.sub(r"!?\[([^\]]*)\]\([^)]*\)", lambda link: f"`{link[1]}`" if "." in link[1] else link[1], text)
    return text.strip().replace("**", "")


def comment_texts(path: str, lines: list[str]) -> Iterator[Text]:
    """The comments of a rule file; those on lines of their own, one after the other, are a paragraph."""
    paragraph: list[str] = []
    for number, line in enumerate([*lines, ""], start=1):
        alone = re.match(r"#\s?(\S.*)", line)
        if alone and not line.startswith("#   "):
            paragraph.append(alone[1])
            continue
        if paragraph:
            yield Text(path, number - len(paragraph), number - 1, " ".join(paragraph), "")
            paragraph = []
        if behind := re.search(r"\s#\s+([^\"]*)$", line):
            yield Text(path, number, number, behind[1], "")
