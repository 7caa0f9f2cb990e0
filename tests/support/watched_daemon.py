"""A daemon that a test plays: it answers `watch` with what the test says, and remembers what it was asked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from queue import Empty, SimpleQueue
from typing import Any

from router.daemon.control_server import ControlServer
from rules.errors import MachineError
from tests.support.fake_daemon import STATUS

RULES = """
[ports]
keyboard = { input = "Pit Keyboard*" }
cable_a = { output = "Pit Interface*1" }
cable_b = { output = "Pit Interface*2" }
[devices]
organ = { port = "cable_a", channel = 4 }
harp = { port = "cable_b" }
[switches]
giant = { from = "keyboard", controller = 66 }
place = { values = ["garden", "cave"] }
key = { numbers = "-3..3" }
[[rules]]
name = "left hand"
from = "keyboard"
match = { notes = "..B3" }
to = "organ"
[[rules]]
name = "cave only"
from = "keyboard"
when = "place = cave"
to = ["organ", "harp"]
"""

NEVER_RELOADED: dict[str, Any] = {
    "serial": 0,
    "at": 1_795_610_000.0,
    "outcome": "applied",
    "refused": None,
    "words": ["2 rules, 3 ports"],
    "problems": [],
    "differences": [],
    "has_former": False,
    "going_back": False,
}

WATCHED: dict[str, Any] = {
    **STATUS,
    "sounding": [],
    "sounding_notes": 0,
    "recording_since": None,
    "last_reload": NEVER_RELOADED,
}
"""What a watcher is told first."""


class WatchedDaemon:
    """`asked` has the questions; `refusal`, if set, is the answer to each. Tests change the rest."""

    def __init__(self, name: str = "pit") -> None:
        self.name = name
        self.state: dict[str, Any] = dict(WATCHED)
        self.playing = {"pit.toml": RULES.encode()}
        self.found = self.playing
        self.journal = b""
        self.recorded = "/nowhere/take.mid.journal"
        self.refusal: str | None = None
        self.asked: list[tuple[str, dict[str, Any]]] = []
        self.watchers = 0
        self._lines: SimpleQueue[Mapping[str, Any] | None] = SimpleQueue()
        verbs = (
            "panic",
            "switch",
            "record",
            "record-stop",
            "last",
            "former-rules",
            "rule-files",
            "tap",
            "clock",
            "status",
            "take",
        )
        self.control = ControlServer(
            name, {verb: self._answering(verb) for verb in verbs}, lambda text: None, streams={"watch": self._watch}
        )

    def start(self) -> None:
        """Begin to answer."""
        self.control.start()

    def stop(self) -> None:
        """End."""
        self._lines.put(None)
        self.control.stop()

    def tell(self, **line: Any) -> None:
        """Say a line to the watcher."""
        self._lines.put(line)

    def change(self, **change: Any) -> None:
        """Say that something has changed."""
        self.state.update(change)
        self.tell(change=change)

    def _watch(self, _: dict[str, Any], pause: Callable[[float], bool]) -> Iterator[Mapping[str, Any]]:
        self.watchers += 1
        yield {"state": self.state}
        while pause(0):
            try:
                line = self._lines.get(timeout=0.5)
            except Empty:
                line = {"change": {}}
            if line is None:
                return
            yield line

    def _answering(self, verb: str) -> Callable[[dict[str, Any]], Mapping[str, Any]]:
        def answer(asked: dict[str, Any]) -> Mapping[str, Any]:
            if verb == "rule-files":
                files = self.found if asked["which"] == "found" else self.playing
                held = {f"file {number}": content for number, content in enumerate(files.values())}
                return {"serial": self.state["last_reload"]["serial"], "files": list(files), **held}
            if verb == "status":
                return self.state
            self.asked.append((verb, asked))
            if self.refusal is not None:
                raise MachineError(self.refusal)
            return {"journal": self.journal if verb == "last" else self.recorded}

        return answer
