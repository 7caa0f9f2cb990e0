"""One process of the live part, with clocks at both ends: `child.py daemon TIMES RULES` or `child.py bare TIMES`.

`daemon` is `pointsman run` as it is; `bare` polls the same inputs as often, and only resends. Whenever `get_message`
has returned a message, and right before `send_message` is called, the time is noted. At the end, all times go to TIMES.
"""

from __future__ import annotations

import ctypes
import signal
import sys
import time
from array import array
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

SCRIPTS = Path(__file__).resolve().parents[2]
sys.path += [str(SCRIPTS), str(SCRIPTS.parent)]  # behind what is installed: a wheel is measured as it is

Received = tuple[Sequence[int], float]

TIMER_SLACK = 29


class Clocks:
    """Of each message that came: time (ns), input, microseconds since the one before as the sound server stamped them.
    Of each that was sent: time, and how many had come by then."""

    def __init__(self) -> None:
        self.came = array("q")
        self.went = array("q")
        self._inputs = 0

    def around_input(self, get: Callable[[], Received | None]) -> Callable[[], Received | None]:
        number = self._inputs
        self._inputs += 1
        note, now = self.came.extend, time.monotonic_ns

        def get_message() -> Received | None:
            received = get()
            if received is not None:
                note((now(), number, round(received[1] * 1e6)))
            return received

        return get_message

    def around_output(self, send: Callable[[Sequence[int]], None]) -> Callable[[Sequence[int]], None]:
        note, now, came = self.went.extend, time.monotonic_ns, self.came

        def send_message(message: Sequence[int]) -> None:
            note((now(), len(came) // 3))
            send(message)

        return send_message

    def write(self, path: Path) -> None:
        with path.open("wb") as file:
            array("q", [len(self.came), len(self.went)]).tofile(file)
            self.came.tofile(file)
            self.went.tofile(file)


def daemon(clocks: Clocks, rules: str) -> None:
    """The real daemon; only its open ports get clocks."""
    from router.daemon.run_settings import RunSettings

    run_module: Any = import_module("router.daemon.daemon")
    choose = run_module.choose_backend

    def choose_with_clocks(name: str | None, client: str) -> Any:
        backend: Any = choose(name, client)
        open_input, open_output = backend.open_input, backend.open_output

        def watched_input(*arguments: str) -> Any:
            raw = open_input(*arguments)
            raw.get_message = clocks.around_input(raw.get_message)
            return raw

        def watched_output(*arguments: str) -> Any:
            raw = open_output(*arguments)
            raw.send_message = clocks.around_output(raw.send_message)
            return raw

        backend.open_input, backend.open_output = watched_input, watched_output
        return backend

    run_module.choose_backend = choose_with_clocks
    run_module.run(RunSettings((rules,), "bench", "jack"))


def bare(clocks: Clocks) -> None:
    """Poll, resend, sleep: the least that a polling router can do. It takes the realtime that the daemon takes."""
    from benchmarks.live.rigs import SOURCES
    from router.daemon.realtime import take_realtime
    from router.midi.waiting import BUSY_PAUSE_NS

    rtmidi: Any = import_module("rtmidi")
    jack = rtmidi.API_UNIX_JACK
    inputs = []
    for name in SOURCES:
        source = rtmidi.MidiIn(jack, name="bare", queue_size_limit=16_384)
        source.ignore_types(False, False, False)
        source.open_port(_index(source, f"bench-{name}:"), name)
        inputs.append(source)
    output = rtmidi.MidiOut(jack, name="bare")
    output.open_port(_index(output, "bench-bare:"), "out")
    gets = [clocks.around_input(source.get_message) for source in inputs]
    send = clocks.around_output(output.send_message)
    running = True

    def stop(*_: object) -> None:
        nonlocal running
        running = False

    signal.signal(signal.SIGTERM, stop)
    ctypes.CDLL(None).prctl(TIMER_SLACK, 1, 0, 0, 0)
    take_realtime()
    print("ready", file=sys.stderr, flush=True)
    while running:
        for get in gets:
            while (received := get()) is not None:
                send(received[0])
        time.sleep(BUSY_PAUSE_NS / 1e9)
    for client in [*inputs, output]:
        client.delete()


def _index(client: Any, begin: str) -> int:
    return next(at for at, name in enumerate(client.get_ports()) if name.startswith(begin))


def main() -> None:
    side, path, *rules = sys.argv[1:]
    clocks = Clocks()
    if side == "daemon":
        daemon(clocks, *rules)
    else:
        bare(clocks)
    clocks.write(Path(path))


if __name__ == "__main__":
    main()
