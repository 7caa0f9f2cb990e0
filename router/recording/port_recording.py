"""Recording ports of the computer without a daemon: nothing is sent, only listened to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.backend import Backend
from router.midi.event_loop import MOST_AT_ONCE, EventLoop
from router.midi.port_events import PortEvent
from router.midi.port_manager import PortManager
from router.midi.scan_times import ScanTimes
from router.midi.waiting import waiter_for
from router.recording.recorder import Recorder
from router.text.terminal import complain
from router.text.usage import UsageError
from rules.journal.format import IN, LOST, NAMES, Names, names_data
from rules.midi.messages import message_fault
from rules.ports.patterns import Ambiguous, Wanted, bare_name, find_port

_IDLE_PAUSE_NS: Final = 500_000
"""Shorter than elsewhere: the first note of a take has no other time than that of the look that found it."""


def record_ports(
    backend: Backend,
    patterns: Sequence[str],
    virtual: Sequence[str],
    target: Path,
    is_over: Callable[[], bool],
    say: Callable[[str], None] = lambda text: complain([text]),
    clock: Clock = SYSTEM_CLOCK,
) -> tuple[Path, int]:
    """Record ports until `is_over`; return the journal, and how many messages were lost.

    Raises UsageError where a port is named twice, MachineError if one can't be made, or the file can't be written.
    """
    recorder = Recorder(say, clock=clock)
    ports = PortManager(backend, clock)
    recorder.start()
    try:
        journal = recorder.start_recording(target)
        _PortRecording(ports, recorder, say, clock).run(wanted_inputs(backend, patterns, virtual), is_over)
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
            raise UsageError(f'"{name}" is named twice: write each port once')
    return tuple(wanted)


def _meant(pattern: str, names: Sequence[str], ours: Sequence[int]) -> Iterator[Wanted]:
    found = find_port(pattern, names, ours)
    if isinstance(found, Ambiguous):
        for number in range(1, len(found.candidates) + 1):
            yield Wanted(f"{pattern} #{number}", "in", f"{pattern} #{number}")
    else:
        yield Wanted(pattern, "in", pattern)


class _PortRecording:
    """The loop: what arrives is logged with its time."""

    def __init__(self, ports: PortManager, recorder: Recorder, say: Callable[[str], None], clock: Clock) -> None:
        self._ports = ports
        self._recorder = recorder
        self._say = say
        self._clock = clock
        self._scans = ScanTimes(ports.backend)
        self._numbers: dict[str, int] = {}
        self._called: list[str] = []

    def run(self, wanted: Iterable[Wanted], is_over: Callable[[], bool]) -> None:
        wanted = tuple(wanted)
        self._numbers = {one.name: number for number, one in enumerate(wanted)}
        self._called = [one.name for one in wanted]
        self._meet(self._ports.want(wanted, self._clock.now_ns()))
        EventLoop(
            self._take, self._tend, self._clock, waiter=waiter_for(self._ports.backend, self._clock, _IDLE_PAUSE_NS)
        ).run(is_over)
        self._take()  # what came until now belongs to the take

    def _tend(self, now: int) -> int:
        """Look after the ports; when to come again (ns)."""
        if self._scans.is_due(now):
            self._meet(self._ports.scan(now))
        return min(self._scans.next, self._ports.pump(now))

    def _meet(self, events: Sequence[PortEvent]) -> None:
        """Note that ports came or went."""
        for event in events:
            self._say(event.words)
            if event.kind == "lost" and event.wanted is not None:
                self._recorder.log((LOST, self._clock.now_ns(), self._numbers[event.wanted.name], b""))
        if events:
            self._name()

    def _take(self) -> bool:
        """Log what has arrived; whether anything had."""
        busy = False
        for input_port in self._ports.inputs:
            number = self._numbers[input_port.name]
            for _ in range(MOST_AT_ONCE):
                received = input_port.get_message()
                if received is None:
                    break
                busy = True
                message = bytes(received[0])
                input_port.messages += 1
                for whole in input_port.reassemble(message) if message_fault(message) else (message,):
                    self._recorder.log((IN, self._clock.now_ns(), number, whole))
        return busy

    def _name(self) -> None:
        """Name tracks as the computer calls their ports; as they were asked for until those are there."""
        for input_port in self._ports.inputs:
            if not input_port.wanted.virtual:
                self._called[self._numbers[input_port.name]] = bare_name(input_port.computer_port)
        names = Names(tuple(self._called))
        self._recorder.log((NAMES, self._clock.now_ns(), 0, names_data(names)))
