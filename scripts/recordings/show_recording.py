#!/usr/bin/env python3
"""Prints what is in .mid files, a line for each track that plays: its name, channels, notes, keys and controllers.

Reads with mido, not with our own reader: in the demo it is the outsider who looks at what we wrote.
"""

from __future__ import annotations

import sys
from collections import Counter

import mido  # type: ignore[import-untyped]

WORDS = {
    "control_change": "controllers",
    "program_change": "programs",
    "pitchwheel": "bends",
    "aftertouch": "pressures",
    "polytouch": "key pressures",
}
ROW = "  {:<5} {:<14} {:<9} {:>6}  {:<6}  {}"


def rows(path: str) -> list[str]:
    file = mido.MidiFile(path)
    lines = [ROW.format("track", "name", "channel", "notes", "keys", "other messages")]
    for number, track in enumerate(file.tracks, start=1):
        messages = [message for message in track if not message.is_meta and message.type != "sysex"]
        if not messages:
            continue
        channels = sorted({message.channel + 1 for message in messages})
        keys = [message.note for message in messages if message.type == "note_on" and message.velocity]
        others = Counter(WORDS[message.type] for message in messages if message.type in WORDS)
        lines.append(
            ROW.format(
                number,
                track.name,
                ", ".join(map(str, channels)),
                len(keys),
                f"{min(keys)}-{max(keys)}" if keys else "-",
                ", ".join(f"{count} {kind}" for kind, count in sorted(others.items())),
            ).rstrip()
        )
    return lines


if __name__ == "__main__":
    for name in sys.argv[1:]:
        print(f"{name}:", *rows(name), "", sep="\n")
