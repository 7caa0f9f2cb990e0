"""Rules played live: what arrives goes through the session and out again, and what is due is sent.

One thread does all of it, so that there is no lock and no callback: another thread that wants something of a session
that plays hands over a call, which runs between two messages (`Live.do`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any, Final, TypeVar

import rules.journal.format as journal
from router.daemon.missed_input import MissedInput
from router.daemon.playing import Playing
from router.daemon.prepared_rules import Prepared
from router.daemon.requests import Requests
from router.daemon.session_state import clock_state, musical_state, notes_at_ports
from router.daemon.take_player import TAKE_ORDERS, TakePlayer
from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.event_loop import STALL_NS, EventLoop
from router.midi.port_events import PortEvent, found_outputs
from router.midi.port_manager import PortManager
from router.midi.scan_times import ScanTimes
from router.midi.waiting import waiter_for
from rules.engine.pending_limit import MOST_PENDING
from rules.engine.session import Session
from rules.journal.format import Record
from rules.midi.sounding_notes import SoundingNote
from rules.ports.patterns import wanted_ports
from rules.program.clock_orders import ClockOrder
from rules.program.switch_states import State
from rules.timing.delays import NANOSECONDS_PER_SECOND

T = TypeVar("T")

_LAST_SENDS_NS: Final = 3_000_000_000  # that the last note-offs may take, beyond the time that slow wires need


class Live(Playing):
    """Plays rules on ports. `log` gets a record of all that comes and goes; `look` is called at least once a second.

    `switches` tells other threads how the switches stood a moment ago; `switched` is called in the loop after that has
    changed, and must not wait. `act` is handed what a pad or pedal asks for besides panic, and must not wait either.
    `restored` is how switches stood when another daemon ended. `losses` counts how often inputs ran over.
    """

    def __init__(
        self,
        prepared: Prepared,
        ports: PortManager,
        log: Callable[[Record], None],
        say: Callable[[str], None],
        look: Callable[[], None] = lambda: None,
        act: Callable[[str], None] = lambda effect: None,
        clock: Clock = SYSTEM_CLOCK,
        restored: Mapping[str, State] | None = None,
        losses: Callable[[], int] = lambda: 0,
    ) -> None:
        session = Session(prepared.ruleset, prepared.pipeline, most_pending=MOST_PENDING)
        super().__init__(session, ports, log, say, clock.now_ns)
        self.restored = restored is not None
        if restored is not None:
            self.session.restore(restored)
        self.switches = session.switches
        self.switched: Callable[[], None] = lambda: None
        self._word = session.engine.word
        self._clock_changes = -1
        self._look = look
        self._act = act
        self._effects = self.session.effects
        self._losses = losses
        self._missed = MissedInput(clock)
        self._loop = EventLoop(
            self._take, self._tend, clock, waiter=waiter_for(ports.backend, clock), stalled=self._note_stall
        )
        self.takes = TakePlayer(self.session, self._play_message, self._safely, log, self._log_names)
        self._requests = Requests(self._loop.wake)
        self._waiting = self._requests.waiting
        self._stopping = False
        self._took = False
        self._scans = ScanTimes(ports.backend)
        self._began = 0
        self._texts = prepared.texts

    def do(self, work: Callable[[], T]) -> T:
        """Run `work` in the loop, between two messages; its result, or what it raises.

        Raises MachineError when the loop doesn't answer.
        """
        return self._requests.ask(work)

    def stop(self) -> None:
        """Let `run` come to its end. May be called from anywhere, signal handlers included."""
        self._stopping = True
        self._loop.wake()

    @property
    def is_stopping(self) -> bool:
        """Whether `stop` was called."""
        return self._stopping

    def begin(self, *, in_silence: bool = False) -> None:
        """Open the ports that are there, and send what devices want first. Raises MachineError as the ports do.

        With `in_silence` they are silenced before that: somebody may have left notes and pedals there.
        """
        now = self._began = self._now_ns()
        events = self.ports.want(wanted_ports(self.session.ruleset), now)
        now = self._now_ns()
        self._log((journal.RULES, now, 0, journal.rules_data(self._texts)))
        if self.restored:
            self._log((journal.STATE, now, 0, journal.state_data(self.session.switches)))
        if in_silence:
            self._log((journal.PANIC, now, 0, b""))
        self.session.start(now, self._out, in_silence=in_silence)
        self._connect()
        self._send(now)
        self._log_names(now)  # behind what was sent: so a journal tells that it begins here
        self._meet(events, now, new=found_outputs(events))

    def run(self) -> None:
        """Play until `stop` is called; then ends everything that sounds."""
        try:
            self._loop.run(lambda: self._stopping)
        finally:
            self._leave()

    def _tend(self, now: int) -> int:
        """Look after ports, sends what is due and what may go by now; when to come again (ns)."""
        if self._scans.is_due(now, self._took):
            self._look_around(now)
            self._loop.took_long()
            now = self._now_ns()
        if now >= self.session.next_due:
            self._safely(self.session.advance, now)
        self.takes.tend(now)
        if self._word != self.session.engine.word:
            self._note_switches()
        if self._effects:
            self._carry_out()
        if self._clock_changes != self.session.clock.changes:
            self._note_clock(now)
        return min(self.session.next_due, self.takes.next_due, self._scans.next, self.ports.pump(now))

    def _note_switches(self) -> None:
        self.switches, self._word = self.session.switches, self.session.engine.word
        self.switched()

    def _note_clock(self, now: int) -> None:
        """Log our tempo: a history that lacks its beginning needs it."""
        self._clock_changes = self.session.clock.changes
        data = journal.tempo_data(self.session.time.bpm, is_running=self.session.clock.transport.is_running)
        self._log((journal.TEMPO, now, 0, data))

    def _note_stall(self, lasted: int) -> None:
        """See to it that our clock doesn't send at once what it could not send while the computer stood still."""
        self._missed.note_stall(lasted)
        self.takes.hold_up(lasted)
        self._skip_clock(self._now_ns())

    def _skip_clock(self, now: int) -> None:
        begin = self.session.clock.due
        if begin < now:
            self._safely(self.session.skip_clock, begin, now)
            self._log((journal.SKIPPED, now, 0, journal.skipped_data(begin)))

    def _look_around(self, now: int) -> None:
        self._try(lambda: self._missed.look(self._losses(), self.ports.backend.overflows, self.ports.inputs))
        # Opening ports takes its time: what they are sent first counts from when they are open.
        self._try(lambda: self._meet(self.ports.scan(now), self._now_ns()))
        self._try(self._look)

    def _take(self) -> bool:
        """Do what other threads have asked for, then takes what has arrived; whether anything had."""
        if self._waiting:  # the queue itself: a call to ask it would be made thousands of times a second
            self._requests.answer()
            self._loop.took_long()
            self._loop.tend_soon()
        self._took = busy = self._take_arrived()
        if self._missed.is_pending and not busy:
            self._end_what_may_hang()
        if self._effects:
            self._carry_out()
        return busy

    def _carry_out(self) -> None:
        """Do what switches have asked for (ruling 25), by pads, pedals or a command."""
        while self._effects:
            effect = self._effects.pop(0)
            self._say(f'a switch asks for "{effect}"')
            if effect == "panic":
                self._try(self.panic)
            elif effect in TAKE_ORDERS:
                self._try(self.order_take, effect)
            else:
                self._try(self._act, effect)

    def _end_what_may_hang(self) -> None:
        """End what inputs hold whose messages may be lost, note-offs among them."""
        suspects, words = self._missed.settle([input_port for input_port, _ in self._open_inputs])
        for line in words:
            self._say(line)
        for input_port, player in self._open_inputs:
            if input_port in suspects:
                now = self._now_ns()
                self._log((journal.LOST, now, player, journal.STALLED))
                self._safely(self.session.lose, player, now)

    def _meet(self, events: list[PortEvent], now: int, new: Collection[str] = ()) -> None:
        """Act on ports that came or went: release lost sources, begin returned outputs in silence.

        Outputs that are `new` with the rules don't return: those rules have sent what they are to begin with.
        """
        if events:
            self._connect()
        for event in events:
            self._say(event.words)
            wanted = event.wanted
            if wanted is None:
                continue
            if event.kind == "lost" and wanted.direction == "in":
                player = self.session.players[wanted.name]
                self._log((journal.LOST, now, player, b""))
                self._safely(self.session.lose, player, now)
            elif event.kind == "found" and wanted.direction == "out" and wanted.name not in new:
                self._log((journal.BACK, now, 0, wanted.name.encode()))
                self._safely(self.session.return_output, wanted.name, now)

    def _log_names(self, now: int) -> None:
        """Log what the numbers of players and ports mean from now on."""
        self._log((journal.NAMES, now, 0, journal.names_data(self._names())))

    def _names(self) -> journal.Names:
        session = self.session
        return journal.Names(session.player_names, session.pipeline.ports, frozenset(session.takes.values()))

    # -- what can be asked of it, by `do` -----------------------------------------------------------------------------

    def panic(self, every_key: bool = False) -> None:
        """Silence everything (ruling 17), ahead of what waits for a slow wire, and see to inputs that may be stuck."""
        self.ports.reopen_silent(self._now_ns())
        self._make_way()
        now = self._now_ns()
        self._log((journal.PANIC, now, 0, bytes((every_key,))))
        self.session.panic(now, self._out, every_key)
        self._send(now)

    def _make_way(self) -> None:
        """Drop what waits at the outputs and ends nothing. For the journal it was sent; the port counts it."""
        for event in self.ports.make_way():
            self._say(event.words)

    def inputs(self) -> list[str]:
        """Return the names of the inputs that the rules have."""
        return list(self.session.pipeline.sources)

    def now_ns(self) -> int:
        """Return the time of the loop (ns)."""
        return self._now_ns()

    def prepare_take(self, source: str) -> None:
        """Make what takes time when a take begins as an input. May be called from any thread."""
        self.session.prepare_take(source)

    def order_take(self, order: str) -> None:
        """Do one of `TAKE_ORDERS` with the take that plays."""
        if not self.takes.order(order, self._now_ns()):
            self._say(f"{order}: no take plays")
        self._loop.tend_soon()

    def turn(self, switch: str, state: State) -> None:
        """Turn a switch. Raises KeyError or ValueError as the session does."""
        now = self._now_ns()
        self.session.turn(switch, state, now, self._out)
        self._log((journal.TURN, now, 0, journal.turn_data(switch, state)))
        self._send(now)

    def order_clock(self, order: ClockOrder) -> dict[str, Any]:
        """Ask our clock for something: one of the words of `rules.program.clock_orders`, or a tempo (BPM).

        Returns how the clock is then, as `status` tells it.
        """
        now = self._now_ns()
        self._log((journal.ORDER, now, 0, journal.order_data(order)))
        self.session.order_clock(order, now, self._out)
        self._send(now)
        return clock_state(self.session, now)

    def swap(self, prepared: Prepared) -> None:
        """Put new rules in force while notes sound: open new ports, hand over, close ports no longer wanted.

        An output that the rules before wanted as well, and that is found only now (it was just plugged in, or its
        pattern mended), returns. All that its devices want comes with that, and nothing before. An input that only has
        another name keeps what it holds.
        """
        now = self._now_ns()
        wanted_before = set(self.session.outputs)
        wanted = wanted_ports(prepared.ruleset)
        players = self.session.players
        renamed = {old: new for old, new in self.ports.renamed(wanted).items() if old in players and new not in players}
        events = self.ports.want(wanted, now, renamed)
        now = self._now_ns()
        for old, new in renamed.items():
            self._log((journal.RENAMED, now, 0, journal.renamed_data(old, new)))
            self.session.rename(old, new)
        self._log((journal.RULES, now, 0, journal.rules_data(prepared.texts)))
        self.session.replace(prepared.ruleset, prepared.pipeline, now, self._out)
        self._note_switches()  # new rules have others
        self._log_names(now)
        found = found_outputs(events)
        self._connect(without=found & wanted_before)
        self._send(now)
        self._connect()
        self._meet(events, now, new=found - wanted_before)
        self._try(self.ports.drop_unwanted)  # the new rules are in force: nothing may make it look as if they weren't
        self._connect()

    def status(self) -> dict[str, Any]:
        """Return how it stands, as plain values."""
        now = self._now_ns()
        session = self.session
        return {
            "running_s": (now - self._began) // NANOSECONDS_PER_SECOND,
            "ports": self.ports.state(),
            "held": session.engine.sounding,
            "switches_began": "restored" if self.restored else "initial",
            **self._musical(now),
            "latency_us": self.latency.state(),
            "errors": self.errors,
            "stalls": self._missed.stalls,
            "excess": session.engine.excess,
        }

    def _musical(self, now: int) -> dict[str, Any]:
        """What a player changes by playing."""
        return {**musical_state(self.session, now), "playing": self.takes.status()}

    def glance(self) -> dict[str, Any]:
        """Return what changes while music plays: those keys of `status`, and how many messages each port has had.

        A watcher asks for it up to 20 times a second, so it must stay small.
        """
        return {**self._musical(self._now_ns()), "activity": self.ports.activity()}

    def sounding(self) -> tuple[journal.Names, list[SoundingNote]]:
        """Return the notes that sound, for a watcher that begins, and what the numbers of ports mean."""
        return self._names(), notes_at_ports(self.session, self._now_ns())

    def _leave(self) -> None:
        """End everything that sounds, gives the wires time for it, and closes."""
        now = self._now_ns()
        if self.session.clock.due < now - STALL_NS:  # it stood still, and is to leave at once
            self._skip_clock(now)
        self._log((journal.LEFT, now, 0, b""))
        self._make_way()
        self._safely(self.session.leave, now)
        self._try(self.ports.flush, _LAST_SENDS_NS)
        self._try(self.ports.close)
        self._requests.close()
