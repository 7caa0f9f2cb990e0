"""A program in a process of its own, as tests start it: told by lines and signals, heard by what it writes."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from signal import SIGINT
from typing import Final, Literal

from tests.live.server import until

ROOT: Final = Path(__file__).parents[2]

_IN_TERMINAL: Final = (
    "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); os.execv(sys.argv[1], sys.argv[1:])"
)
"""Makes standard input the terminal that controls the process, and goes on as the command."""


class Program:
    """A Python module that runs as a process; `lines` is what it has written to `stream` so far.

    What it writes to standard error besides, pytest shows when the test fails. `terminal`, a file descriptor, is where
    it was started; without one, standard input is a pipe.
    """

    def __init__(
        self,
        environment: Mapping[str, str],
        module: str,
        *arguments: str,
        stream: Literal["stdout", "stderr"] = "stdout",
        terminal: int | None = None,
    ) -> None:
        self.lines: list[str] = []
        command = [sys.executable, "-m", module, *arguments]
        self._process = subprocess.Popen(
            command if terminal is None else [sys.executable, "-c", _IN_TERMINAL, *command],
            cwd=ROOT,
            env={**environment, "PYTHONUNBUFFERED": "1"},
            stdin=subprocess.PIPE if terminal is None else terminal,
            stdout=subprocess.PIPE if stream == "stdout" else subprocess.DEVNULL,
            stderr=subprocess.PIPE if stream == "stderr" else None,
            text=True,
            start_new_session=terminal is not None,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        stream = self._process.stdout or self._process.stderr
        assert stream is not None
        for line in stream:
            self.lines.append(line.rstrip("\n"))

    @property
    def pid(self) -> int:
        """Its process number."""
        return self._process.pid

    @property
    def code(self) -> int | None:
        """The exit code; None while it runs."""
        return self._process.poll()

    def tell(self, *lines: str) -> None:
        """Write lines to its standard input."""
        assert self._process.stdin is not None
        self._process.stdin.write("".join(f"{line}\n" for line in lines))
        self._process.stdin.flush()

    def signal(self, number: int) -> None:
        """Send it a signal."""
        self._process.send_signal(number)

    def ends(self) -> int:
        """Wait for its end; the exit code."""
        until(lambda: self.code is not None, f"the end; it said {self.lines}")
        self._reader.join()
        assert self.code is not None
        return self.code

    def leave(self, number: int = SIGINT) -> int:
        """Ctrl-C, or another signal, and its end."""
        self.signal(number)
        return self.ends()

    def kill(self) -> None:
        """End it without a word."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        for stream in (self._process.stdin, self._process.stdout, self._process.stderr):
            if stream is not None:
                stream.close()
