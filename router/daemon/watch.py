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
        self._ahead_s = self._ahead()

    def lines(self, _: Mapping[str, Any], pause: Callable[[float], bool]) -> Iterator[dict[str, Any]]:
        """Yield line after line, for as long as `pause` returns true."""
        tap = RecordTap()
        with self._ahead_of_others(), self._recorder.followed_by(tap.hear):
            tap.begin(self._watched.sounding)
            said = self._said.after(None)
            sight = _Sight(self._whole(tap))
            whole_at = self._clock.now_ns()
            yield {"state": sight.state}
            if said:
                yield {"log": [], "said": _in_words(said), "skipped": 0}
            last = said[-1] if said else None
            while pause(LOOK_EVERY_S):
                self._recorder.collect()
                entries, skipped, happened = tap.take(ShortTurns(self._clock), round(self._ahead_s * 1e9))
                if tap.is_behind:
                    tap.begin(self._watched.sounding)
                said = self._said.after(last)
                is_due = self._clock.now_ns() - whole_at >= _WHOLE_EVERY_NS
                if said or is_due:
                    changed = sight.changed(self._whole(tap))
                    whole_at = self._clock.now_ns()
                elif happened:
                    changed = sight.changed({**self._watched.glance(), **self._notes(tap)})
                else:
                    continue
                if changed or is_due:
                    yield {"change": changed}
                if entries or said or skipped:
                    yield {"log": entries, "said": _in_words(said[-_MOST_LINES:]), "skipped": skipped}
                last = said[-1] if said else last

    def _ahead(self) -> float:
        """How far (seconds) the clock on the wall is before ours."""
        return self._clock.wall_s() - self._clock.now_ns() / 1e9

    def _whole(self, tap: RecordTap) -> dict[str, Any]:
        if abs(self._ahead() - self._ahead_s) > _CLOCK_SET_S:  # not each time, else all times would seem to change
            self._ahead_s = self._ahead()
        return {**self._watched.whole(), **self._notes(tap)}

    def _notes(self, tap: RecordTap) -> dict[str, Any]:
        notes = tap.sounding.notes
        told = [
            {"port": tap.port(port), "channel": channel + 1, "key": key, "since": round(since / 1e9 + self._ahead_s, 2)}
            for port, channel, key, since in notes[:_MOST_SOUNDING]
        ]
        return {"sounding": told, "sounding_notes": len(notes)}


def _in_words(said: Sequence[LogLine]) -> list[list[int | str]]:
    return [[round(line.at * 1e6), line.text] for line in said]


class _Sight:
    """What a client knows of the state."""

    def __init__(self, state: dict[str, Any]) -> None:
        self.state = state

    def changed(self, now: Mapping[str, Any]) -> dict[str, Any]:
        """Return what is new to the client, by key."""
        new = {key: value for key, value in now.items() if key not in self.state or self.state[key] != value}
        self.state = {**self.state, **new}
        return new
