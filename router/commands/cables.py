"""The commands on the computer's ports: `ports`, `listen`, `send`."""

from __future__ import annotations

from typing import Any


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
