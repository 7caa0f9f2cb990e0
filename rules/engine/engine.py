"""The engine: messages in, messages out.

Any message can take the general path: an evaluation of the tables says what it becomes, and bookkeeping compares that
with ledgers, merge and scheduler. Nearly all messages need less, and take the `fast_path`.

It knows no ports, files or clocks. Time is an ordered integer that the caller brings; `later` turns delays into it.
What goes out is appended to the caller's list as (port number, message, due, player), so that an error while sending
can't break a half-done update.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from rules.engine.bookkeeping import Bookkeeping
from rules.engine.chase import chased_by, keep_values, play_last_values
from rules.engine.delivery import Sent, send
from rules.engine.dispatch import WaitingNodeContext
from rules.engine.endings import drop_pending, end_players, leave_ports, write_out
from rules.engine.evaluation import Evaluation
from rules.engine.fast_path import FastPath
from rules.engine.hands import Hands
from rules.engine.held import sounding_notes
from rules.engine.merge import Merge
from rules.engine.node_memories import NodeMemories
from rules.engine.pending_limit import PendingLimit
from rules.engine.player import Player
from rules.engine.waiting_nodes import Wake
from rules.engine.written_lists import NOBODY, Chase, Planned, WrittenLists
from rules.midi.din import size_on_wire
from rules.midi.messages import (
    ACTIVE_SENSING,
    CONTINUE,
    KEY_PRESSURE,
    NOTE_ON,
    START,
    STOP,
    SYSEX,
    UNDEFINED,
    routed_status,
    split_message,
)
from rules.midi.neutral import silence_messages
from rules.program.byte_tables import NO_BYTE
from rules.program.clock_orders import ClockOrder
from rules.program.event import Event, Family
from rules.program.guards import holds
from rules.program.node import CodeChange
from rules.program.pipeline import Pipeline
from rules.program.switch_states import Layout, State
from rules.program.tables import AnyNode, in_key_of
from rules.timing.delays import Later

_SILENCE_BYTES: Final = size_on_wire(silence_messages())


class Engine(FastPath):
    """Runs a pipeline. Every method may append to `out`; times never go backwards.

    With `most_pending`, no more messages than that may be pending for one port; what is too many is dropped, the oldest
    first. In a file nothing may be dropped, so there it isn't given.
    """

    def __init__(self, pipeline: Pipeline, later: Later, most_pending: int | None = None) -> None:
        self.pipeline = pipeline
        self.later = later
        super().__init__(Bookkeeping(self, Merge(pipeline.banks)), pipeline.layout.initial)
        if most_pending is not None:
            self.bookkeeping.limit = PendingLimit(most_pending)
        self.lists = WrittenLists(self.scheduler, later)
        self.hands = Hands(self.bookkeeping)
        self._turned_by: dict[str, int] = {}
        self._present = frozenset(pipeline.present)
        self._chased = chased_by(pipeline)
        self.memories = NodeMemories()
        self.passed = True
        """Whether no switch has kept the last message that was neither a channel message nor left out."""

    def target_of(self, node: AnyNode) -> int:
        """The number, below zero, by which events go to a node that waits."""
        return self.bookkeeping.waiting_nodes.number(node)

    def is_present(self, target: int) -> bool:
        """Return whether there is such a port by the rules of now."""
        return target in self._present

    @property
    def layout(self) -> Layout:
        """How switch states are packed into a word."""
        return self.pipeline.layout

    @property
    def next_due(self) -> int:
        """When `advance` has something to do; NEVER when nothing is pending."""
        return self.scheduler.next_due

    @property
    def excess(self) -> dict[str, int]:
        """How many messages were dropped because too many were pending, by port; those of steps that wait by ""."""
        limit = self.bookkeeping.limit
        return {} if limit is None else limit.dropped_by_port(self.pipeline.ports)

    @property
    def put_off(self) -> int:
        """How many messages were ever put off until later."""
        return self.bookkeeping.put_off

    @property
    def sounding(self) -> int:
        """How many notes sound by the ledgers, echo copies included."""
        return len(sounding_notes(self.bookkeeping))

    @property
    def waiting(self) -> Mapping[int, list[bytes]]:
        """What waits at an output for others, by player: note-offs for the last holder, bank selects for a program."""
        return self.bookkeeping.merge.waiting

    @property
    def players(self) -> tuple[Player, ...]:
        """The players by number, with what each holds."""
        return tuple(self._players)

    def add_player(self, source: str) -> int:
        """A new stream of messages from a source; its number. A source that the rules don't have leads nowhere."""
        return self.hands.add_player(source, self.pipeline)

    def part(self, number: int, now: int, out: list[Sent]) -> None:
        """End what a hand of its own holds, at once: it plays no more."""
        self.release(number, now, out)
        self._players[number].known.clear()
        self._players[number].past.clear()
        self.hands.part(number, self.pipeline)

    # -- messages ---------------------------------------------------------------------------------------------------

    def _take(self, player: Player, message: bytes, now: int, out: list[Sent]) -> None:
        """Send a channel message along the general path: evaluation, then bookkeeping."""
        word = self.word
        status, first, _ = split_message(message)
        in_key = in_key_of(status, first)
        ledger = player.ledger
        start = Event(player.number, player.hand, in_key, message, now, Family(word))
        table = player.table
        if status >= KEY_PRESSURE and in_key in player.presses:
            self.bookkeeping.let_fall(ledger, in_key, start, now, out)
        if status & 0xF0 == KEY_PRESSURE:
            held = ledger.pressed(in_key_of(NOTE_ON | status & 0x0F, first))
            if held:  # it follows its held note: the way of then, and only where the note sounds (ruling 13)
                table, start.word = held[-1].table, held[-1].word
                start.family = Family(start.word)
                start.family.sounding = self.bookkeeping.sounding_at(player.number, held)
        evaluation = Evaluation(self, start, table, now, out)
        evaluation.run()
        self.bookkeeping.enter(ledger, in_key, evaluation, out)
        if self._chased:
            keep_values(self, self.pipeline, self._chased, player, evaluation, word)

    def _system(self, player: Player, message: bytes, now: int, out: list[Sent]) -> None:
        """Send sysex by rule, clock and transport by port, an escape by what it holds (rulings 26, 27, 34)."""
        status = message[0]
        if status in UNDEFINED or status == ACTIVE_SENSING:
            return
        status = routed_status(message)
        in_key = in_key_of(status, 0)
        start = Event(player.number, player.hand, in_key, message, now, Family(self.word))
        evaluation = Evaluation(self, start, player.table, now, out)
        evaluation.follow(player.table, start, status, 0, 0)
        self.passed = not evaluation.consumed
        if status in (START, CONTINUE, STOP) and self.passed:
            player.running = status != STOP
        self.bookkeeping.enter(player.ledger, in_key, evaluation, out)

    def goes_nowhere(self, number: int, message: bytes) -> bool:
        """Return whether no rule, trigger or clock takes a message of a player, as the switches are now.

        `message` is complete and valid. A note-off may go out all the same, where its note-on went out.
        """
        status = routed_status(message)
        first, second = split_message(message)[1:] if status < SYSEX else (0, 0)
        lanes = self._players[number].table.rows[status & 0x7F][first].lanes
        return not any(lane.gate[second] != NO_BYTE and holds(lane.guard, self.word) for lane in lanes)

    # -- time -------------------------------------------------------------------------------------------------------

    def advance(self, now: int, out: list[Sent]) -> None:
        """Send what is due by `now`, in order."""
        while self.scheduler.next_due <= now:
            due, origin, entry = self.scheduler.pop()
            if isinstance(entry, Wake):
                self.bookkeeping.wake(entry, origin, due, out)
            elif isinstance(entry, Event):
                entry.origin = origin
                if self.bookkeeping.limit is not None:
                    self.bookkeeping.limit.leave(entry)
                self.bookkeeping.arrive(entry, due, out)
            elif isinstance(entry, Planned):
                self.lists.send(entry, due, out)
            else:
                self._chase_to(entry.target, due, out)

    def retime(self, now: int) -> int:
        """Move what is pending in beats: `later` knows another tempo from now on. What was due before has gone.

        Returns the time from which the first delay that is pending counts, `now` where nothing is pending.
        """
        return self.bookkeeping.retime(now)

    def turn(self, switch: str, state: State, now: int, out: list[Sent]) -> None:
        """Turn a switch by command. Raises KeyError for an unknown switch, ValueError for a state it can't be at."""
        if now >= self.scheduler.next_due:
            self.advance(now, out)
        word = self.layout.turned(self.word, switch, state)
        if word == self.word:
            self.set_again(switch, NOBODY, now, out)
        else:
            self.turned(word, NOBODY, now, out)

    def turned(self, word: int, player: int, now: int, out: list[Sent]) -> None:
        """Go on with the switches at `word`, turned by a message of a player.

        What that sends goes out, and what it opens is chased.
        """
        before, self.word = self.word, word
        for switch, field in self.layout.fields.items():
            if (before ^ word) & field.mask:
                self._turned_by[switch] = player
        self.memories.turned(word, WaitingNodeContext(self.bookkeeping, now, 0, out))
        self.lists.turned(self.pipeline, before, word, player, now, out)
        for branch in self.pipeline.branches:
            if holds(branch.guard, word) and not holds(branch.guard, before):
                play_last_values(self.bookkeeping, branch, word, now, out)

    def turn_by_player(
        self, switch: str, change: CodeChange, player: int, now: int, out: list[Sent], *, again: bool = False
    ) -> bool:
        """Turn a switch by a message of a player; return whether it has turned.

        Where it stays in its state, what that state sends goes out once more, if that is wanted `again`. A switch that
        these rules don't have, since an older rule's message turns it, is left alone.
        """
        if switch not in self.layout.fields:
            return False
        word = self.layout.changed(self.word, switch, change)
        if word != self.word:
            self.turned(word, player, now, out)
            return True
        if again:
            self.set_again(switch, player, now, out)
        return False

    def schedule(self, wake: Wake, now: int) -> int:
        """Wake a node a delay after the base of its wake; return what `cancel` wants."""
        return self.scheduler.add(max(now, self.later(wake.base, wake.delay)), wake)

    def cancel(self, wake: int) -> None:
        """Wake no node for this."""
        self.scheduler.cancel(wake)

    def order_clock(self, order: ClockOrder) -> None:
        """Note what a trigger asks of our clock, for who carries it out."""
        self.lists.orders.append(order)

    def set_again(self, switch: str, player: int, now: int, out: list[Sent]) -> None:
        """Send again what the state of a switch sends: the switch was set to the state that it is in."""
        self.lists.again(self.pipeline, switch, self.word, player, now, out)

    def _chase_to(self, target: int, now: int, out: list[Sent]) -> None:
        """Send a port that has returned the last values that it wants, by the rules that are open now."""
        for branch in self.pipeline.branches:
            if holds(branch.guard, self.word):
                play_last_values(self.bookkeeping, branch, self.word, now, out, target)

    def restore(self, states: Mapping[str, State]) -> None:
        """Set switches before anything is played. Nothing is sent by it; what these rules don't have is left out."""
        fields = self.layout.fields
        for switch, state in states.items():
            if switch in fields and state in fields[switch].states:
                self.word = self.layout.turned(self.word, switch, state)

    def begin(self, now: int, out: list[Sent], *, in_silence: bool = False) -> None:
        """Send setups, and what is true from the beginning of a live session (rulings 8, 25); before that silence."""
        if in_silence:
            self.silence(now, out)
        self.lists.begin(self.pipeline, self.word, now, out, _SILENCE_BYTES if in_silence else 0)

    def return_port(self, target: int, now: int, out: list[Sent]) -> None:
        """Silence an output that has returned, and send the sounds of now there (ruling 8)."""
        if now >= self.scheduler.next_due:
            self.advance(now, out)
        self.bookkeeping.merge.return_port(target)
        out += [(target, message, now, NOBODY) for message in silence_messages()]
        ready = self.lists.bring_back(self.pipeline, self.word, target, now, out, _SILENCE_BYTES)
        if ready > now:
            self.scheduler.add(ready, Chase(target))
        else:
            self._chase_to(target, now, out)

    def release(self, number: int, now: int, out: list[Sent]) -> None:
        """End what the player of a lost source holds, at once, and turn off the switches that it held."""
        if now >= self.scheduler.next_due:
            self.advance(now, out)
        player = self._players[number]
        drop_pending(self.bookkeeping, lambda event: event.player == number, now, out)
        self.memories.forget(number, WaitingNodeContext(self.bookkeeping, now, 0, out))
        end_players(self.bookkeeping, [player], now, out)
        player.past.update(player.known)
        for switch, source in self.pipeline.held_by.items():
            if source == player.source and self.layout.state(self.word, switch) and self._holds(player, switch):
                self.turned(self.layout.turned(self.word, switch, False), number, now, out)
        if player.running:
            player.running = False
            if player.plugged:
                out += [(target, bytes((STOP,)), now, number) for target in self.pipeline.clocks[player.source]]

    def _holds(self, player: Player, switch: str) -> bool:
        """Return whether a momentary switch of a player's source falls with it: not if another hand turned it on."""
        by = self._turned_by.get(switch, NOBODY)
        if by != NOBODY:
            return self._players[by].hand == player.hand
        return self.hands.is_first(player)

    def silence(self, now: int, out: list[Sent], every_key: bool = False) -> None:
        """End everything that sounds, then silence all channels of all outputs (panic, ruling 17).

        Nobody knows what an instrument was left with. With `every_key`, note-offs for all 128 keys go out as well.
        """
        drop_pending(self.bookkeeping, lambda event: True, now, out)
        silence = list(silence_messages(every_key))
        self.lists.silence(size_on_wire(silence), now)
        self.bookkeeping.latest.clear()
        context = WaitingNodeContext(self.bookkeeping, now, 0, out)
        self.memories.silenced(range(len(self._players)), context)
        end_players(self.bookkeeping, self._players, now, out)
        for target in self.pipeline.present:
            out += [(target, message, now, NOBODY) for message in silence]
        self.bookkeeping.merge.clear()

    def close(self, now: int, out: list[Sent]) -> None:
        """Let nodes end what they keep going: the last message of a performance has come."""
        if now >= self.scheduler.next_due:
            self.advance(now, out)
        self.memories.close(WaitingNodeContext(self.bookkeeping, now, 0, out))

    def leave(self, now: int, out: list[Sent]) -> None:
        """Send, of what was still to come in a live session, only what ends something, at once.

        Sources are lost by then: what is pending is of switches that fell with them.
        """
        drop_pending(self.bookkeeping, lambda event: True, now, out)
        self.lists.leave(lambda target: target >= 0, now, out)

    def settle(self, now: int, out: list[Sent]) -> None:
        """Send bank selects that still wait for a program change: the performance is over."""
        for target, message, number in self.bookkeeping.merge.settle():
            out.append((target, message, now, number))

    def replace(self, pipeline: Pipeline, now: int, out: list[Sent]) -> None:
        """Go on by new rules, while notes sound (ruling 30). `pipeline` was compiled with the ports of the one before.

        Ledger, switches, delays and pending echoes live on. What sounds at ports that are gone, or comes from sources
        that are gone, ends.
        """
        if now >= self.scheduler.next_due:
            self.advance(now, out)
        for player in self._players:
            if player.plugged and player.name not in pipeline.sources:
                self.release(player.number, now, out)
            write_out(self.bookkeeping, player)
        gone = frozenset(self.pipeline.present) - frozenset(pipeline.present)
        leave_ports(self.bookkeeping, gone, now, out)
        self.lists.leave(gone.__contains__, now, out)
        old, self.pipeline = self.pipeline, pipeline
        self._present = frozenset(pipeline.present)
        old_word, self.word = self.word, pipeline.layout.translated(self.word, old.layout)
        send(self.bookkeeping.merge.change_banks(pipeline.banks), now, out)
        self._chased = chased_by(pipeline)
        self.bookkeeping.waiting_nodes.forget_nodes()
        self.memories.replace(pipeline.nodes.values(), self.word, WaitingNodeContext(self.bookkeeping, now, 0, out))
        self.hands.plug_all(pipeline)
        self.lists.replace(old, old_word, pipeline, self.word, now, out)
