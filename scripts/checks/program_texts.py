"""The texts of a Python module, found in its syntax tree.

Docstrings, annotations, regular expressions and comparisons are left out, everything else that reads like text is
taken; so a message can't hide in a helper, in an f-string or behind a plus sign. Alternatives within an f-string, as in
f"file{'s' if many else ''}", are tried one by one, and what only the running program knows counts as one word.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Iterable, Iterator

from checks.faults import HOLE, Text, is_text

MOST_READINGS = 64  # of one f-string with alternatives; more are not tried


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


def program_texts(path: str, source: str) -> Iterable[Text]:
    """All text that a module may show, in the order of the lines."""
    strings = Strings(path)
    for statement in ast.parse(source, filename=path).body:
        strings.visit(statement)
    return sorted(dict.fromkeys(strings.texts), key=lambda text: text.first)
