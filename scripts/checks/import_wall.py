#!/usr/bin/env python3
"""The wall between the two packages: `rules` stays pure, and never learns of `router`.

Walks the source of every module in rules/, without running any of it, and names each import that is not on the short
list below and each call of a builtin that touches the world. Prints one line for each and ends with exit code 1, or
says nothing and ends with 0. An argument names the project folder; the one that holds this script is taken otherwise.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

# Modules that only compute. Add one here only if nothing in it reads a clock, a file, a port, chance or the machine.
PURE = {
    *("__future__", "abc", "array", "bisect", "collections", "copy", "dataclasses", "decimal", "difflib", "enum"),
    *("fractions", "functools", "heapq", "html", "itertools", "json", "keyword", "math", "operator", "re", "shlex"),
    *("string", "struct", "textwrap", "tomllib", "types", "typing", "unicodedata"),
    *("annotated_types", "librt", "mypy_extensions", "networkx", "pydantic", "pydantic_core", "typing_extensions"),
    "rules",
}

# Builtins that reach out of the program, or run text as code.
WORLDLY = {"__import__", "breakpoint", "eval", "exec", "input", "open", "print"}


def violations(package: Path) -> Iterator[str]:
    """Yield a line for everything in the package that a pure package may not do, in the order of the files."""
    for path in sorted(package.rglob("*.py")):
        tree = ast.parse(path.read_bytes(), filename=str(path))
        for node in ast.walk(tree):
            for problem in problems(node, depth=len(path.relative_to(package).parts)):
                yield f"{path.relative_to(package.parent)}:{getattr(node, 'lineno', 0)}: {problem}"


def problems(node: ast.AST, depth: int) -> Iterator[str]:
    """Yield what is wrong with one node. `depth` is how many dots still stay inside the package from there."""
    match node:
        case ast.Import(names=names):
            yield from (f"imports {alias.name}" for alias in names if not is_pure(alias.name))
        case ast.ImportFrom(module=module, level=0) if not is_pure(module or ""):
            yield f"imports {module}"
        case ast.ImportFrom(level=level) if level > depth:
            yield "imports from outside the package by dots"
        case ast.Call(func=ast.Name(id=name)) if name in WORLDLY:
            yield f"calls {name}()"


def is_pure(module: str) -> bool:
    return module.split(".")[0] in PURE


def main(arguments: list[str]) -> int:
    project = Path(arguments[0]) if arguments else Path(__file__).resolve().parents[2]
    package = project / "rules"
    if not package.is_dir():
        print(f"import-wall: there is no package {package}", file=sys.stderr)
        return 2
    found = list(violations(package))
    for line in found:
        print(line)
    if found:
        print(
            "rules/ computes, and nothing else: effects belong into router/ (see PURE in scripts/checks/import_wall.py)"
        )
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
