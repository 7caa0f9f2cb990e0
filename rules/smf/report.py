"""What is asked of a rewriting, and what it answers: who plays the tracks, the results, what came of the messages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rules.smf.damage import Damage


@dataclass(frozen=True, slots=True)
class Playing:
    """Which sources play the tracks: `tracks` by track name or number (`#2`, from 1), `default` all others."""

    default: str
    tracks: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class FileReport:
    """What came of one file. Counts are of messages: channel messages, sysex and escapes; meta events don't count.

    `unended` are the notes in the result that never end, `taken` the messages that each rule took, `left` those that
    none took, by channel (1-16; None: sysex and what else has no channel), `route` how it went.
    """

    messages: int
    changed: int
    dropped: int
    added: int
    unended: int
    taken: dict[str, int]
    left: dict[int | None, int]
    route: str
    damage: tuple[Damage, ...]
    remarks: tuple[str, ...]


@dataclass(slots=True)
class Rewritten:
    """The results by port name, or one under "" when all ports share a file; silent ports have none."""

    outputs: dict[str, bytes]
    report: FileReport
