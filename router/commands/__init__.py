"""The command line, a module a group of commands: texts, options, and a function that imports what does the work."""

from __future__ import annotations

from typing import Any, Final

from router.commands import cables, daemon, files, finding, recording, talking

GROUPS: Final = (files, daemon, talking, cables, finding, recording)


def add_all(commands: Any) -> None:
    """Add the parsers of all groups, in the order in which help lists them."""
    for group in GROUPS:
        group.add_commands(commands)
