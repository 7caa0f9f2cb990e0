"""The commands that talk to a running daemon: `status`, `panic`, `reload`, `switch`."""

from __future__ import annotations

from typing import Any


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
