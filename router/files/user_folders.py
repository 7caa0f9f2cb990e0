"""The user's folders for what Pointsman keeps (XDG Base Directory Specification 0.8)."""

from __future__ import annotations

import os
from pathlib import Path


def data_folder() -> Path:
    """The folder for takes that a pad or pedal began: below XDG_DATA_HOME, or ~/.local/share."""
    return _folder("XDG_DATA_HOME", ".local/share")


def state_folder() -> Path:
    """The folder for what the next start wants to know: below XDG_STATE_HOME, or ~/.local/state."""
    return _folder("XDG_STATE_HOME", ".local/state")


def _folder(variable: str, usual: str) -> Path:
    told = Path(os.environ.get(variable, ""))  # a relative path counts as none
    return (told if told.is_absolute() else Path.home() / usual) / "pointsman"
