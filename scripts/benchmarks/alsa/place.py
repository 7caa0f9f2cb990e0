"""Where the ALSA part is measured: a program with ports of its own, and a daemon between them."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from router.midi.alsa.peers_room import PeersRoom
from router.midi.alsa.record_stream import Inbox, RecordStream
from router.midi.alsa.sequencer import Sequencer
from rules.ports.pacing import Pacer

CHILD = Path(__file__).with_name("child.py")
_PATIENCE_S = 180.0

INPUTS = ("keyboard", "pads", "second", "foot")
OUTPUTS = ("stage", "rack", "lights")
"""Seven ports of the daemon's; the first of each is played, the others are idle."""

RULES = (
    "[ports]\n"
    + "".join(f'{name} = {{ input = "bench:{name}" }}\n' for name in INPUTS)
    + "".join(f'{name} = {{ output = "bench:{name}" }}\n' for name in OUTPUTS)
    + '[[rules]]\nfrom = "keyboard"\nsteps = [{ transpose = 12 }]\nto = "stage"\n'
    + '[[rules]]\nfrom = ["pads", "second", "foot"]\nto = ["rack", "lights"]\n'
)


class Player:
    """A program that plays and listens: `play` to the daemon's input, `heard` from its output."""

    def __init__(self) -> None:
        self._sequencer = Sequencer("bench")
        self._stream = RecordStream(self._sequencer.descriptor, self._sequencer.number)
        self._sources = {name: self._sequencer.make_output(name) for name in INPUTS}
        sinks = {name: self._sequencer.make_input(name) for name in OUTPUTS}
        self._inboxes = {name: self._stream.open_inbox(port) for name, port in sinks.items()}
        self._ports = {**self._sources, **sinks}
        self._poll = select.poll()
        self._poll.register(self._sequencer.descriptor, select.POLLIN)

    def is_connected(self) -> bool:
        """Whether a daemon has connected all its ports."""
        peers = self._sequencer.peers
        return all(peers(self._ports[name], "out" if name in INPUTS else "in") for name in (*INPUTS, *OUTPUTS))

    def play(self, message: bytes) -> None:
        """Send a message from the keyboard."""
        self._stream.send(self._sources["keyboard"], message)

    def play_all(self, *messages: bytes) -> None:
        """Send messages, long sysex too, as fast as the daemon makes room."""
        keyboard = self._sources["keyboard"]
        listeners = self._sequencer.peers(keyboard, "out")
        pacer = Pacer(PeersRoom(lambda: listeners, self._sequencer.pool_of))
        for message in messages:
            pacer.wait(message)
        while pacer:
            while (message := pacer.take(time.monotonic_ns())) is not None:  # type: ignore[assignment]
                self.play(message)
            time.sleep(0.001)

    def hear(self, within_s: float) -> bytes | None:
        """Wait for a message at the stage."""
        inbox: Inbox = self._inboxes["stage"]
        end = time.monotonic() + within_s
        while not inbox and time.monotonic() < end:
            self._poll.poll(max(0, int(1_000 * (end - time.monotonic()))) + 1)
            self._stream.receive()
        received = inbox.get_message()
        return None if received is None else bytes(received[0])

    def heard(self, count: int, within_s: float = _PATIENCE_S) -> list[bytes]:
        """Wait for so many messages; fewer come back where the time is up."""
        found: list[bytes] = []
        while len(found) < count and (message := self.hear(within_s)) is not None:
            found.append(message)
        return found

    def close(self) -> None:
        """Leave."""
        self._sequencer.close()


@dataclass(frozen=True)
class Usage:
    """What a process has used so far: how often its loop, and all its threads, went to sleep; and processor time."""

    loop_wakings: int
    wakings: int
    processor_ns: int


class Daemon:
    """A daemon that opens ALSA by `records`, or by way of `rtmidi`; or a `bare` program in its place."""

    def __init__(self, way: str, rules: Path, log: Path) -> None:
        self._log = log
        with log.open("w", encoding="utf-8") as file:
            self._process = subprocess.Popen(
                [sys.executable, str(CHILD), way, "pointsman", str(rules)], stdout=file, stderr=file
            )

    @property
    def said(self) -> str:
        """What it has said so far."""
        return self._log.read_text(encoding="utf-8")

    def says(self, words: str, times: int = 1, within_s: float = _PATIENCE_S) -> bool:
        """Wait for words; return whether they came."""
        end = time.monotonic() + within_s
        while self.said.count(words) < times:
            if time.monotonic() > end or self._process.poll() is not None:
                return False
            time.sleep(0.005)
        return True

    def usage(self) -> Usage:
        """Return what it has used until now."""
        tasks = Path(f"/proc/{self._process.pid}/task")
        wakings = {int(task.name): _voluntary_switches(task) for task in tasks.iterdir()}
        times = [int((task / "schedstat").read_text().split()[0]) for task in tasks.iterdir()]
        return Usage(wakings[self._process.pid], sum(wakings.values()), sum(times))

    def signal(self, number: signal.Signals) -> None:
        """Send it a signal."""
        self._process.send_signal(number)

    def stop(self) -> None:
        """Let it leave."""
        self._process.send_signal(signal.SIGINT)
        self._process.wait(_PATIENCE_S)


def _voluntary_switches(task: Path) -> int:
    lines = (task / "status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("voluntary_ctxt_switches"))


@contextlib.contextmanager
def daemon_between(way: str, rules: str = RULES) -> Iterator[tuple[Daemon, Player]]:
    """Run a daemon whose ports are connected to a player's."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_RUNTIME_DIR"] = folder
        path = Path(folder) / "rules.toml"
        path.write_text(rules, encoding="utf-8")
        player = Player()
        daemon = Daemon(way, path, Path(folder) / "log")
        try:
            assert daemon.says("Ctrl-C ends it"), daemon.said
            yield daemon, player
        finally:
            daemon.stop()
            player.close()
