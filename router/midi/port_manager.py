"""The ports of a session: found, opened, lost and found again.

Most systems don't tell that a port has gone: its name is missing from the list, which is read four times a second,
and everything else goes on as if it were there. A port that comes back is opened again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any, Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.backend import Backend
from router.midi.heartbeat import POLL_S, Heartbeat
from router.midi.input_port import InputPort
from router.midi.output_port import OutputPort
from router.midi.output_queue import OutputQueue
from router.midi.port_complaints import PortComplaints
from router.midi.port_events import ManagedPort, PortEvent, is_cut_off, renamed_inputs, silence
from router.midi.port_maintenance import PortMaintenance
from router.midi.port_opening import PortOpener
from rules.errors import MachineError
from rules.ports.patterns import Direction, Wanted, bare_name, port_changes
from rules.timing.delays import NEVER

_LAST_BEAT_NS: Final = 300_000_000

LONGEST_FLUSH_NS: Final = 10_000_000_000
"""How long (ns) `flush` takes at most: a service manager that has told us to leave waits only so long."""


class PortManager:
    """All ports of a session on one MIDI system, the `backend`.

    `inputs` are those that are open, to be polled; `outputs` are all that are wanted, by our name. Both are replaced,
    not changed, when ports come and go: each time, there is an event. `report` is called while an exception is handled
    that costs no more than a message.
    """

    def __init__(self, backend: Backend, clock: Clock = SYSTEM_CLOCK) -> None:
        self.inputs: list[InputPort] = []
        self.outputs: dict[str, OutputPort] = {}
        self.report: Callable[[], None] = lambda: None  # where only what was lost counts
        self.backend = backend
        self._clock = clock
        self._inputs: dict[str, InputPort] = {}
        self._dropped: list[ManagedPort] = []
        self._closing: list[OutputPort] = []
        self._queue = OutputQueue()
        self._names: dict[Direction, list[str]] = {"in": [], "out": []}
        self._unlisted = ""
        self._look_again = True
        self._opener = PortOpener(backend)
        self._down = False
        self._complaints = PortComplaints(backend)
        self._heartbeat = self._begin_heartbeat()
        self._maintenance = PortMaintenance(backend, self._is_alive)

    def _begin_heartbeat(self) -> Heartbeat | None:
        loop = self.backend.loopback()
        return None if loop is None else Heartbeat(*loop, self._clock)

    def _all(self) -> list[ManagedPort]:
        return [*self._inputs.values(), *self.outputs.values()]

    def _of(self, wanted: Wanted) -> ManagedPort | None:
        return (self._inputs if wanted.direction == "in" else self.outputs).get(wanted.name)

    def _list_inputs(self) -> None:
        self.inputs = [input_port for input_port in self._inputs.values() if input_port.is_open]

    # -- what is wanted -----------------------------------------------------------------------------------------------

    def renamed(self, wanted: Iterable[Wanted]) -> dict[str, str]:
        """Which inputs that are open have another name in `wanted`, by old name: the computer's port is the same."""
        return renamed_inputs(self._inputs, wanted, self._is_same)

    def _is_same(self, port: InputPort, wanted: Wanted) -> bool:
        if (port.wanted.pattern, port.wanted.virtual) == (wanted.pattern, wanted.virtual):
            return True
        return self._opener.means(wanted, port, self._names["in"])

    def _rename(self, old: str, new: str) -> None:
        port = self._inputs.pop(old)
        port.wanted = replace(port.wanted, name=new)
        self._inputs[new] = port

    def want(self, wanted: Iterable[Wanted], now: int, renamed: Mapping[str, str] | None = None) -> list[PortEvent]:
        """Open what is new. Ports that stay are not touched; outputs that go are open until `drop_unwanted`.

        Inputs that are `renamed` stay open under their new names.

        A port of the same name that means another port of the computer now comes as lost and found. Raises
        MachineError, before anything has changed, for virtual ports where the system has none.
        """
        wanted = tuple(wanted)
        self._maintenance.begin(now)
        self._refuse_virtual(wanted)
        self._take_back()
        for old, new_name in (renamed or {}).items():
            self._rename(old, new_name)
        plan = port_changes((port.wanted for port in self._all()), wanted)
        for one in plan.keep:
            self._keep(one)
        new = {(one.direction, one.name) for one in plan.add}
        events = [event for one in plan.drop if (one.direction, one.name) not in new for event in self._set_aside(one)]
        for one in plan.add:
            events += self._add(one)
        events += self._scan_names()
        self._list_inputs()
        return events

    def _refuse_virtual(self, wanted: Iterable[Wanted]) -> None:
        if not self.backend.has_virtual and (virtual := [one for one in wanted if one.virtual]):
            raise MachineError(
                f"{virtual[0].words}: {self.backend.name} has no virtual ports: name a port of the computer"
            )

    def _take_back(self) -> None:
        """Keep outputs that were about to go, and didn't."""
        for port in self._dropped:
            if isinstance(port, InputPort):
                self._inputs.setdefault(port.name, port)
        self._dropped = [port for port in self._dropped if port is not self._of(port.wanted)]

    def _keep(self, wanted: Wanted) -> None:
        port = self._of(wanted)
        if isinstance(port, OutputPort):
            port.rewire(wanted)
        elif port is not None:
            port.wanted = wanted

    def _set_aside(self, wanted: Wanted) -> list[PortEvent]:
        """An output that goes still gets its note-offs, an input is heard no more."""
        port = self._inputs.pop(wanted.name) if wanted.direction == "in" else self.outputs[wanted.name]
        self._dropped.append(port)
        return [PortEvent("lost", wanted, f"{wanted.words}: no longer wanted")] if port.is_open else []

    def _add(self, wanted: Wanted) -> list[PortEvent]:
        """A new port, or another meaning of a name that is there."""
        events = []
        before = self._of(wanted)
        if before is not None:
            if before.is_open and self._opener.means(wanted, before, self._names[wanted.direction]):
                self._keep(wanted)
                return []
            if before.is_open:
                words = f"{wanted.words}: no longer {bare_name(before.computer_port)}"
                events.append(PortEvent("lost", before.wanted, words))
            self._dropped.append(before)
        if wanted.direction == "in":
            self._inputs[wanted.name] = InputPort(wanted)
        else:
            self.outputs = {**self.outputs, wanted.name: OutputPort(wanted, self._queue)}
        self._look_again = True
        return events

    def drop_unwanted(self) -> None:
        """Close what is no longer wanted. What still waits for a slow wire there is sent first."""
        dropped, self._dropped = self._dropped, []
        for port in dropped:
            if isinstance(port, InputPort):
                port.disconnect("closed")
                continue
            if self.outputs.get(port.name) is port:
                self.outputs = {
                    name: output_port for name, output_port in self.outputs.items() if output_port is not port
                }
            elif port.is_open:
                silence(port, self._clock.now_ns())
            self._closing.append(port)
        self._close_drained()
        self._list_inputs()

    def _close_drained(self) -> None:
        for output_port in [output_port for output_port in self._closing if not output_port.waits]:
            output_port.disconnect("closed")
            self._closing.remove(output_port)

    # -- looking around -----------------------------------------------------------------------------------------------

    def scan(self, now: int) -> list[PortEvent]:
        """Return what has come and gone; for `ScanTimes`. Well below a millisecond, as long as nothing has."""
        events = self._complaints.found(self.outputs.values(), self._heartbeat, now)
        if self._down:
            return events + (self._come_back() if self.backend.revive() else [])
        if self.backend.is_lost or (self._heartbeat is not None and self._heartbeat.is_lost(now)):
            return events + self._go_down()
        found = self._scan_names()
        if found:
            self._list_inputs()
        self._close_drained()
        try:
            self._maintenance.look(self._all(), self.inputs, now)
        except Exception:  # what was found must be told all the same
            self.report()
        return events + found

    def _scan_names(self) -> list[PortEvent]:
        """Compare the names that are there with what is open and what is wanted."""
        if self._down:
            return []
        try:
            names: dict[Direction, list[str]] = {"in": self.backend.input_names(), "out": self.backend.output_names()}
        except MachineError as error:  # what is open plays on
            return self._complain_of_names(str(error))
        self._unlisted = ""
        is_due = self._look_again or self._opener.failed or any(map(is_cut_off, self._all()))
        if names == self._names and not is_due:
            return []
        if not self._is_alive():
            return []
        self._names = names
        self._look_again = self._opener.failed = False
        events = self._lose_what_has_gone()
        for port in self._all():
            if not port.is_open:
                stay = (one for one in self._all() if one not in self._dropped)
                events += self._opener.open(port, names[port.wanted.direction], stay, self._heartbeat)
        return events

    def _complain_of_names(self, words: str) -> list[PortEvent]:
        """Once, however often the names are asked for."""
        if words == self._unlisted:
            return []
        self._unlisted = words
        return [PortEvent("unlisted", None, words)]

    def _is_alive(self) -> bool:
        """Asked before anything is opened or closed: a server that died, and was not missed yet, must not be asked."""
        try:
            return self._heartbeat is None or self._heartbeat.ask()
        except Exception:
            self.report()
            return False

    def _lose_what_has_gone(self) -> list[PortEvent]:
        gone = [port for port in self._all() if port.is_open and self._has_gone(port)]  # if that raises, none is lost
        events = []
        for port in gone:
            words = f"{port.wanted.words}: {bare_name(port.computer_port)} has gone"
            events.append(PortEvent("lost", port.wanted, words))
            port.disconnect("missing")
        return events

    def _has_gone(self, port: ManagedPort) -> bool:
        if port.wanted.virtual:
            return False
        return port.computer_port not in self._names[port.wanted.direction] or port.is_cut_off

    # -- the death of a server ----------------------------------------------------------------------------------------

    def _go_down(self) -> list[PortEvent]:
        """The server is dead, and everything that was open with it. Nothing of it may be touched any more."""
        events = [PortEvent("server lost", None, f"{self.backend.name} doesn't answer any more; waiting for it")]
        self.backend.lose()
        self._down = True
        for port in [*self._all(), *self._dropped, *self._closing]:
            if port.is_open:
                events.append(PortEvent("lost", port.wanted, f"{port.wanted.words}: lost with it"))
                port.disconnect("server lost", close=False)
        self._closing.clear()
        self._queue.clear()
        self._maintenance.forget()
        self._heartbeat = None
        self._list_inputs()
        return events

    def _come_back(self) -> list[PortEvent]:
        """The server is there again: everything is opened again."""
        events = [PortEvent("server back", None, f"{self.backend.name} is back")]
        self._heartbeat = self._begin_heartbeat()
        self._down = False
        self._look_again = True
        events += self._scan_names()
        self._list_inputs()
        return events

    def reopen_silent(self, now: int) -> None:
        """Have inputs that have fallen silent opened again, one at each scan: the user says that something is wrong."""
        self._maintenance.reopen_silent(self.inputs, now)

    # -- what waits ---------------------------------------------------------------------------------------------------

    def pump(self, now: int) -> int:
        """Send what waits and may go, and keep the heartbeat going; when to come again (ns), NEVER: when you like."""
        if self._heartbeat is not None:
            try:
                self._heartbeat.beat(now)
            except Exception:  # should none get through any more, the server will be missed
                self.report()
        wake = self._queue.pump(now) if self._queue else NEVER
        return wake if self._heartbeat is None else min(wake, self._heartbeat.next_time)

    def make_way(self) -> list[PortEvent]:
        """Drop whatever waits and ends nothing, for silence to come first."""
        return self._queue.make_way()

    def flush(self, patience_ns: int) -> None:
        """Wait until everything is sent and carried: as long as slow wires need, and at most so long (ns) beyond."""
        now = self._clock.now_ns()
        end, latest = now + self._queue.wire_time(now) + patience_ns, now + LONGEST_FLUSH_NS
        while now < min(end, latest) and self._queue and not self._down:
            wake = max(min(self.pump(now), now + 1_000_000), now + 100_000)
            self._clock.sleep_s((wake - now) / 1e9)
            now = self._clock.now_ns()
            end += max(0, now - wake)  # we wake late on a busy computer, and a silent wire can't make up for it
        for _ in range(2):  # in the period of the first beat, an output may have been late
            self._await_heartbeat()

    def _await_heartbeat(self) -> None:
        """Wait until all that was sent so far has come to the server."""
        if self._heartbeat is None:
            return
        self._heartbeat.hurry = True
        end = self._clock.now_ns() + _LAST_BEAT_NS
        while (now := self._clock.now_ns()) < end and not self._heartbeat.is_settled:
            self.pump(now)
            self._clock.sleep_s(POLL_S)

    # -- the rest -----------------------------------------------------------------------------------------------------

    def state(self) -> list[dict[str, Any]]:
        """Return how each port stands, as plain values."""
        now = self._clock.now_ns()
        return [port.state_at(now) for port in self._all()]

    def activity(self) -> dict[str, int]:
        """Return how many messages each port has had, by our name; those in and out together."""
        counts: dict[str, int] = {}
        for port in self._all():
            counts[port.name] = counts.get(port.name, 0) + port.messages
        return counts

    def close(self) -> None:
        """Close everything. A server that doesn't answer is left alone: it may be dead, and not missed yet."""
        if not self._is_alive():
            self._go_down()
        for port in [*self._all(), *self._dropped, *self._closing]:
            if port.is_open:
                port.disconnect("closed")
        self._list_inputs()
        self.backend.close()
