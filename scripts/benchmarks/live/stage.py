"""The stage of the live part: a sound server, the processes that are measured, and who plays to them and listens."""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from router.midi.jack_library import JackWires
from tests.live.server import JackServer, until

ROOT = Path(__file__).resolve().parents[3]
CHILD = ROOT / "scripts/benchmarks/live/child.py"
TIMER_SLACK = 29


@contextlib.contextmanager
def stage(frames: int = 64) -> Iterator[Stage]:
    """A server with periods of so many frames (48,000 a second), and a folder, both gone at the end."""
    if shutil.which("jackd") is None:
        raise SystemExit("bench live needs a JACK server: apt-get install jackd2")
    server = JackServer(frames=frames)
    with tempfile.TemporaryDirectory() as folder:
        os.environ.update(server.environment, XDG_RUNTIME_DIR=folder)
        ctypes.CDLL(None).prctl(TIMER_SLACK, 1, 0, 0, 0)
        server.start()
        place = Stage(Path(folder))
        try:
            yield place
        finally:
            place.close()
            server.close()


class Stage:
    """Ports of our own, by name, and the processes under test."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.rtmidi: Any = import_module("rtmidi")
        self.sources: dict[str, Any] = {}
        self.sinks: dict[str, Any] = {}
        self._wires = JackWires()
        self._silence = self.rtmidi.MidiOut(self.rtmidi.API_UNIX_JACK, name="bench-silence")
        self._silence.open_virtual_port("silence")
        self._processes: list[Process] = []
        self._made = 0

    def source(self, *names: str) -> None:
        """Ports that play."""
        for name in names:
            client = self.rtmidi.MidiOut(self.rtmidi.API_UNIX_JACK, name=f"bench-{name}")
            client.open_virtual_port(name)
            self.sources[name] = client

    def sink(self, *names: str) -> None:
        """Ports that listen."""
        for name in names:
            self.sinks[name] = self._listener(f"bench-{name}")
            self.sinks[name].open_virtual_port(name)
            self._hush(name)

    def direct(self, source: str) -> None:
        """A listener that hears a source without anybody between them; the sink "direct"."""
        client = self._listener("bench-direct")
        ports = client.get_ports()
        client.open_port(next(at for at, name in enumerate(ports) if name.startswith(f"bench-{source}:")), "direct")
        self.sinks["direct"] = client
        self._hush("direct")

    def _hush(self, sink: str) -> None:
        """As `router.midi.jack_backend` does for its inputs: else we might crash before it has been measured."""
        self._wires.connect("bench-silence:silence", f"bench-{sink}:{sink}")

    def _listener(self, name: str) -> Any:
        client = self.rtmidi.MidiIn(self.rtmidi.API_UNIX_JACK, name=name, queue_size_limit=1 << 18)
        client.ignore_types(False, False, False)
        return client

    def heard(self, sink: str) -> list[bytes]:
        """What has arrived at a sink since the last look."""
        get, found = self.sinks[sink].get_message, []
        while (received := get()) is not None:
            found.append(bytes(received[0]))
        return found

    def deaf(self) -> None:
        """Forget what has arrived."""
        for name in self.sinks:
            self.heard(name)

    # -- processes ----------------------------------------------------------------------------------------------------

    def rules(self, text: str) -> Path:
        """A rule file."""
        self._made += 1
        path = self.folder / f"rules{self._made}.toml"
        path.write_text(text, encoding="utf-8")
        return path

    def daemon(self, text: str, *expected: str) -> Process:
        """`pointsman run` as it is. Waits until it has opened its `expected` ports."""
        command = [sys.executable, "-m", "router", "run", str(self.rules(text)), "--backend", "jack", "--name", "bench"]
        return self._start(command, None, expected)

    def watched_daemon(self, rules: Path, *expected: str) -> Process:
        """The same with clocks at its ends."""
        times = self._times()
        return self._start([sys.executable, str(CHILD), "daemon", str(times), str(rules)], times, expected)

    def bare(self, *expected: str) -> Process:
        """The bare loop with clocks at its ends."""
        times = self._times()
        return self._start([sys.executable, str(CHILD), "bare", str(times)], times, expected)

    def start(self, command: Sequence[str], *expected: str) -> Process:
        """Any other process. Waits until it says what is `expected`."""
        return self._start(command, None, expected)

    def _times(self) -> Path:
        self._made += 1
        return self.folder / f"times{self._made}"

    def _start(self, command: Sequence[str], times: Path | None, expected: Sequence[str]) -> Process:
        process = Process(command, self.folder / f"log{len(self._processes)}", times)
        self._processes.append(process)
        for name in expected:
            self._await(process, name)
        return process

    def _await(self, process: Process, name: str) -> None:
        """Wait until something arrives: the sinks hear only what the processes send."""
        until(lambda: name in process.log or process.code is not None, f"{name} in {process.log}")
        if process.code is not None:
            raise SystemExit(f"bench live: a process under test ended with code {process.code}:\n{process.log}")

    def close(self) -> None:
        """End everything."""
        for process in self._processes:
            process.stop()
        self._wires.close()
        for client in [*self.sources.values(), *self.sinks.values(), self._silence]:
            client.delete()
        self.sources.clear()
        self.sinks.clear()


class Process:
    """A process under test."""

    def __init__(self, command: Sequence[str], log: Path, times: Path | None) -> None:
        self._log = log
        self._times = times
        self.began = time.monotonic_ns()
        with log.open("wb") as file:
            self._process = subprocess.Popen(
                command, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=file
            )

    @property
    def log(self) -> str:
        """What it has written to standard error."""
        return self._log.read_text(encoding="utf-8", errors="replace")

    @property
    def code(self) -> int | None:
        """The exit code; None while it runs."""
        return self._process.poll()

    @property
    def processor(self) -> float:
        """Seconds of the processor that it has taken so far, from the scheduler's own count."""
        tasks = Path(f"/proc/{self._process.pid}/task").iterdir()
        return sum(int((task / "schedstat").read_text().split()[0]) for task in tasks) / 1e9

    @property
    def main_processor(self) -> float:
        """The same for its main thread alone."""
        pid = self._process.pid
        return int(Path(f"/proc/{pid}/task/{pid}/schedstat").read_text().split()[0]) / 1e9

    def memory(self) -> Memory:
        """What it has in memory. Ends the bench with the process's own last words if that is no more."""
        if self.code is not None:
            raise SystemExit(f"bench live: a process under test ended with code {self.code}:\n{self.log[-2_000:]}")
        lines = Path(f"/proc/{self._process.pid}/status").read_text(encoding="ascii").splitlines()
        values = {name: rest.split()[0] for name, _, rest in (line.partition(":") for line in lines) if rest.split()}
        kilo = {name: int(values[name]) * 1024 / 1e6 for name in ("VmRSS", "RssAnon", "RssFile", "RssShmem")}
        return Memory(kilo["VmRSS"], kilo["RssAnon"], kilo["RssFile"], kilo["RssShmem"])

    def kill(self) -> None:
        """End it without a word."""
        self._process.kill()
        self._process.wait()

    def stop(self) -> Times | None:
        """End it in order; the times that it noted."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGTERM)
            try:
                self._process.wait(10)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait()
        return read_times(self._times) if self._times is not None and self._times.exists() else None


@dataclass(frozen=True)
class Memory:
    """Megabytes: all that is resident, what is the process's own, mapped files, and what it shares with the server."""

    resident: float
    own: float
    files: float
    shared: float


