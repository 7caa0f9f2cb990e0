"""What is asked of a rewriting, and what it answers: who plays the tracks, the results, what came of the messages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rules.program.loss_reasons import Drops
from rules.smf.damage import Damage


@dataclass(frozen=True, slots=True)
class Playing:
    """Which sources play the tracks: `tracks` by track name or number (`#2`, from 1), `default` all others."""

    default: str
    tracks: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class FileReport:
    """What came of one file. Counts are of messages: channel messages, sysex and escapes; meta events don't count.

    Messages in, and those added, without those dropped, are the messages of the results. `unended` are the notes in
    the results that never end, `matched` the messages that each rule matched. `drops` are those dropped, by channel and
    reason. `route` is how it went.
    """

    messages: int
    changed: int
    dropped: int
    added: int
    unended: int
    matched: dict[str, int]
    drops: Drops
    route: str
    damage: tuple[Damage, ...]
    remarks: tuple[str, ...]


@dataclass(slots=True)
class Rewritten:
    """The results by port name, or one under "" when all ports share a file; silent ports have none."""

    outputs: dict[str, bytes]
    report: FileReport
