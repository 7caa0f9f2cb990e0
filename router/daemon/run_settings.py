"""What `run` was asked to do, and what a daemon is called."""

from __future__ import annotations

from typing import Final, NamedTuple

STANDARD_NAME: Final = "pointsman"
"""What a daemon is called that was given no other name."""


class RunSettings(NamedTuple):
    """What the daemon `name` shall play: rule files and folders as written.

    `backend` names the MIDI system of the computer, None takes the first that is there; `record` is a folder for takes
    of all that is played. With `last_good`, files that can't be used at the start are replaced by those that ran last.
    """

    rules: tuple[str, ...]
    name: str = STANDARD_NAME
    backend: str | None = None
    record: str | None = None
    last_good: bool = False
