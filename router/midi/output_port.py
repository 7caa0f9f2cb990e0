"""One output: sends at once what may go at once, lets the rest wait, and counts what is lost."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from typing import Any, Final, Protocol

from router.midi.backend import Backend, RawOutput
from router.midi.heartbeat import Heartbeat
from router.text.formatting import count, number
from rules.midi.messages import SYSEX
from rules.ports.pacing import Credit, Limit, Pacer, Wire, is_later_piece
from rules.ports.patterns import Wanted, bare_name

_ALLOWANCE: Final = 64  # messages
_COMPLAIN_EVERY_NS: Final = 10_000_000_000


class WaitingOutputs(Protocol):
    """The outputs that have something waiting."""

    def append(self, output_port: OutputPort, /) -> None:
        """Add an output that has something waiting from now on."""


class OutputPort:
    """An output of ours, open or not.

    `messages` counts what went out, `lost` what couldn't (no such port, far too much at once, or the system failed),
    `refused` the sysex that is too long for this system, `dropped` what made way for silence.
    """

    __slots__ = (
        "_allowance",
        "_complained",
        "_credit",
        "_heartbeat",
        "_last_refusal",
        "_limit",
        "_line",
        "_pacer",
        "_raw",
        "_refusals",
        "_send",
        "_wire",
        "computer_port",
        "dropped",
        "longest_refused",
        "lost",
        "messages",
        "refused",
        "said",
        "state",
        "wanted",
        "was_open",
    )

    def __init__(self, wanted: Wanted, line: WaitingOutputs) -> None:
        self.wanted = wanted
        self.computer_port = ""
        self.state = "missing"
        self.said = ""
        self.was_open = False
        self.messages = 0
        self.lost = 0
        self.refused = 0
        self.dropped = 0
        self.longest_refused = 0
        self._line = line
        self._raw: RawOutput | None = None
        self._send = _nowhere
        self._limit: int | None = None
        self._heartbeat: Heartbeat | None = None
        self._credit: Credit | None = None
        self._wire: Wire | None = None
        self._pacer = Pacer()
        self._allowance = 0
        self._complained = (-_COMPLAIN_EVERY_NS, 0, 0)
        self._refusals = 0  # since the last complaint
        self._last_refusal = ""

    @property
    def name(self) -> str:
        """Our name for the port."""
        return self.wanted.name

    @property
    def limit(self) -> int | None:
        """The length of the longest sysex that this system carries; None where that isn't known."""
        return self._limit

    @property
    def is_open(self) -> bool:
        """Whether it is connected to anything."""
        return self._raw is not None

    @property
    def is_cut_off(self) -> bool:
        """Whether it is open, and yet the other side has gone."""
        return self._raw is not None and not self._raw.is_connected()

    # -- sending ------------------------------------------------------------------------------------------------------

    def send(self, message: bytes, now: int) -> None:
        """Send a complete message, now or as soon as it may go. One that the system refuses is lost, and counted."""
        if self._allowance and len(message) <= 3:
            self._allowance -= 1
            try:
                self._send(message)
                self.messages += 1
            except Exception as error:
                self._note_refusal(error)
        else:
            self._send_with_care(message, now)

    def _give(self, message: bytes, counts: bool = True) -> bool:
        """Hand a message over to the system; return whether it was taken."""
        try:
            self._send(message)
            self.messages += counts
        except Exception as error:
            self._note_refusal(error)
            return False
        return True

    def _note_refusal(self, error: Exception) -> None:
        """Count a message that is lost: whatever a library raises must cost no more than that."""
        self.lost += 1
        self._refusals += 1
        self._last_refusal = str(error)

    def _send_with_care(self, message: bytes, now: int) -> None:
        """Send what the fast path doesn't cover: closed ports, sysex, limits, and messages that wait."""
        if self._raw is None:
            self.lost += 1
        elif message[0] == SYSEX and self._limit is not None and len(message) > self._limit:
            self.refused += 1
            self.longest_refused = max(self.longest_refused, len(message))
        elif self._pacer.pass_at_once(message, now):
            self._give(message)
            self._allow(now)
        else:
            self._wait(message)

    def _allow(self, now: int) -> None:
        """Spend for some messages in advance, so that most need not be looked at."""
        self._allowance = self._pacer.allow(_ALLOWANCE, now)
        if self._credit is not None and self._heartbeat is not None and self._credit.is_short:
            self._heartbeat.hurry = True

    def _wait(self, message: bytes) -> None:
        self._allowance = 0
        if not self._pacer:
            self._line.append(self)
        if not self._pacer.wait(message):
            self.lost += 1
        if self._heartbeat is not None:
            self._heartbeat.hurry = True

    def pump(self, now: int) -> int:
        """Send what waits and may go; when to come again (ns), NEVER if nothing waits or it waits for the heartbeat."""
        take = self._pacer.take
        while (message := take(now)) is not None:
            if not self._give(message, counts=not is_later_piece(message)):
                self._pacer.break_off()
        if self._pacer and self._heartbeat is not None:
            self._heartbeat.hurry = True
        return self._pacer.next_time(now)

    def make_way(self) -> int:
        """Silence comes first: what waits and ends nothing is dropped; how many messages it was.

        What was sent is out of reach: a slow wire carries a long sysex to its end.
        """
        dropped = self._pacer.make_way()
        self.dropped += dropped
        return dropped

    @property
    def waits(self) -> bool:
        """Whether something waits."""
        return bool(self._pacer)

    # -- what there is to tell ----------------------------------------------------------------------------------------

    def load(self, now: int) -> float | None:
        """Return which part of the last second the DIN wire was busy (0 to 1); None where there is no such wire."""
        return None if self._wire is None else self._wire.load(now)

    def wire_time(self, now: int) -> int:
        """Return how long (ns) its DIN wire needs for all that was sent and that waits; 0 without such a wire."""
        return 0 if self._wire is None else self._wire.time_for(self._pacer.bytes_waiting, now)

    def complaint(self, now: int, system: str) -> str:
        """Return what was lost or refused since the last complaint, in words; "" for nothing, or right after one."""
        said_at, lost, refused = self._complained
        if not self.is_open:  # that it is missing was said already
            self._complained = (said_at, self.lost, self.refused)
            self._refusals = 0
            return ""
        if (lost, refused) == (self.lost, self.refused) or now - said_at < _COMPLAIN_EVERY_NS:
            return ""
        self._complained = (now, self.lost, self.refused)
        words = []
        if self.refused > refused:
            words.append(
                f"{count(self.refused - refused, 'sysex', 'sysex')} refused, of up to {number(self.longest_refused)} "
                f"bytes; {system} carries {number(self._limit or 0)}"
            )
        if self._refusals:
            words.append(f"{count(self._refusals, 'message')} dropped: {system} says: {self._last_refusal}")
        if (flood := self.lost - lost - self._refusals) > 0:
            words.append(f"{count(flood, 'message')} dropped: far more than it can carry")
        self._refusals = 0
        return "; ".join(words)

    def state_at(self, now: int) -> dict[str, Any]:
        """Return how it stands, as plain values."""
        load = self.load(now)
        return {
            "name": self.name,
            "direction": "out",
            "state": self.state,
            "computer_port": bare_name(self.computer_port) or None,
            "messages": self.messages,
            "lost": self.lost,
            "refused": self.refused,
            "dropped": self.dropped,
            "load": None if load is None else round(load, 3),
            "nowhere": 0,
            "nowhere_last": None,
        }

    # -- opening and closing ------------------------------------------------------------------------------------------

    def connect(
        self,
        raw: RawOutput,
        computer_port: str,
        system: Backend,
        heartbeat: Heartbeat | None,
    ) -> None:
        """Send to an open output from now on."""
        self._raw = raw
        self._send = raw.send_message
        self.computer_port = computer_port
        self.state = "open"
        self.was_open = True
        self._limit = system.sysex_limit
        self._heartbeat = heartbeat
        self._credit = None if heartbeat is None else heartbeat.new_credit()
        self._wire = Wire() if self.wanted.connection == "din" else None
        limits: tuple[Limit | None, ...] = (self._wire, raw.limit, self._credit)
        self._pacer = Pacer(*(limit for limit in limits if limit is not None))

    def rewire(self, wanted: Wanted) -> None:
        """Go on with the same port wanted in another way: what waits goes on waiting, by the new pace."""
        if wanted.connection != self.wanted.connection and self._raw is not None:
            self._allowance = 0
            self._wire = Wire() if wanted.connection == "din" else None
            others = [limit for limit in self._pacer.limits if not isinstance(limit, Wire)]
            self._pacer.limits = (*([self._wire] if self._wire else []), *others)
        self.wanted = wanted

    def disconnect(self, state: str, close: bool = True) -> None:
        """Close the output, whose port has gone; what waits is lost. `close` is False where closing would be wrong,
        too."""
        raw, self._raw = self._raw, None
        if self._heartbeat is not None and self._credit is not None:
            self._heartbeat.forget(self._credit)
        self._send = _nowhere
        self._heartbeat = self._credit = self._wire = None
        self.lost += self._pacer.clear()
        self._allowance = 0
        self.computer_port = ""
        self.state = state
        if raw is not None and close:
            with suppress(Exception):  # a port that has gone may refuse; that it is lost must be told all the same
                raw.close()


def _nowhere(message: Sequence[int]) -> None:
    """Drop a message: no port is open. None comes here, as long as the allowance is kept."""
