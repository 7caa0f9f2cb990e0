#!/usr/bin/env python3
"""What a player reads is short and plain: no sentence over 25 words, and none of the words that players stumble over.

Looks at README.md, the manual pages, the comments of the example rule files, the page in the browser, and every piece
of text in router/ and rules/ that can reach a person: messages, help texts, words of a trace. Texts in Python are found
in the syntax tree.
Docstrings, annotations, regular expressions and comparisons are left out, everything else that reads like text is
taken; so a message can't hide in a helper, in an f-string or behind a plus sign. Alternatives within an f-string, as in
f"file{'s' if many else ''}", are tried one by one, and what only the running program knows counts as one word.

Prints a line for each fault, as FILE:LINE: what is wrong, and ends with exit code 1; or says nothing and ends with 0.
With --list it prints all texts of the program instead, with the place of each; those with a fault have a ! before them.
An argument names the project folder; the one that holds this script is taken otherwise.
"""

from __future__ import annotations

import argparse
import ast
import itertools
import re
import sys
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple

MOST_WORDS = 25
MOST_READINGS = 64  # of one f-string with alternatives; more are not tried

HOLE = "\ufffc"  # in place of what only the running program knows

# What to look for, and what to write instead.
AVOIDED = [
    (r"stands?|stood|standing", "is"),
    (r"lies?|lain|lying", "is, is saved in"),
    (r"tells?|told|telling", "report, show"),
    (r"anew", "again"),
    (r"mend(?:s|ed|ing)?", "repair"),
    (r"beside", "next to, while"),
    (r"swallow(?:s|ed|ing)?", "discard"),
    (r"shall", "the present tense"),
    (r"by turns", "alternately"),
    (r"so long", "for that long"),
    (r"in whatever way", "however"),
    (r"(?:left|leaves?|leaving)(?: \w+)? away", "omitted"),
    (r"(?:came|comes?) of it", "result"),
    (r"whoever", "a person, or what acts"),
    (r"we|ours?|us", "Pointsman, or the program that acts"),
    (rf"no [\w{HOLE}]+ of this name", "there is no X named ..."),
    (rf"(?<!there )(?:is|are) no (?!longer\b|more\b)[\w{HOLE}-]+", "isn't a Y"),
]
PATTERNS = [(re.compile(rf"(?<![\w-])(?:{words})(?![\w-])", re.IGNORECASE), instead) for words, instead in AVOIDED]


class Text(NamedTuple):
    """A piece of text that a person reads: a paragraph, a list item, a table cell, a message."""

    path: str
    first: int  # line
    last: int
    words: str
    where: str  # what it belongs to in the program; empty in a page


class Fault(NamedTuple):
    """What is wrong with a text, and the words by which its line is found."""

    what: str
    found: str


# -- Words and sentences ----------------------------------------------------------------------------------------------


def sentences(text: str) -> list[str]:
    """The sentences of a paragraph. Three dots end none, and nor does a dot within a word or a number."""
    return [part for part in re.split(r"(?<!\.\.)(?<=[.!?])[\"')\]*]*\s+", text.strip()) if part]


def word_count(sentence: str) -> int:
    """How many words a sentence has. A list of code, or of five words and more with commas, counts as one."""
    sentence = re.sub(rf"{HOLE}(?:,? (?:and |or )?{HOLE})+", HOLE, sentence)
    sentence = re.sub(r"(?<![\w-])[\w-]+(?:, [\w-]+){4,}(?:,? (?:and|or) [\w-]+)?", HOLE, sentence)
    return sum(1 for word in sentence.split() if re.search(rf"[\w{HOLE}]", word))


def without_code(text: str) -> str:
    """Code in backticks is one word, whatever it says."""
    return re.sub(r"`[^`]*`", HOLE, text)


def faults(text: str) -> list[Fault]:
    """Everything that is wrong with a text."""
    plain = re.sub(r"\s+", " ", without_code(text))
    found = []
    for sentence in sentences(plain):
        if (count := word_count(sentence)) > MOST_WORDS:
            start = " ".join(sentence.split()[:6])
            found.append(Fault(f"a sentence of {count} words, {MOST_WORDS} are the most: {shown(start)} ...", start))
    for pattern, instead in PATTERNS:
        for match in pattern.finditer(plain):
            found.append(Fault(f'"{shown(match[0])}": write {instead}', match[0]))
    return found


def shown(text: str) -> str:
    return text.replace(HOLE, "...")


# -- Pages ------------------------------------------------------------------------------------------------------------


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


# -- The page in the browser ------------------------------------------------------------------------------------------

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


# -- The program ------------------------------------------------------------------------------------------------------


