"""Which song is meant: by its name, or as the next or the previous one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from router.text.formatting import plain
from rules.errors import MachineError
from rules.midi.suggestions import nearest, those_known

SONG_STEPS: Final = {"next": 1, "previous": -1}
"""Words for a song by its place, and how many places that is."""


def song_meant(to: str, songs: Mapping[str, Any]) -> str:
    """Return the name of the song to go to, where `status` tells these `songs`.

    Raises MachineError where there is no such song, or none to go on to.
    """
    names: list[str] = list(songs["names"])
    if to not in SONG_STEPS:
        if to not in names:
            known = plain(those_known("song", "songs", names))
            raise MachineError(f'there is no song named "{plain(to)}": {known}{nearest(to, names)}')
        return to
    at: int = songs["at"] + SONG_STEPS[to]
    if songs["wrap"]:
        at %= len(names)
    if at not in range(len(names)):
        raise MachineError(f'"{plain(names[songs["at"]])}" is the {"last" if at > 0 else "first"} song')
    return names[at]
