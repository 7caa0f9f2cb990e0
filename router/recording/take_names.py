"""What takes are called that nobody has named, and where they go."""

from __future__ import annotations

from pathlib import Path

from router.files.clock import local_time
from router.files.user_folders import data_folder
from router.text.formatting import why
from rules.errors import MachineError


def take_name(wall: float) -> str:
    """Return what a take begun at a time (seconds since 1970) is called: "take-20261125-201407", by the local time."""
    return local_time(wall, "take-%Y%m%d-%H%M%S")


def unnamed_take(wall: float, folder: Path | None = None) -> Path:
    """Return the .mid file for a take begun at a time (seconds since 1970), in a folder that is made if need be.

    It is the user's own for takes, unless another is given. Raises MachineError.
    """
    folder = folder if folder is not None else data_folder() / "takes"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise MachineError(f"{folder}: the folder for recordings can't be made: {why(error)}") from error
    return folder / f"{take_name(wall)}.mid"
