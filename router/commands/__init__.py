"""The command line, a module a group of commands: texts, options, and a function that imports what does the work."""

from __future__ import annotations

from importlib import import_module
from types import MappingProxyType
from typing import Any, Final

GROUPS: Final = MappingProxyType(
    {
        "files": ("rewrite", "check", "trace"),
        "daemon": ("run",),
        "talking": ("status", "panic", "reload", "switch"),
        "cables": ("ports", "listen", "send"),
        "finding": ("learn", "soundcheck"),
        "recording": ("record",),
    }
)
"""Modules and their commands, in the order in which help lists them."""


def add_commands(commands: Any, wanted: str) -> None:
    """Add the parsers of the group of the command that is wanted; those of all groups if it is none of them."""
    having = [group for group, names in GROUPS.items() if wanted in names]
    for group in having or GROUPS:
        import_module(f"router.commands.{group}").add_commands(commands)
