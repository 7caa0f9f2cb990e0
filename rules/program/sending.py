"""A message on its way to an output, on behalf of a holder."""

from __future__ import annotations

from dataclasses import dataclass, field

from rules.program.holders import Copy


@dataclass(slots=True, eq=False)
class Mark:
    """What the ledger keeps of something sent: whether it has gone out."""

    is_out: bool = field(default=False, kw_only=True)


@dataclass(frozen=True, slots=True)
class Sending:
    """A message on behalf of a holder: whose (`player`, its `hand`, `in_key`, `copy`), where to, and what.

    `mark` is told when it goes out.
    """

    player: int
    hand: int
    in_key: int
    copy: Copy
    target: int
    message: bytes
    mark: Mark | None = None

    def mark_out(self) -> None:
        """It goes out now."""
        if self.mark is not None:
            self.mark.is_out = True
