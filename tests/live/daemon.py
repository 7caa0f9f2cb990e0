"""`pointsman run` as a process on a sound server, with rule files that a test can change."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from router.daemon.control_client import ask_daemon
from rules.journal.format import Record, unpack
from tests.live.peer import SYSTEM
from tests.live.program import Program
from tests.live.server import until

NAME = "test"


class Daemon(Program):
    """A running daemon; `lines` is what it has said so far. `terminal`, a file descriptor, is where it was started."""

    def __init__(
        self, environment: Mapping[str, str], folder: Path, rules: str, *options: str, terminal: int | None = None
    ) -> None:
        self.file = folder / "rules.toml"
        self.save(rules)
        system = [] if environment.get(SYSTEM) == "alsa" else ["--backend", "jack"]  # of itself it takes ALSA
        arguments = ("run", str(self.file), *system, "--name", NAME, *options)
        super().__init__(environment, "router", *arguments, stream="stderr", terminal=terminal)
        self.hears_of("Ctrl-C ends it")

    def save(self, rules: str) -> None:
        """Save the rule file, as an editor does: another file, renamed."""
        new = self.file.with_suffix(".new")
        new.write_text(rules, encoding="utf-8")
        new.replace(self.file)

    def said(self, words: str) -> int:
        """How many lines with these words it has said."""
        return sum(words in line for line in self.lines)

    def hears_of(self, words: str, times: int = 1) -> None:
        """Wait for lines."""
        until(lambda: self.said(words) >= times or self.code is not None, f"{words}; it said {self.lines}")
        assert self.said(words) >= times, self.lines

    def ask(self, verb: str, **arguments: Any) -> dict[str, Any]:
        """Ask it over its socket."""
        return ask_daemon(NAME, verb, **arguments)

    def port(self, name: str) -> dict[str, Any]:
        """How a port stands."""
        ports: list[dict[str, Any]] = self.ask("status")["ports"]
        return next(port for port in ports if port["name"] == name)

    def has_opened(self, *names: str) -> None:
        """Wait until ports are open."""
        until(lambda: all(self.port(name)["state"] == "open" for name in names), f"open: {names}")

    def journal(self) -> list[Record]:
        """All that it remembers."""
        return list(unpack(self.ask("last")["journal"]))

    def reload(self, rules: str) -> str:
        """Save other rules and have them read; what came of it. On a busy computer that gives way to all else."""
        self.save(rules)
        return str(self.ask("reload", patience_s=60.0)["outcome"])
