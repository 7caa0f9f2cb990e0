"""What midicsv, an independent program, reads in a Standard MIDI File: event by event, for comparisons.

midicsv trusts every length in the file and reads on past the end of a broken one: give it only files that ought to
be valid. `tests/support/mido_reader.py` gives the same events as another independent reader sees them.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import NamedTuple

FETCHED = Path(__file__).parents[2] / ".cache/midicsv/usr/bin/midicsv"
FIELD = re.compile(r'"(?:[^"]|"")*"|[^",\s][^",]*')
ESCAPE = re.compile(rb"\\([0-7]{3}|\\)")


class Event(NamedTuple):
    """One record of midicsv.

    `track` counts from 1 (0: the file itself), `tick` from the start of the track, `kind` is midicsv's own word,
    `channel` is 1-16 or None, and `data` holds the remaining fields: numbers, and texts as the bytes of the file.
    """

    track: int
    tick: int
    kind: str
    channel: int | None
    data: tuple[int | bytes, ...]


def events(data: bytes) -> list[Event]:
    """Return every record that midicsv makes of a file's bytes, `Header`, `Start_track` and `End_track` included.

    Raises AssertionError with midicsv's own words when it can't read the file.
    """
    answer = subprocess.run([program()], input=data, capture_output=True, timeout=60, check=False)
    complaint = answer.stderr.decode("latin-1").strip()
    assert (answer.returncode, complaint) == (0, ""), f"midicsv can't read it: {complaint or answer.returncode}"
    return [_event(line) for line in answer.stdout.decode("latin-1").split("\n") if line]


def program() -> str:
    """Return the path of midicsv: the machine's own, or the one that scripts/fetching/fetch-midicsv has put aside."""
    found = shutil.which("midicsv") or (str(FETCHED) if FETCHED.exists() else None)
    assert found, "midicsv is missing: run scripts/fetching/fetch-midicsv"
    return found


def _event(line: str) -> Event:
    fields = FIELD.findall(line) if '"' in line else line.split(", ")
    track, tick, kind = int(fields[0]), int(fields[1]), fields[2]
    data = tuple(_value(field) for field in fields[3:])
    if not kind.endswith("_c"):
        return Event(track, tick, kind, None, data)
    channel = data[0]
    assert isinstance(channel, int)
    return Event(track, tick, kind, channel + 1, data[1:])


def _value(field: str) -> int | bytes:
    if not field.startswith('"'):
        return int(field)
    text = field[1:-1].replace('""', '"').encode("latin-1")
    return ESCAPE.sub(lambda found: b"\\" if found[1] == b"\\" else bytes([int(found[1], 8)]), text)
