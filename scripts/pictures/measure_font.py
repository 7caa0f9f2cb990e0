#!/usr/bin/env python3
"""Writes rules/drawing/font_widths.py: how wide the letters of a wide sans-serif font are.

The font is DejaVu Sans, the standard one of many Linux systems: others that `sans-serif` may mean are narrower. Give
the folder of its files where they aren't in the usual one.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from pathlib import Path

from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

FOLDER = Path("/usr/share/fonts/truetype/dejavu")
FILES = {"REGULAR": "DejaVuSans.ttf", "BOLD": "DejaVuSans-Bold.ttf"}
RANGES = ((0x20, 0x7E), (0xA0, 0x17F), (0x386, 0x3CE), (0x400, 0x45F), (0x2010, 0x2026), (0x2190, 0x2193))
"""Latin with its accents, Greek, Cyrillic, dashes and quotes, arrows."""

LINE = 100  # digits

TARGET = Path(__file__).resolve().parents[2] / "rules/drawing/font_widths.py"
HEAD = '''"""How wide letters are, in hundredths of the font size: written by scripts/pictures/measure_font.py."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final


def _by_letter(ranges: Mapping[int, str]) -> dict[str, int]:
    """The widths of letters that follow each other, from a first one on, a byte each; 0 is one that the font lacks."""
    return {
        chr(first + at): width for first, widths in ranges.items() for at, width in enumerate(bytes.fromhex(widths))
    }
'''


def widths(path: Path) -> dict[str, int]:
    """The width of every letter in RANGES; 0 for those that the font doesn't have."""
    font = TTFont(path)
    names = font.getBestCmap()
    advances, unit = font["hmtx"], font["head"].unitsPerEm
    return {
        chr(code): math.ceil(advances[names[code]][0] * 100 / unit) if code in names else 0
        for first, last in RANGES
        for code in range(first, last + 1)
    }


def module(folder: Path) -> str:
    """The whole module."""
    parts = [HEAD]
    for name, file in FILES.items():
        parts.append("\n".join(table(name, widths(folder / file))))
    return "\n\n".join(parts) + "\n"


def table(name: str, found: dict[str, int]) -> Iterator[str]:
    """The lines of one table."""
    yield f"{name}: Final = _by_letter("
    yield "    {"
    for first, last in RANGES:
        row = bytes(found[chr(code)] for code in range(first, last + 1)).hex()
        if len(row) <= LINE:
            yield f'        0x{first:04X}: "{row}",'
            continue
        yield f"        0x{first:04X}: ("
        yield from (f'            "{row[at : at + LINE]}"' for at in range(0, len(row), LINE))
        yield "        ),"
    yield "    }"
    yield ")"


def main() -> int:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    TARGET.write_text(module(folder), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
