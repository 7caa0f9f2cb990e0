"""The line that shows how a take plays, on a terminal, and the keys that are heard there."""

from __future__ import annotations

import os
import select
import shutil
import sys
from collections import deque
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from router.daemon.take_player import NEXT, PAUSE
from router.files.clock import Clock
from router.text import durations
from router.text.formatting import plain
from router.text.terminal import complain, is_terminal
from rules.playback.take_stream import PlayableTake

_EVERY_NS: Final = 200_000_000
_PAUSE_KEY: Final = "p"
_MOST_TYPED: Final = 4_096  # bytes: the longest line that a terminal gives


class PlayScreen:
    """`last` is what is known of the take that plays, for the summary.

    Without a terminal nothing is shown, but that a take waits: whoever reads the log wonders why nothing is heard.
    """

    def __init__(self, clock: Clock) -> None:
        self._now_ns = clock.now_ns
        self._shown_at = -_EVERY_NS
        self._is_shown = is_terminal(sys.stderr)
        self._listens = self._is_shown and is_terminal(sys.stdin) and _foreground() is not None
        self._typed_bytes = b""  # of a line that isn't whole yet
        self._lines: deque[str] = deque()
        self._name = ""
        self._of = 0.0
        self._last_bar = 0
        self._follows_clock = False
        self._enter = ""
        self._waits = False
        self._width = 0
        self.last: dict[str, Any] = {}

    def begin(self, path: Path, take: PlayableTake, *, waits: bool, has_next: bool) -> None:
        """Another take begins, or `waits` for an order to do so, until `go_on`. `has_next`: one more follows it."""
        self._name = plain(path.name)
        self._of = take.seconds
        self._last_bar = take.last_bar
        self._follows_clock = take.by_clock
        self._enter = "next" if has_next else "end"
        self._waits = waits
        self._shown_at = -_EVERY_NS
        self.last = {}
        if waits and not self._is_shown:
            complain([f"{self._name} waits for a pedal"])

    def go_on(self) -> None:
        """The take waits for no order any more."""
        self._waits = False

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
        return f"{self._name}: {self._words(state)}  ({', '.join(self._keys(state))})"

    def _words(self, state: Mapping[str, Any]) -> str:
        if self._waits:
            return f"waits for {'Enter or a pedal' if self._listens else 'a pedal'}"
        if self._follows_clock and state["paused"] and not (state["bar"] or state["seconds"]):
            return "waits for the start of the clock"
        bar = f"bar {state['bar']} of {self._last_bar}, " if state["bar"] else ""
        time = f"{durations.as_musicians_do(state['seconds'])} of {durations.as_musicians_do(self._of)}"
        paused = ", paused" if state["paused"] else ""
        return f"{bar}{time}{paused}"

    def _keys(self, state: Mapping[str, Any]) -> Iterator[str]:
        """What is heard now, for as long as somebody can press it."""
        if self._listens and self._waits:
            yield "Enter: begin"
        elif self._listens:
            yield f"Enter: {self._enter}"
            yield f"{_PAUSE_KEY}: {'go on' if state['paused'] else 'pause'}"
        yield "Ctrl-C: end"

    def _show(self, line: str) -> None:
        line = line[: shutil.get_terminal_size().columns - 1]
        sys.stderr.write(f"\r{line:{self._width}}")
        sys.stderr.flush()
        self._width = len(line)

    def _typed(self) -> str:
        """Return the order of the next line that was typed; nothing where there is none."""
        if not self._lines:
            self._read()
        if not self._lines:
            return ""
        return PAUSE if self._lines.popleft().strip().lower() == _PAUSE_KEY else NEXT

    def _read(self) -> None:
        """Take what was typed by now. Lines may come in pieces, or several at once; to wait would hold up the take."""
        if _foreground() != os.getpgrp():
            return  # in the background, what is typed is for another program, and to read it would stop us
        if not select.select([sys.stdin], [], [], 0)[0]:
            return
        try:
            typed = os.read(sys.stdin.fileno(), _MOST_TYPED)
        except OSError:  # the terminal has gone
            self._listens = False
            return
        *lines, self._typed_bytes = (self._typed_bytes + typed).replace(b"\r", b"\n").split(b"\n")
        self._typed_bytes = self._typed_bytes[-_MOST_TYPED:]
        self._lines.extend(line.decode(errors="replace") for line in lines)

    def leave(self) -> None:
        """Let what follows begin in a line of its own."""
        if self._is_shown and self._width:
            sys.stderr.write(f"\r{'':{self._width}}\r")
            sys.stderr.flush()
            self._width = 0


def _foreground() -> int | None:
    """The group of processes that is heard at the terminal; None where keys can't be asked for."""
    if os.name == "nt":  # only sockets can be asked there whether anything waits
        return None
    try:
        return os.tcgetpgrp(sys.stdin.fileno())
    except OSError:  # it isn't the terminal of this session
        return None
