"""The line that shows how a take plays, on a terminal, and the keys that are heard there."""

from __future__ import annotations

import os
import select
import shutil
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from router.daemon.take_player import NEXT, PAUSE
from router.files.clock import Clock
from router.text import durations
from router.text.formatting import plain
from router.text.terminal import is_terminal
from rules.playback.take_stream import PlayableTake

_EVERY_NS: Final = 200_000_000
_PAUSE_KEY: Final = "p"


class PlayScreen:
    """`last` is what is known of the take that plays, for the summary. Without a terminal nothing is shown."""

    def __init__(self, clock: Clock, *, has_next: bool) -> None:
        self._now_ns = clock.now_ns
        self._shown_at = -_EVERY_NS
        self._is_shown = is_terminal(sys.stderr)
        # On Windows only sockets can be asked whether anything waits there.
        self._listens = self._is_shown and is_terminal(sys.stdin) and os.name != "nt"
        self._keys = "Enter: next, p: pause, Ctrl-C: end" if has_next else "p: pause, Ctrl-C: end"
        self._name = ""
        self._of = 0.0
        self._last_bar = 0
        self._width = 0
        self.last: dict[str, Any] = {}

    def begin(self, path: Path, take: PlayableTake) -> None:
        """Another take begins."""
        self._name = plain(path.name)
        self._of = take.seconds
        self._last_bar = take.last_bar
        self._shown_at = -_EVERY_NS
        self.last = {}

    def look(self, state: Mapping[str, Any]) -> str:
        """Show the state of the take, a few times a second; return an order that was typed, or nothing."""
        self.last = {
            "seconds": round(state["seconds"], 1),
            "messages": state["played"],
            "nowhere": state["nowhere"],
        }
        now = self._now_ns()
        if self._is_shown and now - self._shown_at >= _EVERY_NS:
            self._shown_at = now
            self._show(self._line(state))
        return self._typed() if self._listens else ""

    def _line(self, state: Mapping[str, Any]) -> str:
        bar = f"bar {state['bar']} of {self._last_bar}, " if state["bar"] else ""
        time = f"{durations.as_musicians_do(state['seconds'])} of {durations.as_musicians_do(self._of)}"
        paused = ", paused" if state["paused"] else ""
        return f"{self._name}: {bar}{time}{paused}  ({self._keys})"

    def _show(self, line: str) -> None:
        line = line[: shutil.get_terminal_size().columns - 1]
        sys.stderr.write(f"\r{line:{self._width}}")
        sys.stderr.flush()
        self._width = len(line)

    @staticmethod
    def _typed() -> str:
        if os.tcgetpgrp(sys.stdin.fileno()) != os.getpgrp():
            return ""  # in the background, what is typed is for another program, and to read it would stop us
        if not select.select([sys.stdin], [], [], 0)[0]:
            return ""
        word = sys.stdin.readline().strip().lower()
        return PAUSE if word == _PAUSE_KEY else NEXT

    def leave(self) -> None:
        """Let what follows begin in a line of its own."""
        if self._is_shown and self._width:
            sys.stderr.write(f"\r{'':{self._width}}\r")
            sys.stderr.flush()
            self._width = 0
