"""The clock of our own: what it sends to the outputs that hear it, and how it follows another clock (ruling 38).

It ticks on a grid that is exact. While the clock runs that it follows, that one's messages go out as they come. When
they fail to come, ours goes on in the same beat, if that is wanted, or falls silent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from rules.engine.delivery import Sent
from rules.engine.written_lists import NOBODY
from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START, STOP, TRANSPORT
from rules.program.clock_orders import CONTINUE_ORDER, START_ORDER, STOP_ORDER, TAP_ORDER, ClockOrder
from rules.timing.clock_grid import ClockGrid
from rules.timing.delays import NANOSECONDS_PER_MINUTE, NANOSECONDS_PER_MS, NEVER
from rules.timing.midi_clock import BLUR_NS, CLOCKS_A_BEAT, SILENCE_NS, LiveTime
from rules.timing.tap_tempo import TapTempo
from rules.timing.transport import CLOCKS_A_SIXTEENTH, Transport

BEFORE_CLOCK_NS: Final = NANOSECONDS_PER_MS
"""A start comes at least so long before its first clock message: a receiver needs time to get ready."""

HOLD_NS: Final = 50 * NANOSECONDS_PER_MS
"""So long ours waits for the clock of a source that starts: the first beat is its first clock message, not ours."""

_MOST_SIXTEENTHS: Final = 16_383

_MESSAGES: Final = {START_ORDER: START, CONTINUE_ORDER: CONTINUE, STOP_ORDER: STOP}


@dataclass(frozen=True, slots=True)
class ClockPlan:
    """Which ports hear our clock, by number, and the input whose clock it follows. `goes_on` when that one stops."""

    hears: tuple[int, ...] = ()
    follows: str | None = None
    goes_on: bool = False

    @property
    def is_in_use(self) -> bool:
        """Whether ours sets the tempo of beats: somebody hears it, or it follows a clock."""
        return bool(self.hears) or self.follows is not None


class OwnClock:
    """Our clock in one performance. `due` is when `advance` has something to do.

    `time` is the tempo of the performance. `set_tempo` sets it to so many BPM at a time, with all that depends on it.
    `tell` is told what the clock sends by itself: NOBODY, status, time. With `ticks` False that is no clock messages.
    """

    def __init__(
        self,
        time: LiveTime,
        set_tempo: Callable[[float, int], None],
        tell: Callable[[int, int, int], None],
        *,
        ticks: bool = True,
    ) -> None:
        self.plan = ClockPlan()
        self.transport = Transport()
        self.due = NEVER
        self.changes = 0
        """How often the tempo, or whether a song runs, may have changed."""
        self._time = time
        self._set_tempo = set_tempo
        self._tell = tell
        self._ticks = ticks
        self._taps = TapTempo()
        self._grid: ClockGrid | None = None
        """None while another clock is followed, and when ours is silent after that."""
        self._leader: int | None = None
        """The player whose clock is followed now; None while ours runs by itself, or is silent."""
        self._heard_at = 0
        """When that clock came last."""
        self._lost_at: int | None = None
        """When that clock came last, while ours goes on in its place; None where it doesn't."""
        self._stood_in = 0
        self._held_back: str | None = None
        self._joining: set[int] = set()

    @property
    def leader(self) -> int | None:
        """The player whose clock ours follows now; None where none runs."""
        return self._leader

    @property
    def asked(self) -> str | None:
        """The start or continue that waits for the clock message that is due within a millisecond; None as a rule."""
        return self._held_back

    # -- what is due --------------------------------------------------------------------------------------------------

    def begin(self, now: int) -> None:
        """Begin to tick."""
        self._tick_from(now)

    def _tick_from(self, first: int) -> None:
        self._grid = ClockGrid(self._time.beat, first)
        self._set_due()

    def _set_due(self) -> None:
        if self._leader is not None:
            self.due = self._heard_at + self._patience(self._leader)
        elif self._grid is not None and self._ticks and self._is_counted:
            self.due = self._grid.due
        else:
            self.due = NEVER

    @property
    def _is_counted(self) -> bool:
        """Whether its clock messages matter: somebody hears them, a song runs, or go in place of another clock's."""
        return bool(self.plan.hears) or self.transport.is_running or self._lost_at is not None

    def _patience(self, leader: int) -> int:
        """Return how long (ns) the clock that is followed may be silent: two clock messages, and what blurs them."""
        interval = self._interval(leader)
        return SILENCE_NS if interval is None else min(SILENCE_NS, int(2 * interval) + BLUR_NS)

    def _interval(self, leader: int) -> Fraction | None:
        """Return how long (ns) it is from one clock message that is followed to the next; None until that is told."""
        reading = self._time.reading(leader)
        return (reading.interval or None) if reading is not None and reading.is_told else None

    def advance(self, now: int, out: list[Sent]) -> None:
        """Do what is due: send a clock message, or see that the clock has stopped that is followed."""
        if self._leader is not None:
            self._go_on(self._leader, now, out)
            return
        assert self._grid is not None
        self._send(bytes((CLOCK,)), now, out)
        self._grid.step()
        self._stood_in += 1
        if self._lost_at is None or now - self._lost_at > SILENCE_NS:
            self._stand_in_no_more()
        self.release(now, out)
        self._set_due()

    def _send(self, message: bytes, now: int, out: list[Sent], player: int = NOBODY) -> None:
        out += [(target, message, now, player) for target in self.plan.hears]
        if player == NOBODY:
            self._tell(player, message[0], now)
        self.transport.hear(message, now)
        if message[0] != CLOCK:
            self.changes += 1
        if message[0] in (START, STOP):
            self._joining.clear()
        elif self._joining and message[0] == CLOCK:
            self._join(now, out)

    def _join(self, now: int, out: list[Sent]) -> None:
        """Let outputs join a song that runs, right before the clock message of a sixteenth."""
        sixteenth, rest = divmod(self.transport.next_clock, CLOCKS_A_SIXTEENTH)
        if rest or sixteenth > _MOST_SIXTEENTHS:
            return
        for target in (port for port in self.plan.hears if port in self._joining):
            out.append((target, bytes((SONG_POSITION, sixteenth & 0x7F, sixteenth >> 7)), now, NOBODY))
            out.append((target, bytes((CONTINUE,)), now, NOBODY))
        self._joining.clear()

    # -- orders -------------------------------------------------------------------------------------------------------

    def obey(self, order: ClockOrder, now: int, out: list[Sent]) -> None:
        """Do what a switch, a trigger or a command asks for."""
        self.release(now, out)  # what comes now may put off the clock message that it waits for
        if order == TAP_ORDER:
            beat = self._taps.tap(now)
            if beat is not None:
                self._take_tempo(float(NANOSECONDS_PER_MINUTE / beat), now)
        elif isinstance(order, str):
            self._move(order, now, out)
        else:
            self._take_tempo(order, now)

    def _take_tempo(self, bpm: float, now: int) -> None:
        self._set_tempo(bpm, now)
        if self._grid is None and self._leader is None:
            self._tick_from(now)

    def _move(self, order: str, now: int, out: list[Sent]) -> None:
        """Start, continue or stop; right behind a clock message that is about to come."""
        if order != STOP_ORDER:
            self._wake(now)
            grid = self._grid
            if grid is not None and self.due == grid.due < now + BEFORE_CLOCK_NS:
                self._held_back = order
                return
        self._transport(order, now, out)

    def _wake(self, now: int) -> None:
        """Tick again after a silence, by our own tempo; or on the grid, where nobody has heard it."""
        if self._grid is not None:
            self._grid.skip_to(now)
        elif self._leader is None:
            self._set_tempo(self._time.own_bpm, now)
            self._tick_from(now + BEFORE_CLOCK_NS)

    def skip_to(self, now: int, out: list[Sent]) -> None:
        """Leave out the clock messages that were due before `now`: nobody wants them all at once."""
        if self._leader is not None and self.due < now:
            self._go_on(self._leader, self.due, out)  # else ours would stand in for that clock all the while
        if self._grid is not None:
            self._grid.skip_to(now)
            self._set_due()

    def release(self, now: int, out: list[Sent]) -> None:
        """Do what waits for a clock message, if anything does: it has come, or something else is about to be done."""
        order, self._held_back = self._held_back, None
        if order is not None:
            self._transport(order, now, out)

    def _transport(self, order: str, now: int, out: list[Sent]) -> None:
        if order == CONTINUE_ORDER and not self.transport.is_known:
            self.transport.hear(bytes((SONG_POSITION, 0, 0)), now)
        self._send(bytes((_MESSAGES[order],)), now, out)
        self._set_due()

    def retime(self, now: int) -> None:
        """Take the tempo that is in force from `now` on."""
        self.changes += 1
        if self._grid is not None:
            if self.due == NEVER:
                self._grid.skip_to(now)  # where nobody hears it, it keeps its phase as well
            self._grid.change(self._time.beat, now)
            self._set_due()

    # -- the clock that is followed -----------------------------------------------------------------------------------

    def hear(self, player: int, message: bytes, now: int, out: list[Sent]) -> None:
        """Pass on what comes from a player whose clock is followed."""
        if message[0] not in TRANSPORT:
            return
        if message[0] == CLOCK:
            self._hear_clock(player, now, out)
            return
        if message[0] in (START, CONTINUE):
            self._stand_in_no_more()  # its next clock message is a beat of the song, and none that comes late
            if self._grid is not None:
                self._grid = ClockGrid(self._time.beat, now + HOLD_NS)
        self._send(message, now, out, player)
        self._set_due()

    def _hear_clock(self, player: int, now: int, out: list[Sent]) -> None:
        if self.is_late(now):
            self._stood_in -= 1
            return
        self._grid, self._leader, self._heard_at = None, player, now
        self._stand_in_no_more()
        self._send(bytes((CLOCK,)), now, out, player)
        self.release(now, out)  # it waited for our clock message, and this one has come in its place
        self._set_due()

    def is_late(self, now: int) -> bool:
        """Return whether a clock message that comes now is so late that one of ours has gone in its place."""
        grid = self._grid
        if grid is None or not self._stood_in or self._lost_at is None or now - self._lost_at > SILENCE_NS:
            return False
        return now < grid.due - grid.interval / 2

    def _stand_in_no_more(self) -> None:
        self._lost_at, self._stood_in = None, 0

    def _go_on(self, leader: int, now: int, out: list[Sent]) -> None:
        """Go on in the beat of a clock that has stopped, and make up for what is missing of it; or fall silent."""
        self._leader, last = None, self._heard_at
        interval, reading = self._interval(leader), self._time.reading(leader)
        self._time.forget(leader)
        if self.plan.goes_on:
            if interval is None or reading is None:  # too few came to tell a tempo by: the one in force goes on
                first = last + self._time.beat / CLOCKS_A_BEAT
            else:
                first = Fraction(reading.next_clock)
                self._set_tempo(float(NANOSECONDS_PER_MINUTE / (interval * CLOCKS_A_BEAT)), now)
            self._grid = grid = ClockGrid(self._time.beat, last)
            grid.go_on(first)
            self._lost_at, self._stood_in = last, 0
            while grid.due <= now:
                self._send(bytes((CLOCK,)), now, out)
                grid.step()
                self._stood_in += 1
        self._set_due()

    def lose(self, player: int, now: int, out: list[Sent]) -> None:
        """Lose a source. Where ours has followed its clock and doesn't go on, a song that runs stops."""
        if player == self._leader:
            self._go_on(player, now, out)
            if self._grid is None and self.transport.is_running:
                self._send(bytes((STOP,)), now, out)

    # -- ports and rules that come and go -----------------------------------------------------------------------------

    def return_port(self, target: int) -> None:
        """Let an output that has returned join a song that runs."""
        if target in self.plan.hears:
            self._let_join((target,))

    def _let_join(self, targets: Iterable[int]) -> None:
        if self.transport.is_running and self.transport.is_known:
            self._joining.update(targets)

    def stop_at(self, targets: Iterable[int], now: int, out: list[Sent]) -> None:
        """Stop a song that runs at ports that won't hear it any more."""
        if self.transport.is_running:
            out += [(target, bytes((STOP,)), now, NOBODY) for target in targets]

    def replace(self, plan: ClockPlan, now: int) -> None:
        """Go on by new rules: a song goes on where anybody hears it, or did not before either."""
        old, self.plan = self.plan, plan
        if old.hears and not plan.hears:
            self.transport.hear(bytes((STOP,)), now)
        self._let_join(target for target in plan.hears if target not in old.hears)
        self._joining.intersection_update(plan.hears)
        if self._grid is not None:
            self._grid.skip_to(now + 1)  # what was due until now has gone, or nobody heard it
        if old.follows != plan.follows:
            if self._leader is not None:
                self._time.forget(self._leader)
            self._leader = None
            self._stand_in_no_more()
            if self._grid is None:
                self._set_tempo(self._time.own_bpm, now)
                self._tick_from(now)
        self._set_due()

    def leave(self, now: int, out: list[Sent]) -> None:
        """Stop a song that runs, and fall silent: the session is over."""
        if self.transport.is_running:
            self._send(bytes((STOP,)), now, out)
        self._grid = self._leader = None
        self._set_due()
