"""Names of files: what they tell about a file, and which names the results get."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

RULE_SUFFIX: Final = ".toml"
MIDI_SUFFIXES: Final = frozenset({".mid", ".midi", ".smf", ".kar", ".rmi"})
"""The endings, in small letters, by which a MIDI file is known in a folder."""

_UNSAFE: Final = re.compile(r"[^\w -]")


def is_midi_name(name: str) -> bool:
    """Return whether a file of this name is taken for a MIDI file."""
    return os.path.splitext(name)[1].lower() in MIDI_SUFFIXES


def is_rule_name(name: str) -> bool:
    """Return whether a file of this name is taken for a rule file."""
    return os.path.splitext(name)[1].lower() == RULE_SUFFIX


def is_hidden(name: str) -> bool:
    """Return whether a folder doesn't show this name: what editors and computers keep beside the real files."""
    return name.startswith(".")


def for_port(target: Path, port: str) -> Path:
    """Return where the part of `target` goes that one output port plays; "" is the whole of it."""
    if not port:
        return target
    suffix = target.suffix if is_midi_name(target.name) else ".mid"
    return target.with_name(f"{target.stem}.{_UNSAFE.sub('_', port)}{suffix}")


def backups(path: Path) -> Iterator[Path]:
    """Yield the names a backup of `path` may get, best first: `take.mid.bak`, `take.mid.bak2`, and so on."""
    yield path.with_name(f"{path.name}.bak")
    for number in range(2, 10_000):
        yield path.with_name(f"{path.name}.bak{number}")