class Strings(ast.NodeVisitor):
    """All text that a module may show. `texts` has them in the order of the lines, each with what it belongs to."""

    def __init__(self, path: str) -> None:
        self.texts: list[Text] = []
        self._path = path
        self._used: set[int] = set()  # parts of what was taken already
        self._owners: list[str] = []

    def visit(self, node: ast.AST) -> None:
        """Take a node that is text, else look into it."""
        if id(node) in self._used:
            return
        if isinstance(node, ast.expr) and not isinstance(node, ast.Name):
            for reading in self._readings(node) or ():
                self._take(node, reading)
        super().visit(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._inside(node.name, node.body)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """Annotations are no texts, defaults may be."""
        defaults = [*node.args.defaults, *(each for each in node.args.kw_defaults if each is not None)]
        self._inside(node.name, [*defaults, *node.body])

    def _inside(self, owner: str, nodes: Iterable[ast.AST]) -> None:
        self._owners.append(owner)
        for node in nodes:
            self.visit(node)
        self._owners.pop()

    def visit_Expr(self, node: ast.Expr) -> None:
        """Text that nothing is done with describes what is before it."""
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        """`Final`, `Literal["on", "off"]`: types are not shown, values are."""
        for part in self._in_annotated(node.annotation):
            self.visit(part)
        if node.value is not None:
            self._inside(ast.unparse(node.target), [node.value])

    def visit_Assign(self, node: ast.Assign) -> None:
        self._inside(ast.unparse(node.targets[0]), [node.value])

    def _in_annotated(self, node: ast.expr) -> Iterator[ast.expr]:
        """What `Annotated` carries besides the type: validators have words of their own."""
        if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Tuple):
            yield from node.slice.elts[1:] if ast.unparse(node.value) == "Annotated" else ()

    def visit_Subscript(self, node: ast.Subscript) -> None:
        """`Literal["on", "off"]` is a type wherever it is."""
        if ast.unparse(node.value) != "Literal":
            self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        """What text is compared with isn't shown."""

    def visit_Assert(self, node: ast.Assert) -> None:
        """An assertion is for contributors."""

    def visit_Call(self, node: ast.Call) -> None:
        """Regular expressions are not text; everything else that is passed on may be shown."""
        called = ast.unparse(node.func)
        if called.startswith("re.") or called == "cast":
            for argument in node.args[1:]:
                self.visit(argument)
            return
        self._inside(f"{called}()", [node.func, *node.args])
        for keyword in node.keywords:
            self._inside(f"{called}({keyword.arg}=)", [keyword.value])

    def _take(self, node: ast.expr, reading: str) -> None:
        lines = (node.lineno, node.end_lineno or node.lineno)
        for paragraph in paragraphs(reading):
            if is_text(paragraph):
                self.texts.append(Text(self._path, *lines, paragraph, self._owners[-1] if self._owners else ""))

    def _readings(self, node: ast.AST) -> list[str] | None:
        """Every text that an expression can give, as far as that can be seen; None where it isn't text for sure."""
        match node:
            case ast.Constant(value=str(value)):
                found = [value]
            case ast.JoinedStr(values=values):
                found = self._joined([self._readings(value) for value in values])
            case ast.FormattedValue(value=value):
                return self._readings(value)
            case ast.IfExp(body=one, orelse=other):
                found = self._either(one, other)
            case ast.BoolOp(values=values):
                found = self._either(*values)
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                sides = [self._readings(left), self._readings(right)]
                found = [] if sides == [None, None] else self._joined(sides)
            case ast.BinOp(left=left, op=ast.Mod()) if (template := self._readings(left)) is not None:
                found = [re.sub(r"%[-+#0-9. ]*[a-z]", HOLE, text) for text in template]
            case ast.Call(func=ast.Attribute(value=value, attr="format")) if found := self._readings(value) or []:
                found = [re.sub(r"\{[^{}]*\}", HOLE, text) for text in found]
            case _:
                return None
        if not found:
            return None
        self._used.add(id(node))
        return list(dict.fromkeys(found))[:MOST_READINGS]

    def _either(self, *nodes: ast.expr) -> list[str]:
        """The texts of several expressions; none where none of them is text."""
        each = [self._readings(node) for node in nodes]
        return [] if all(one is None for one in each) else [text for one in each for text in (one or [HOLE])]

    def _joined(self, parts: list[list[str] | None]) -> list[str]:
        ways = itertools.product(*(part or [HOLE] for part in parts))
        return ["".join(way) for way in itertools.islice(ways, MOST_READINGS)]


def paragraphs(text: str) -> Iterator[str]:
    """The parts of a text that are read by themselves: indented lines are examples, and gaps part columns."""
    for block in re.split(r"\n\s*\n", text.strip("\n")):
        joined: list[str] = []
        for line in block.splitlines():
            if line.startswith("  "):
                yield from re.split(r"\s{2,}", line.strip())
            else:
                joined.append(line)
        yield " ".join(joined)


def is_text(text: str) -> bool:
    """Whether a person reads it as words: at least two of them, or one that is to be avoided."""
    words = [word for word in text.split() if re.search(rf"[A-Za-z{HOLE}]", word)]
    if len(words) < 2:
        return bool(faults(text))
    return re.search(r"(?<![A-Za-z])[a-z]{2}", text) is not None


def program_texts(path: str, source: str) -> Iterable[Text]:
    """All text that a module may show, in the order of the lines."""
    strings = Strings(path)
    for statement in ast.parse(source, filename=path).body:
        strings.visit(statement)
    return sorted(dict.fromkeys(strings.texts), key=lambda text: text.first)


# -- All of it --------------------------------------------------------------------------------------------------------


def line_of(text: Text, fault: Fault, lines: list[str]) -> int:
    """The line in which a fault is, as far as its words can be found; else the one where the text begins."""
    found = shown(fault.found).split("...")[0].strip()
    for words in (found, " ".join(found.split()[:3]), found.split()[0] if found else ""):
        for number in range(text.first, text.last + 1):
            if words and words.lower() in re.sub(r"\s+", " ", lines[number - 1]).lower():
                return number
    return text.first


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
    parser.add_argument("project", nargs="?", type=Path, default=Path(__file__).resolve().parents[2])
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
