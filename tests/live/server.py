"""A JACK server of our own, with its dummy driver: no sound card, a name that nobody else uses.

It is a realtime process where this computer allows that: then it loses nothing, however busy the computer is.
"""

from __future__ import annotations

import contextlib
import fcntl
import functools
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final, TextIO

_SHARED: Final = Path("/dev/shm")
_PATIENCE: Final = float(os.environ.get("POINTSMAN_TEST_PATIENCE", "20"))
_NAMES: Final = 4

_WITH_US: Final = ("setpriv", "--pdeathsig", "KILL")
"""How to start a server that ends with us, even if we are killed."""

_PRIORITY: Final = 20

_TOO_MANY: Final = """\
Servers that were killed keep their places in the registry. End all servers, and delete the files jack* in /dev/shm."""


@functools.cache
def may_be_realtime() -> bool:
    """Whether this computer lets us start realtime processes: as root, or with a limit that says so (`ulimit -r`)."""
    us = (sys.executable, "-c", f"import os; os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param({_PRIORITY}))")
    return subprocess.run(us, stderr=subprocess.DEVNULL, check=False).returncode == 0


def kind_of_server() -> str:
    """Say how the servers of tests and measurements run here."""
    return f"realtime, priority {_PRIORITY}" if may_be_realtime() else "without realtime: they may lose messages"


def until(condition: Callable[[], object], what: str = "") -> None:
    """Wait for something that is to happen soon; fails when it doesn't."""
    end = time.monotonic() + _PATIENCE
    while not condition():
        assert time.monotonic() < end, f"waited in vain: {what}"
        time.sleep(0.005)


def _free_name() -> tuple[TextIO, str]:
    """A name that no other test run uses at this time, and the lock that keeps it.

    A computer has room for eight servers. One that was killed keeps its room until the next one of its name comes, so
    that names must not be made up anew each time.
    """
    for number in range(1, _NAMES + 1):
        lock = (Path(tempfile.gettempdir()) / f"pointsman-test-{os.getuid()}-{number}.lock").open("w")
        name = f"pointsman-test-{number}"
        with contextlib.suppress(BlockingIOError):
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if not _runs(b"jackd", name.encode()):  # a test run that was killed may have left it behind
                return lock, name
        lock.close()
    raise AssertionError(f"{_NAMES} sound servers of other test runs are running")


def _runs(*words: bytes) -> bool:
    """Whether a process runs whose command has all these words."""
    for process in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            if set(words) <= set(process.read_bytes().split(b"\0")):
                return True
    return False


def _any_runs() -> bool:
    """Whether any JACK server runs, of whoever and however it was started."""
    for name in Path("/proc").glob("[0-9]*/comm"):
        with contextlib.suppress(OSError):
            if name.read_text().strip() in ("jackd", "jackdbus"):
                return True
    return False


def _we_look_into(registry: Path) -> bool:
    """Whether this process has a registry in its memory, as clients do: it would look into the deleted one for ever."""
    return str(registry) in Path("/proc/self/maps").read_text()


class JackServer:
    """A server that can be started, killed, stopped in its tracks, and started again.

    `frames` make a period, at 48,000 a second. A server without realtime rights on a busy computer drops whole periods,
    and the shorter they are the more of them. With `realtime` it takes these rights where it may: `is_realtime`.
    What it says goes to the file `log`.
    """

    def __init__(self, frames: int = 512, *, realtime: bool = True, log: Path | None = None) -> None:
        self._lock, name = _free_name()
        self.name = name
        self.environment = {**os.environ, "JACK_DEFAULT_SERVER": name, "JACK_NO_AUDIO_RESERVATION": "1"}
        self.is_realtime = realtime and may_be_realtime()
        how = ("--realtime", "--realtime-priority", str(_PRIORITY)) if self.is_realtime else ("--no-realtime",)
        driver = ("-d", "dummy", "--rate", "48000", "--period", str(frames))
        self._command = (*_WITH_US, "jackd", *how, "-n", name, *driver)
        self._log = tempfile.TemporaryFile("a+b") if log is None else log.open("a+b")  # noqa: SIM115
        self._process: subprocess.Popen[bytes] | None = None

    @classmethod
    @contextlib.contextmanager
    def running(cls, frames: int = 512, log: Path | None = None) -> Iterator[JackServer]:
        """Start a server for as long as a test needs it."""
        server = cls(frames, log=log)
        try:
            server.start()
            yield server
        finally:
            server.close()

    def start(self) -> None:
        """Start, and wait until clients can come."""
        self._clear()
        self._process = subprocess.Popen(self._command, env=self.environment, stdout=self._log, stderr=self._log)
        until(lambda: self._answers() or self._has_ended(), "jackd starts")
        assert not self._has_ended(), f"jackd ended at once: {self._last_words()}"

    def _answers(self) -> bool:
        with socket.socket(socket.AF_UNIX) as line, contextlib.suppress(OSError):
            line.connect(str(_SHARED / f"jack_{self.name}_{os.getuid()}_0"))
            return True
        return False

    def _has_ended(self) -> bool:
        return self._process is not None and self._process.poll() is not None

    @property
    def dropped(self) -> int:
        """How often it has dropped periods, as it says: what plays or is recorded then has gaps."""
        self._log.seek(0)
        return self._log.read().count(b"XRun")

    def _last_words(self) -> str:
        self._log.seek(0)
        words = self._log.read()[-2_000:].decode("utf-8", "replace")
        return f"{words}\n{_TOO_MANY}" if "Too many servers" in words else words

    def kill(self) -> None:
        """Die without a word."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
        self._clear()

    def _clear(self) -> None:
        """What a server that was killed leaves lying around."""
        for left in [*_SHARED.glob(f"jack_{self.name}_*"), *_SHARED.glob(f"jack_sem.*_{self.name}_*")]:
            with contextlib.suppress(OSError):
                left.unlink()
        # All servers share a registry, and those of a user a database of port names. The killed ones fill both, until
        # no more can start.
        registry = _SHARED / "jack-shm-registry"
        if not _any_runs() and not _we_look_into(registry):
            shutil.rmtree(_SHARED / f"jack_db-{os.getuid()}", ignore_errors=True)
            for left in [registry, *_SHARED.glob(f"jack-{os.getuid()}-*")]:
                with contextlib.suppress(OSError):
                    left.unlink()

    def close(self) -> None:
        """End for good."""
        self.kill()
        self._log.close()
        self._lock.close()

    def hang(self) -> None:
        """Stop in the middle of everything."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def go_on(self) -> None:
        """Go on as if nothing had been."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)
