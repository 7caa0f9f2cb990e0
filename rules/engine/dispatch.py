"""When a message goes, and where: at once or by the scheduler, to its output or to a node that waits."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator, Sequence
from typing import Any, Protocol

from rules.engine.delivery import Delivery, Sent
from rules.engine.evaluation import EvaluationHost
from rules.engine.ledger import Ledger, LedgerKey
from rules.engine.merge import Merge
from rules.engine.pending_limit import PendingLimit
from rules.engine.player import Player
from rules.engine.waiting_nodes import WaitingNodes, Wake
from rules.engine.written_lists import Entry
from rules.midi.messages import KEY_PRESSURE, PROGRAM, SYSEX, is_note_off, is_note_on, split_message
from rules.midi.neutral import rest_place
from rules.program.clock_orders import ClockOrder
from rules.program.event import Copy, Event, Queue
from rules.program.node import CodeChange
from rules.program.tables import AnyNode, in_key_of
from rules.timing.delays import AT_ONCE, Delay
from rules.timing.scheduler import Scheduler


class DispatchHost(EvaluationHost, Protocol):
    """What is asked of the engine."""

    def is_present(self, target: int) -> bool:
        """Return whether there is such a port by the rules of now."""
        ...


class Dispatch:
    """Scheduler, outputs and waiting nodes of one engine, and its players.

    `latest` says when the last message is due where nothing overtakes; `put_off` counts messages that were put into the
    scheduler, or kept by a node. `limit` bounds what is pending, if that is wanted.
    """

    def __init__(self, host: DispatchHost, merge: Merge) -> None:
        self.host = host
        self.merge = merge
        self.scheduler: Scheduler[Entry] = Scheduler()
        self.players: list[Player] = []
        self.waiting_nodes = WaitingNodes()
        self.delivery = Delivery(merge, self.held_by_hand)
        self.latest: dict[Queue, int] = {}
        self.put_off = 0
        self.limit: PendingLimit | None = None

    def held_by(self, player: Player) -> list[tuple[Ledger, LedgerKey, int]]:
        """Everything under which a player may hold something: ledger, key, and in-key."""
        ledger = player.ledger
        own: list[tuple[Ledger, LedgerKey, int]] = [
            (ledger, key, key) for key in {**ledger.presses, **ledger.rests} if isinstance(key, int)
        ]
        return own + self.waiting_nodes.held_by(player.number) if self.waiting_nodes else own

    def held_by_hand(self, hand: int) -> Iterator[tuple[Ledger, LedgerKey, int]]:
        """Yield what `held_by` returns, for all players of a hand."""
        for player in self.players:
            if player.hand == hand:
                yield from self.held_by(player)

    def ending(self, player: int) -> list[Event]:
        """Return what a player has sounding at ports though its key was let go: the note-offs are pending."""
        return [
            sounding
            for entry in self.scheduler
            if isinstance(entry, Event) and entry.player == player and is_note_off(entry.message)
            for sounding in entry.ends
            if sounding.target >= 0 and sounding.is_out
        ]

    def find_due(self, event: Event) -> None:
        """Set when an event is due: after its delays, and after what it must not overtake."""
        lasting = event.lasting
        due = event.base + event.wait if lasting is AT_ONCE else self.host.later(event.base, lasting) + event.wait
        if event.names:
            queue = event.queue
            if event.copy:
                event.held = event.family.waits.get(queue, 0)
            else:
                event.held = max(0, self.latest.get(queue, due) - due)
                self.latest[queue] = due + event.held
                if event.held or queue in event.family.waits:
                    event.family.waits[queue] = event.held
            event.wait += event.held
            due += event.held
        event.due = due

    def find_off_due(self, off: Event, last: Event) -> None:
        """Set when a note-off is due: as late as the `last` of the note-ons that it ends was, and never before that.

        Its delay counts from the table where the note-on began (rulings 9, 10).
        """
        off.delay, off.names, off.wait = last.delay, last.names, last.held
        if last.delay is not AT_ONCE or last.held:
            due = self.host.later(off.base, last.delay) + last.held
            if last.names and not last.copy:
                self.latest[last.queue] = max(due, self.latest.get(last.queue, due))
            off.due = max(due, last.due)

    def retime(self, now: int) -> int:
        """Book all that is pending again, in the order in which it was due: the tempo has changed (ruling 29).

        Returns the time from which the first of its delays counts, `now` where nothing is pending.
        """
        self.latest.clear()
        for player in self.players:
            player.owe_nothing()
        self.scheduler.move(lambda due, entry: self._due_again(due, entry, now))
        return min((entry.base for entry in self.scheduler if isinstance(entry, Event | Wake)), default=now)

    def _due_again(self, due: int, entry: Entry, now: int) -> int:
        """Return when an entry is due by the tempo of now."""
        if isinstance(entry, Wake):
            return max(now, self.host.later(entry.base, entry.delay)) if entry.delay.beats else due
        if not isinstance(entry, Event):
            return due  # lists know milliseconds only
        if is_note_off(entry.message) and entry.ends and not entry.literal:
            self.find_off_due(entry, last_of(entry.ends))
        else:
            entry.wait -= entry.held
            self.find_due(entry)
        entry.due = max(entry.due, now)
        place = rest_place(entry.target, entry.message)
        if place is not None:
            entry.due = self.players[entry.player].in_turn(entry.in_key, place, entry.due, now)
        return entry.due

    def go(self, event: Event, now: int, out: list[Sent]) -> None:
        """Send an event, or hand it to its node; where it is not due yet, schedule that."""
        place = rest_place(event.target, event.message)
        if place is not None:
            event.due = self.players[event.player].in_turn(event.in_key, place, event.due, now)
        if event.due <= now:
            self.arrive(event, now, out)
        else:
            self.put_off += 1
            serial = self.scheduler.add(event.due, event, event.origin)
            if self.limit is not None and (excess := self.limit.enter(event, serial)):
                self._drop(*excess, self.limit)

    def _drop(self, event: Event, serial: int, limit: PendingLimit) -> None:
        """Drop what is pending. The note-off of a note-on comes to nothing as well, also if it is pending already."""
        self.scheduler.cancel(serial)
        if not is_note_on(event.message):
            return
        off, event.ended_by = event.ended_by, None
        if off is not None:
            off.ends = [sounding for sounding in off.ends if sounding is not event]
            if not off.ends:
                self.scheduler.cancel(limit.cancel(off))
            return
        ledger = self.players[event.player].ledger
        if not ledger.forget_sounding(event.in_key, event):
            for other, key, in_key in self.waiting_nodes.held_by(event.player):
                if in_key == event.in_key and other.forget_sounding(key, event):
                    return

    def arrive(self, event: Event, now: int, out: list[Sent]) -> None:
        """Send an event that is due, or hand it to its node."""
        if event.target >= 0:
            self.delivery.deliver(event, now, out)
            return
        event.is_out = True
        node = event.node
        assert node is not None
        if not event.origin:
            event.origin = self.scheduler.origin()
        status, first, second = split_message(event.message)
        node.take(
            self.host.memories.of(node), event, status, first, second, WaitingNodeContext(self, now, event.origin, out)
        )

    def wake(self, wake: Wake, origin: int, now: int, out: list[Sent]) -> None:
        """Wake a node."""
        wake.node.woken(self.host.memories.of(wake.node), wake.key, WaitingNodeContext(self, now, origin, out))

    def sounds_behind(self, event: Event) -> bool:
        """Return whether anything that a waiting node emitted for a note-on still sounds."""
        key = (event.player, event.in_key, event.copy, in_key_of(event.message[0], event.key))
        return any(press.soundings for press in self.waiting_nodes.ledger(event.target).pressed(key))

    @abstractmethod
    def emitted(self, start: Event, now: int, out: list[Sent]) -> None:
        """Evaluate what a waiting node emits."""


class WaitingNodeContext:
    """Where a waiting node sends things on, while it is handed a message or woken. `now` is the time."""

    def __init__(self, dispatch: Dispatch, now: int, origin: int, out: list[Sent]) -> None:
        self.now = now
        self._dispatch = dispatch
        self._origin = origin
        self._out = out

    def emit(
        self,
        event: Event,
        status: int,
        d1: int,
        d2: int,
        *,
        after: Delay = AT_ONCE,
        copy: Copy = (),
        ordered: bool = False,
        from_now: bool = False,
    ) -> None:
        """Begin an evaluation behind the node, with the switches of the event; see `rules.program.node.NodeContext`."""
        node = event.node
        assert node is not None
        start = event.derived(_message_like(event.message, status, d1, d2))
        if from_now:
            start.base, start.before, start.wait = self.now, AT_ONCE, 0
        else:
            start.before = event.lasting
        start.delay = after
        start.names = ((node.memory_key, event.rule),) if ordered and not event.copy else ()
        start.copy = (*event.copy, *copy)
        start.release = None  # the ledger before the node has shaped what comes through
        if status < KEY_PRESSURE:
            start.literal = False  # a note is the node's own here, also where a `send` wrote it
            # what a node makes ends what came to it; what it passes on ends what that would have ended
            start.ends = event.ends if is_note_off(event.message) else (event,)
        start.known = event.known or node.thins
        start.origin = self._origin
        self._dispatch.emitted(start, self.now, self._out)

    def later(self, base: int, delay: Delay) -> int:
        """The time after a delay."""
        return self._dispatch.host.later(base, delay)

    def wake(self, node: AnyNode, key: Any, base: int, delay: Delay) -> int:
        """Wake a node later, in the order of what is being done."""
        due = max(self.now, self.later(base, delay))
        return self._dispatch.scheduler.add(due, Wake(node, key, base, delay), self._origin)

    def cancel(self, wake: int) -> None:
        """Cancel a wake."""
        self._dispatch.scheduler.cancel(wake)

    def turn(self, switch: str, change: CodeChange, player: int, *, again: bool = False) -> None:
        """Turn a switch; what that sends goes out at once."""
        self._dispatch.host.turn_by_player(switch, change, player, self.now, self._out, again=again)

    def order_clock(self, order: ClockOrder) -> None:
        """Ask our clock for something."""
        self._dispatch.host.order_clock(order)

    def sounds(self, event: Event) -> bool:
        """Whether anything that was emitted for a note-on still sounds behind its node."""
        return self._dispatch.sounds_behind(event)

    def put_off(self) -> None:
        """Count a message that will go out later."""
        self._dispatch.put_off += 1


def last_of(struck: Sequence[Event]) -> Event:
    """Return the one of several note-ons that goes out last."""
    return struck[0] if len(struck) == 1 else max(reversed(struck), key=lambda sounding: sounding.due)


def _message_like(message: bytes, status: int, d1: int, d2: int) -> bytes:
    """A message of a node, as long as its kind wants it; what it hands on stays as it came."""
    if status >= SYSEX or split_message(message) == (status, d1, d2):
        return message
    return bytes((status, d1)) if status & 0xE0 == PROGRAM else bytes((status, d1, d2))
