"""Recording all evening: a take for each stretch of playing, saved by itself when a pause has come."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.recording.journal_files import JournalFile
from router.recording.take_names import take_name
from router.recording.takes import Saved, save
from router.text.durations import as_musicians_do
from router.text.formatting import count, plain
from rules.errors import MachineError
from rules.journal.format import RECORDED, TRIMMED, pack

PAUSE_NS: Final = 60_000_000_000
"""How long (ns) nobody plays until a take has ended."""

LONGEST_BYTES: Final = 64 * 1024 * 1024
"""Where a take ends at the latest, in bytes of its journal: an hour and more of dense playing."""

NOBODY_PLAYED: Final = "nobody played, so there is nothing to save"


class AutomaticTakes:
    """Takes in a folder. `before` gives what a journal has to begin with.

    All methods are called by one thread at a time, and never wait for the disk but for `begin` and `stop`.
    """

    def __init__(
        self,
        folder: Path,
        before: Callable[[], bytes],
        say: Callable[[str], None],
        clock: Clock = SYSTEM_CLOCK,
    ) -> None:
        self._folder = folder
        self._before = before
        self._say = say
        self._clock = clock
        self._file: JournalFile | None = None
        self._size = 0
        self._played_at = 0

    @property
    def journal(self) -> Path | None:
        """The journal that is being written, if any."""
        return self._file.path if self._file is not None else None

    def begin(self, now: int) -> None:
        """Begin the first take at once, so that nothing is missed. Raises MachineError if the folder can't be used."""
        self._begin(now).open()
        self._start()

    def add(self, packed: bytes, records: int, played: bool, now: int) -> None:
        """Add what came and went; `played` says that somebody played."""
        if self._file is None:
            if not played:
                return
            self._begin(now)
            self._start()
        if self._file is not None:
            self._file.add(packed, records)
            self._size += len(packed)
        if played:
            self._played_at = now

    def go_on(self, now: int) -> None:
        """Let the take go on until now, though nothing came for a while."""
        if self._file is not None:
            self._file.add(pack((RECORDED, now, 0, TRIMMED)), 0)

    def look(self, now: int) -> None:
        """End the take if nobody plays any more, or if it is long enough."""
        if self._file is not None and (now - self._played_at > PAUSE_NS or self._size > LONGEST_BYTES):
            self.go_on(now)
            file, self._file = self._file, None
            file.end(lambda: save_and_tell(file.path, self._say))

    def stop(self) -> None:
        """Save the last take: it is the end."""
        if self._file is not None:
            file, self._file = self._file, None
            file.close()
            save_and_tell(file.path, self._say)

    def _begin(self, now: int) -> JournalFile:
        self._file = JournalFile(self._folder / f"{take_name(self._clock.wall_s())}.mid", self._say)
        self._size = 0
        self._played_at = now
        return self._file

    def _start(self) -> None:
        assert self._file is not None
        self._file.start()
        self._file.add(self._before(), 0)


def save_and_tell(journal: Path, say: Callable[[str], None]) -> None:
    """Make the .mid file of a journal, and say so; a journal that can't be saved stays, for the next start."""
    try:
        saved = save(journal)
    except MachineError as error:
        say(f"a recording can't be saved now. Pointsman tries again when it runs next: {error}")
        return
    if saved.path is not None:
        say(in_words(saved))
    if saved.undeleted:
        say(saved.undeleted)


def in_words(saved: Saved) -> str:
    """Return what was saved, on a line."""
    if saved.path is None:
        return NOBODY_PLAYED
    take = saved.take
    held = f"; {count(take.held, 'held note or pedal', 'held notes and pedals')} ended there"
    return (
        f"saved {plain(str(saved.path))}: {as_musicians_do(take.seconds)}, {count(take.messages, 'message')} in "
        f"{count(len(take.tracks), 'track')}{held if take.held else ''}"
    )
