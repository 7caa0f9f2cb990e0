"""Our clock, slow and simple: each clock message by adding up the tempos from where it began to tick (ruling 38).

It ticks by itself, follows another clock while that runs, or is silent after that. `Live` has the time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from math import floor

from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START, STOP, TRANSPORT
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import Delay
from tests.model.agenda import NEVER
from tests.model.heard_clocks import HeardClocks
from tests.model.lists import NOBODY
from tests.model.merging import Out
from tests.model.taps import MINUTE, MS, Taps
from tests.model.tempos import Tempos

Order = str | float
"""What our clock is asked for: "start", "continue", "stop", "tap", or a tempo (BPM)."""

_STATUS = {"start": START, "continue": CONTINUE, "stop": STOP}

MOVING = (START, CONTINUE, STOP, SONG_POSITION)
"""What moves a song, or its place."""


def hearing(ruleset: RuleSet) -> list[str]:
    """The outputs that hear our clock."""
    return [name for name, port in ruleset.ports.items() if port.can_send and port.clock == "own"]


def is_in_use(ruleset: RuleSet) -> bool:
    """Whether beats go by our clock, and the one that it follows: no other sets a tempo then."""
    return bool(hearing(ruleset)) or ruleset.clock.follow is not None


class OwnClock:
    """`set_tempo` brings a tempo (BPM) into force from a time on, if no clock runs, and remembers it as ours."""

    def __init__(
        self, ruleset: RuleSet, tempos: Tempos, heard: HeardClocks, set_tempo: Callable[[float, int], None]
    ) -> None:
        self.ruleset = ruleset
        self.own_bpm = ruleset.bpm
        self.began: int | None = None
        """Since when it ticks by itself; None while it follows or is silent."""
        self.leader: int | None = None
        """The player whose clock it follows."""
        self._next_is = Fraction(0)
        """How many 24ths of a quarter note after that its next clock message is due."""
        self._heard_at = 0
        self._lost_at: int | None = None
        """When that clock was heard last, where ours goes on in its place."""
        self._late = 0
        """How many clock messages have gone in place of those of a clock that was lost, and didn't come late by now."""
        self._held_back: str | None = None
        self._song: int | None = None
        """Which clock message of the song comes next, from 0; None where nobody knows."""
        self._is_running = False
        self._joining: set[str] = set()
        self._taps = Taps()
        self._tempos = tempos
        self._heard = heard
        self._set_tempo = set_tempo

    # By itself

    def tick_from(self, begin: int, ahead: Fraction = Fraction(0)) -> None:
        """Ticks by itself from a time on, or so many 24ths of a quarter note after it."""
        self.began, self._next_is = begin, ahead

    def _next(self) -> int:
        assert self.began is not None
        return self._tempos.later(self.began, Delay(beats=self._next_is / 24))

    @property
    def due(self) -> int:
        """When `advance` has something to do."""
        if self.leader is not None:
            return self._heard_at + self._patience(self.leader)
        return NEVER if self.began is None else self._next()

    def advance(self, now: int, out: Out) -> None:
        """A clock message is due; or the clock has stopped that is followed."""
        if self.leader is not None:
            self._go_on(self.leader, now, out)
            return
        self._tick(now, out)
        self.release(now, out)

    def _tick(self, now: int, out: Out) -> None:
        self._send(bytes((CLOCK,)), now, out)
        self._next_is += 1
        if self._lost_at is not None and now - self._lost_at <= 500 * MS:
            self._late += 1

    def _send(self, message: bytes, now: int, out: Out, player: int = NOBODY) -> None:
        ports = hearing(self.ruleset)
        out.extend((port, message, now, player) for port in ports)
        status = message[0]
        if status == CLOCK and self._is_running and self._song is not None:
            self._song += 1
            if self._song % 6 == 0 and self._song // 6 < 1 << 14:
                self._let_in([port for port in ports if port in self._joining], now, out)
        elif status == SONG_POSITION:
            self._song = 6 * (message[1] + 128 * message[2])
        elif status in (START, CONTINUE, STOP):
            self._is_running = status != STOP
            self._song = 0 if status == START else self._song
            if status != CONTINUE:
                self._joining.clear()

    def _let_in(self, ports: Iterable[str], now: int, out: Out) -> None:
        """Outputs join the song, before the next sixteenth."""
        assert self._song is not None
        sixteenth = self._song // 6
        for port in ports:
            position = bytes((SONG_POSITION, sixteenth % 128, sixteenth // 128))
            out.extend((port, message, now, NOBODY) for message in (position, bytes((CONTINUE,))))
        self._joining.clear()

    # What it is asked for

    def obey(self, order: Order, now: int, out: Out) -> None:
        """A switch, a trigger or a command asks for something."""
        self.release(now, out)
        if order == "tap":
            tapped = self._taps.tap(now)
            if tapped is not None:
                self._take(tapped, now)
        elif not isinstance(order, str):
            self._take(order, now)
        else:
            if order != "stop":
                if self.began is None and self.leader is None:
                    self._take(self.own_bpm, now)
                    self.tick_from(now + MS)
                if self.began is not None and self._next() < now + MS:
                    self._held_back = order
                    return
            self._move(order, now, out)

    def _take(self, bpm: float, now: int) -> None:
        self.own_bpm = bpm
        self._set_tempo(bpm, now)
        if self.began is None and self.leader is None:
            self.tick_from(now)

    def _move(self, order: str, now: int, out: Out) -> None:
        if order == "continue" and self._song is None:
            self._song = 0
        self._send(bytes((_STATUS[order],)), now, out)

    def release(self, now: int, out: Out) -> None:
        """What waits for a clock message goes: it has come, or something else moves the song."""
        order, self._held_back = self._held_back, None
        if order is not None:
            self._move(order, now, out)

    # The clock that it follows

    def hear(self, player: int, message: bytes, now: int, out: Out) -> None:
        """Something of the source that it follows, as far as triggers have passed it on."""
        if message[0] not in TRANSPORT:
            return
        if message[0] != CLOCK:
            if message[0] in (START, CONTINUE):
                self._lost_at = None
                if self.began is not None:
                    self.tick_from(now + 50 * MS)
            self._send(message, now, out, player)
        elif self.is_late(now):
            self._late -= 1
        else:
            self.began, self.leader, self._heard_at, self._lost_at = None, player, now, None
            self._send(message, now, out, player)
            self.release(now, out)

    def is_late(self, now: int) -> bool:
        """Whether one of ours has gone in place of a clock message that comes now.

        That is so if it is nearer to the last one of ours than to the next.
        """
        if self.began is None or not self._late or self._lost_at is None or now - self._lost_at > 500 * MS:
            return False
        return now < self._next() - self._tempos.beat / 48

    def _patience(self, leader: int) -> int:
        """How long its clock may be silent (ns): two clock messages and 25 ms; half a second at most."""
        pace = self._heard.pace(leader)
        return 500 * MS if pace is None else min(500 * MS, int(2 * pace) + 25 * MS)

    def _go_on(self, leader: int, now: int, out: Out) -> None:
        """The clock has stopped: ours goes on in its beat, with all that is missing by now; or falls silent."""
        self.leader = None
        pace = self._heard.pace(leader)
        expected = None if pace is None else self._heard.expected(leader)
        self._heard.forget(leader)
        if not self.ruleset.clock.go_on:
            return
        if pace is not None:
            self.own_bpm = float(MINUTE / (24 * pace))
            self._set_tempo(self.own_bpm, now)
        interval = self._tempos.beat / 24
        first = Fraction(self._heard_at) + interval if expected is None else Fraction(expected)
        missing = max(0, floor((now + Fraction(1, 2) - first) / interval) + 1)
        self.tick_from(now, missing + (first - now) / interval)
        self._lost_at, self._late = self._heard_at, missing
        for _ in range(missing):
            self._send(bytes((CLOCK,)), now, out)

    def lose(self, player: int, now: int, out: Out) -> None:
        """A source is lost: as if its clock had stopped; where ours doesn't go on, a song that runs stops."""
        if player == self.leader:
            self._go_on(player, now, out)
            if self.began is None and self._is_running:
                self._send(bytes((STOP,)), now, out)

    # Ports and rules that come and go

    def return_port(self, port: str) -> None:
        """An output that returns joins a song that runs."""
        if port in hearing(self.ruleset):
            self._let_join([port])

    def _let_join(self, ports: Iterable[str]) -> None:
        if self._is_running and self._song is not None:
            self._joining.update(ports)

    def stop_at_leaving(self, new: RuleSet, now: int, out: Out) -> None:
        """Outputs that won't hear it any more get one stop, if a song runs."""
        if self._is_running:
            stop = bytes((STOP,))
            out.extend((port, stop, now, NOBODY) for port in hearing(self.ruleset) if port not in hearing(new))

    def replace(self, new: RuleSet, now: int) -> None:
        """Other rules."""
        old, self.ruleset = self.ruleset, new
        before, after = hearing(old), hearing(new)
        if before and not after:
            self._is_running = False
        self._let_join(port for port in after if port not in before)
        self._joining &= set(after)
        if old.clock.follow != new.clock.follow:
            if self.leader is not None:
                self._heard.forget(self.leader)
            self.leader = self._lost_at = None
            if self.began is None:
                self._take(self.own_bpm, now)

    def leave(self, now: int, out: Out) -> None:
        """The session is over."""
        if self._is_running:
            self._send(bytes((STOP,)), now, out)
        self.began = self.leader = None
