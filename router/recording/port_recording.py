"""Recording ports of the computer without a daemon: nothing is sent, only listened to."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final

from router.midi.backend import Backend
from router.midi.port_manager import Ports
from router.recording.recorder import Recorder
from router.text.terminal import complain
from router.text.usage import UsageError
from rules.journal.format import IN, LOST, NAMES, Names, names_data
from rules.midi.messages import message_fault
from rules.ports.patterns import Ambiguous, Wanted, bare_name, find

_PAUSE: Final = 0.0005  # seconds between two looks at the ports
_LOOK_EVERY: Final = 250_000_000  # ns
_MOST_AT_ONCE: Final = 32


def tape(
    backend: Backend,
    patterns: Sequence[str],
    virtual: Sequence[str],
    target: Path,
    is_over: Callable[[], bool],
    say: Callable[[str], None] = lambda text: complain([text]),
) -> tuple[Path, int]:
    """Record ports until `is_over`; return the journal, and how many messages were lost.

    Raises UsageError where a port is named twice, MachineError if one can't be made, or the file can't be written.
    """
    recorder = Recorder(say)
    ports = Ports(backend)
    recorder.start()
    try:
        journal = recorder.start_recording(target)
        _Tape(ports, recorder, say).run(wanted_inputs(backend, patterns, virtual), is_over)
        return journal, recorder.stop_recording()[1]
    finally:
        recorder.stop()
        ports.close()


def wanted_inputs(backend: Backend, patterns: Sequence[str], virtual: Sequence[str]) -> tuple[Wanted, ...]:
    """The inputs that are meant: a pattern that fits several ports means all of them. Raises UsageError for doubles."""
    names = backend.input_names()
    ours = [index for index, name in enumerate(names) if backend.is_ours(name)]
    wanted = [one for pattern in patterns for one in _meant(pattern, names, ours)]
    wanted += [Wanted(name, "in", name, virtual=True) for name in virtual]
    called = [one.name for one in wanted]
    for name in called:
        if called.count(name) > 1:
            raise UsageError(f'"{name}" is wanted twice: each port once is enough')
    return tuple(wanted)


def _meant(pattern: str, names: Sequence[str], ours: Sequence[int]) -> Iterator[Wanted]:
    found = find(pattern, names, ours)
    if isinstance(found, Ambiguous):
        for number in range(1, len(found.candidates) + 1):
            yield Wanted(f"{pattern} #{number}", "in", f"{pattern} #{number}")
    else:
        yield Wanted(pattern, "in", pattern)


class _Tape:
    """The loop: what arrives is logged with its time."""

    def __init__(self, ports: Ports, recorder: Recorder, say: Callable[[str], None]) -> None:
        self._ports = ports
        self._recorder = recorder
        self._say = say
        self._numbers: dict[str, int] = {}
        self._called: list[str] = []

    def run(self, wanted: Iterable[Wanted], is_over: Callable[[], bool]) -> None:
        wanted = tuple(wanted)
        self._numbers = {one.name: number for number, one in enumerate(wanted)}
        self._called = [one.name for one in wanted]
        events = self._ports.want(wanted, time.monotonic_ns())
        next_look = 0
        while True:
            for event in events:
                self._say(event.words)
                if event.kind == "lost" and event.wanted is not None:
                    self._recorder.log((LOST, time.monotonic_ns(), self._numbers[event.wanted.name], b""))
            if events:
                self._name()
            over = is_over()
            self._poll()
            if over:
                return
            time.sleep(_PAUSE)
            now = time.monotonic_ns()
            events = []
            if now >= next_look:
                next_look = now + _LOOK_EVERY
                events = self._ports.scan(now)

    def _poll(self) -> None:
        for inlet in self._ports.inlets:
            number = self._numbers[inlet.name]
            for _ in range(_MOST_AT_ONCE):
                received = inlet.get_message()
                if received is None:
                    break
                message = bytes(received[0])
                inlet.messages += 1
                for whole in inlet.mend(message) if message_fault(message) else (message,):
                    self._recorder.log((IN, time.monotonic_ns(), number, whole))

    def _name(self) -> None:
        """Tracks are called as the computer calls their ports; as they were asked for until those are there."""
        for inlet in self._ports.inlets:
            if not inlet.wanted.virtual:
                self._called[self._numbers[inlet.name]] = bare_name(inlet.computer_port)
        names = Names(tuple(self._called))
        self._recorder.log((NAMES, time.monotonic_ns(), 0, names_data(names)))
