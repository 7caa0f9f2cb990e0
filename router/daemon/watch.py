"""The request `watch`: what a daemon does, pushed to those who watch it. `WATCHING.md` describes the lines.

All of it is done in the thread of the client. The loop is asked for a glance after something has happened, at most 20
times a second, and for the whole state once a second. Nobody watches: nothing is done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import Any, Final, Protocol

from router.daemon.recent_lines import LogLine, RecentLines
from router.daemon.record_tap import RecordTap
from router.daemon.short_turns import ShortTurns
from router.files.clock import SYSTEM_CLOCK, Clock
from router.recording.recorder import Recorder
from rules.journal.format import Names
from rules.midi.sounding_notes import SoundingNote

LOOK_EVERY_S: Final = 0.05
_WHOLE_EVERY_NS: Final = 1_000_000_000
_MOST_SOUNDING: Final = 256
_MOST_LINES: Final = 20
_CLOCK_SET_S: Final = 0.5  # by more than this the clock on the wall was set, or the computer slept


class Watched(Protocol):
    """What a watcher may ask the daemon, in its own thread. All raise MachineError when the daemon leaves."""

    def whole(self) -> dict[str, Any]:
        """Return everything."""

    def glance(self) -> dict[str, Any]:
        """Return those parts of everything that change while music plays."""

    def sounding(self) -> tuple[Names, Sequence[SoundingNote]]:
        """Return what sounds, and what the numbers of ports mean."""


class Watch:
    """Answers `watch`; each call of `lines` is for one client. `ahead` lets its thread go ahead of other programs."""

    def __init__(
        self,
        watched: Watched,
        recorder: Recorder,
        said: RecentLines,
        clock: Clock = SYSTEM_CLOCK,
        ahead: Callable[[], AbstractContextManager[None]] = nullcontext,
    ) -> None:
        self._watched = watched
        self._recorder = recorder
        self._said = said
        self._clock = clock
        self._ahead_of_others = ahead

    def lines(self, _: Mapping[str, Any], pause: Callable[[float], bool]) -> Iterator[dict[str, Any]]:
        """Yield line after line, for as long as `pause` returns true."""
        tap = RecordTap()
        with self._ahead_of_others(), self._recorder.followed_by(tap.hear):
            watcher = _Watcher(self._watched, tap, self._said, self._clock)
            yield from watcher.begin()
            while pause(LOOK_EVERY_S):
                self._recorder.collect()
                yield from watcher.look()


class _Watcher:
    """What one client knows by now: the state, the last line of the log, and by `tap` what was played."""

    def __init__(self, watched: Watched, tap: RecordTap, said: RecentLines, clock: Clock) -> None:
        self._watched = watched
        self._tap = tap
        self._said = said
        self._clock = clock
        self._state: dict[str, Any] = {}
        self._whole_at = 0
        self._last_said: LogLine | None = None
        self._ahead_s = self._ahead()

    def begin(self) -> Iterator[dict[str, Any]]:
        """Yield the whole state, and the last lines of the log."""
        self._tap.begin(self._watched.sounding)
        said = self._new_lines()
        self._state = self._whole()
        yield {"state": self._state}
        if said:
            yield {"log": [], "said": _in_words(said), "skipped": 0}

    def look(self) -> Iterator[dict[str, Any]]:
        """Yield what has changed, and what was played and said since the last look."""
        entries, skipped, happened = self._tap.take(ShortTurns(self._clock), round(self._ahead_s * 1e9))
        if self._tap.is_behind:
            self._tap.begin(self._watched.sounding)
        said = self._new_lines()
        is_due = self._clock.now_ns() - self._whole_at >= _WHOLE_EVERY_NS
        if said or is_due:
            changed = self._changed(self._whole())
        elif happened:
            changed = self._changed({**self._watched.glance(), **self._notes()})
        else:
            return
        if changed or is_due:
            yield {"change": changed}
        if entries or said or skipped:
            yield {"log": entries, "said": _in_words(said[-_MOST_LINES:]), "skipped": skipped}

    def _new_lines(self) -> list[LogLine]:
        said = self._said.after(self._last_said)
        self._last_said = said[-1] if said else self._last_said
        return said

    def _ahead(self) -> float:
        """How far (seconds) the clock on the wall is before ours."""
        return self._clock.wall_s() - self._clock.now_ns() / 1e9

    def _whole(self) -> dict[str, Any]:
        if abs(self._ahead() - self._ahead_s) > _CLOCK_SET_S:  # not each time, else all times would seem to change
            self._ahead_s = self._ahead()
        whole = {**self._watched.whole(), **self._notes()}
        self._whole_at = self._clock.now_ns()
        return whole

    def _notes(self) -> dict[str, Any]:
        notes = self._tap.sounding.notes
        told = [
            {
                "port": self._tap.port(port),
                "channel": channel + 1,
                "key": key,
                "since": round(since / 1e9 + self._ahead_s, 2),
            }
            for port, channel, key, since in notes[:_MOST_SOUNDING]
        ]
        return {"sounding": told, "sounding_notes": len(notes)}

    def _changed(self, now: Mapping[str, Any]) -> dict[str, Any]:
        """Return what is new to the client, by key."""
        new = {key: value for key, value in now.items() if key not in self._state or self._state[key] != value}
        self._state = {**self._state, **new}
        return new


def _in_words(said: Sequence[LogLine]) -> list[list[int | str]]:
    return [[round(line.at * 1e6), line.text] for line in said]
