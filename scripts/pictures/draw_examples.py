#!/usr/bin/env python3
"""Draws the pictures that README shows, next to the rule files and the recording that they are of.

Look at them before you commit them: the tests only see that they are what `draw` makes now.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from router.cli.picture_writer import DrawSettings, drawing_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PICTURES = {
    "one-keyboard-two-modules.svg": DrawSettings(rules=("one-keyboard-two-modules.toml",)),
    "repaired-recording.svg": DrawSettings(rules=("repair-takes.toml",), take="recording.mid"),
}
"""The names of pictures, and what they are of."""


def picture(name: str) -> bytes:
    """A picture as `draw` makes it now."""
    settings = PICTURES[name]
    rules = tuple(str(EXAMPLES / file) for file in settings.rules)
    take = str(EXAMPLES / settings.take) if settings.take else None
    return drawing_of(settings._replace(rules=rules, take=take)).picture.svg().encode()


def main() -> int:
    for name in PICTURES:
        (EXAMPLES / name).write_bytes(picture(name))
        print(f"examples/{name} written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
