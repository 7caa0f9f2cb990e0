"""`pointsman run` as a process on a sound server, with rule files that a test can change."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from router.daemon.control_client import ask_daemon
from rules.journal.format import Record, unpack
from tests.live.peer import ROOT, SYSTEM
from tests.live.server import until

NAME = "test"

_IN_TERMINAL = (
    "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); os.execv(sys.argv[1], sys.argv[1:])"
)
"""Makes standard input the terminal that controls the process, and goes on as the command."""


class Daemon:
    """A running daemon; `lines` is what it has said so far. `terminal`, a file descriptor, is where it was started."""

    def __init__(
        self, environment: Mapping[str, str], folder: Path, rules: str, *options: str, terminal: int | None = None
    ) -> None:
        self.lines: list[str] = []
        self.file = folder / "rules.toml"
        self.save(rules)
        system = [] if environment.get(SYSTEM) == "alsa" else ["--backend", "jack"]  # of itself it takes ALSA
        command = [sys.executable, "-m", "router", "run", str(self.file), *system, "--name", NAME, *options]
        self._process = subprocess.Popen(
            command if terminal is None else [sys.executable, "-c", _IN_TERMINAL, *command],
            cwd=ROOT,
            env=environment,
            stdin=subprocess.DEVNULL if terminal is None else terminal,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self.hears_of("Ctrl-C ends it")

    def _read(self) -> None:
        assert self._process.stderr is not None
        for line in self._process.stderr:
            self.lines.append(line.rstrip("\n"))

    @property
    def pid(self) -> int:
        """Its process number."""
        return self._process.pid

    @property
    def code(self) -> int | None:
        """The exit code; None while it runs."""
        return self._process.poll()

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
        """Save other rules and have them read; what came of it."""
        self.save(rules)
        return str(self.ask("reload")["outcome"])

    def signal(self, number: signal.Signals) -> None:
        """Send it a signal."""
        self._process.send_signal(number)

    def ends(self) -> int:
        """Wait for its end; the exit code."""
        until(lambda: self.code is not None, f"the end; it said {self.lines}")
        self._reader.join()
        assert self.code is not None
        return self.code

    def leave(self) -> int:
        """Ctrl-C, and its end."""
        self.signal(signal.SIGINT)
        return self.ends()

    def kill(self) -> None:
        """End it without a word."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        assert self._process.stderr is not None
        self._process.stderr.close()