@dataclass(frozen=True)
class Came:
    """A message that came: when it was taken (ns), from which input, and when it had arrived (ns, see `read_times`)."""

    taken: int
    source: int
    arrived: int


@dataclass(frozen=True)
class Times:
    """What a process noted. `went` are pairs: the time of a send (ns), and how many messages had come by then."""

    came: list[Came]
    went: list[tuple[int, int]]

    def during(self, begin: int, end: int) -> list[tuple[Came, int]]:
        """Messages that were taken in a stretch of time, each with the time of the last send before the next came."""
        last = {count - 1: at for at, count in self.went}
        return [(came, last[n]) for n, came in enumerate(self.came) if begin <= came.taken < end and n in last]


def read_times(path: Path) -> Times:
    """Times as a process wrote them.

    The sound server stamps each message with the time since the one before, in whole microseconds. Their sum is when a
    message arrived, but for a constant, which is set so that the one that was taken soonest waited for nothing.
    """
    numbers = array("q")
    with path.open("rb") as file:
        numbers.fromfile(file, path.stat().st_size // 8)
    length = numbers[0]
    came, went = numbers[2 : 2 + length], numbers[2 + length :]
    rows = list(zip(came[::3], came[1::3], came[2::3], strict=True))
    sums: dict[int, int] = {}
    stamps = []
    for _, source, delta in rows:
        sums[source] = sums.get(source, 0) + delta * 1_000
        stamps.append(sums[source])
    soonest = {
        number: min(taken - stamp for (taken, source, _), stamp in zip(rows, stamps, strict=True) if source == number)
        for number in sums
    }
    messages = [
        Came(taken, source, stamp + soonest[source]) for (taken, source, _), stamp in zip(rows, stamps, strict=True)
    ]
    return Times(messages, list(zip(went[::2], went[1::2], strict=True)))


def play(messages: Sequence[bytes], *sends: Any, rate: float) -> tuple[int, int]:
    """Send messages at a rate (a second), each one to all `sends`; when it began and ended (ns)."""
    begin = time.monotonic_ns()
    step = 1e9 / rate
    for number, message in enumerate(messages):
        wait = begin + int(number * step) - time.monotonic_ns()
        if wait > 0:
            time.sleep(wait / 1e9)
        for send in sends:
            send(message)
    return begin, time.monotonic_ns()
