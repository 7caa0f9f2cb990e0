"""The command `run`: the daemon itself."""

from __future__ import annotations

from typing import Any


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
