"""The engine: messages in, messages out.

Any message can go the whole way, which is wiring only: a walk through the tables says what it becomes, and the books
hold that against ledger, merge and agenda. But nearly all messages need less, and for them the objects of a walk and of
the ledger would be most of the cost. So `feed`, `answer` and `_hold` go short ways where a cell allows it, and do the
ledger's bookkeeping themselves: the cell stands for the entry. Whatever looks unusual is left to the whole way.

It knows no ports, files or clocks. Time is an ordered integer that the caller brings; `later` turns delays into it.
What goes out is appended to the caller's list as (port number, message, due, player), so that an error while sending
can't break a half-done update.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from rules.engine.bookkeeping import Books
from rules.engine.chase import caught_by, keep_values, last_values
from rules.engine.delivery import Sent
from rules.engine.evaluation import Walk
from rules.engine.ledger import Press
from rules.engine.merge import Merge
from rules.engine.player import Player
from rules.midi.messages import (
    ACTIVE_SENSING,
    BEND_CENTRE,
    CONTINUE,
    CONTROLLER,
    NOTE_ON,
    PITCH_BEND,
    POLY_PRESSURE,
    PROGRAM,
    START,
    STOP,
    SYSEX,
    UNDEFINED,
    routed_status,
    split_message,
)
from rules.midi.neutral import silence_messages
from rules.program.guards import holds
from rules.program.holders import IN_KEYS, in_key_of
from rules.program.native import i64
from rules.program.pipeline import ChasedBranch, Pipeline
from rules.program.sending import Sending
from rules.program.switch_states import Layout, State
from rules.program.tables import HELD, NOTE, PASS, SHARED, AnyNode, Cell
from rules.program.thinning import Traveller
from rules.timing.delays import Later

NOTE_ONS: Final = 0x800
"""The bit of a cell's index that tells note-ons from note-offs."""

NOBODY: Final = -1
"""The player of what no player caused: a panic, a switch turned by a command."""


class Engine:
    """Runs a pipeline. Every method may append to `out`; times never go backwards."""

    def __init__(self, pipeline: Pipeline, later: Later) -> None:
        self.pipeline = pipeline
        self.later = later
        self.now = 0
        self.word = pipeline.layout.start
        self._books = Books(self, Merge(pipeline.banks))
        self._delivery = self._books.delivery
        self.agenda = self._books.agenda
        self._players = self._books.players
        self._hands: dict[str, int] = {}
        self._notes = self._books.merge.notes
        self._caught = caught_by(pipeline)
        self._memories: dict[tuple[str | int, ...], Any] = {}
        self._rememberers: dict[tuple[str | int, ...], AnyNode] = {}

    def memory(self, node: AnyNode) -> Any:
        """What a node remembers: by its place, so that it outlives a reload, and by its sort.

        Other rules may have another sort of node in the same place.
        """
        name = (type(node).__name__, *node.place)
        if name not in self._memories:
            self._memories[name] = node.fresh()
            self._rememberers[name] = node
        return self._memories[name]

    @property
    def layout(self) -> Layout:
        """How switch states are packed into a word."""
        return self.pipeline.layout

    @property
    def next_due(self) -> int:
        """When `advance` has something to do; NEVER when nothing is pending."""
        return self.agenda.next_due

    @property
    def sounding(self) -> int:
        """How many notes sound by the ledger, echo copies included."""
        held = (player.ledger.pressed(in_key) for player in self._players for in_key in list(player.presses))
        return sum(len(press.soundings) for presses in held for press in presses)

    @property
    def waiting(self) -> Mapping[int, list[bytes]]:
        """What waits at an output for others, by player: note-offs for the last holder, bank selects for a program."""
        return self._books.merge.waiting

    @property
    def players(self) -> tuple[Player, ...]:
        """The players by number, with what each holds."""
        return tuple(self._players)

    def add_player(self, source: str) -> int:
        """A new stream of messages from a source; its number. A source that the rules don't have leads nowhere."""
        hand = self._hands.setdefault(source, len(self._hands))
        player = Player(len(self._players), hand, source)
        player.plug(self.pipeline, self._held_alone())
        self._players.append(player)
        return player.number

    # -- messages ---------------------------------------------------------------------------------------------------

    def feed(self, number: int, message: bytes, now: int, out: list[Sent]) -> None:
        """One message from a player, after what was due before it (ruling 29).

        `message` is complete and valid; a message that begins with F7 is a sysex packet or an escape from a file.
        """
        if now >= self.agenda.next_due:
            self.advance(now, out)
        status: i64 = message[0]
        player = self._players[number]
        if status >= SYSEX:
            self._system(player, message, now, out)
            return
        first: i64 = message[1]
        index = (status << 7 | first) & 0x3FFF
        second: i64
        cell = player.cells[index]
        way = cell.way
        if way == NOTE:
            second = message[2]
            presses = player.presses
            in_key = IN_KEYS[index | NOTE_ONS]
            if second and index & NOTE_ONS:
                if in_key in presses:
                    self._take(player, message, now, out)
                    return
                presses[in_key] = cell
            elif presses.get(in_key) is (cell.ons or cell):
                del presses[in_key]
            else:
                self._take(player, message, now, out)
                return
            for lane in cell.lanes:
                out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
        elif way == SHARED:
            second = message[2]
            presses, notes = player.presses, self._notes
            in_key = IN_KEYS[index | NOTE_ONS]
            if second and index & NOTE_ONS:
                if in_key in presses:
                    self._take(player, message, now, out)
                    return
                presses[in_key] = cell
                holder = player.first_holder | index
                for lane in cell.lanes:
                    place = lane.places[first]
                    if place in notes:
                        self._books.merge.press(place, holder)
                    else:
                        notes[place] = holder
                    out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
            elif presses.get(in_key) is (cell.ons or cell):
                del presses[in_key]
                holder = player.first_holder | index | NOTE_ONS
                for lane in cell.lanes:
                    place = lane.places[first]
                    if notes.get(place) == holder:
                        del notes[place]
                        out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
                    else:
                        data = lane.heads[first] + lane.tails[second]
                        for target, going, owner in self._books.merge.let_go(place, holder, data, number):
                            out.append((target, going, now, owner))
            else:
                self._take(player, message, now, out)
        elif way == PASS:
            if player.rests and in_key_of(status, first) in player.rests:
                self._take(player, message, now, out)
                return
            second = message[2] if len(message) > 2 else 0
            for lane in cell.lanes:
                out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
        elif way == HELD:
            self._hold(player, cell, index, message, now, out)
        else:
            self._take(player, message, now, out)

    def answer(self, number: int, message: bytes, now: int) -> bytes | None:
        """The one channel message that `feed` would send at once for this one; None where `feed` has to be asked.

        For who plays thousands in a row: `feed` makes a list, and in it an entry, for each.
        """
        player = self._players[number]
        status: i64 = message[0]
        first: i64 = message[1]
        index = (status << 7 | first) & 0x3FFF
        cell = player.cells[index]
        if len(cell.lanes) != 1 or now >= self.agenda.next_due:
            return None
        second: i64 = message[2] if len(message) > 2 else 0
        if cell.way == NOTE:
            presses = player.presses
            in_key = IN_KEYS[index | NOTE_ONS]
            if second and index & NOTE_ONS:
                if in_key in presses:
                    return None
                presses[in_key] = cell
            elif presses.get(in_key) is (cell.ons or cell):
                del presses[in_key]
            else:
                return None
        elif cell.way != PASS or (player.rests and in_key_of(status, first) in player.rests):
            return None
        lane = cell.lanes[0]
        return lane.heads[first] + lane.tails[second]

    def _hold(self, player: Player, cell: Cell, index: int, message: bytes, now: int, out: list[Sent]) -> None:
        """The short way for what is held until it comes to rest: its cell says where it went."""
        status, first = message[0], message[1]
        second = message[2] if len(message) > 2 else 0
        in_key = index if status < PROGRAM else index & ~0x7F
        held = player.rests.get(in_key)
        pressed = player.presses.get(index & 0x7FF | NOTE_ONS) if status < CONTROLLER else None
        is_strange = (held is not None and held is not cell) or (pressed is not None and pressed is not cell.ons)
        if is_strange or now < player.owed_until:
            self._take(player, message, now, out)
            return
        if status >= PITCH_BEND:
            away = second << 7 | first != BEND_CENTRE
            player.bends[in_key] = message
        else:
            away = (second if status < PROGRAM else first) != 0
        if away:
            player.rests[in_key] = cell
        elif held is not None:
            del player.rests[in_key]
        number = player.number
        for lane in cell.lanes:
            data = lane.heads[first] + lane.tails[second]
            if cell.merged:
                self._books.merge.bend((lane.target, lane.status & 0x0F), (player.hand, status & 0x0F), data)
            out.append((lane.target, data, now, number))

    def _take(self, player: Player, message: bytes, now: int, out: list[Sent]) -> None:
        """A channel message the whole way: walk, then books."""
        self.now, self._delivery.out = now, out
        word = self.word
        status, first, second = split_message(message)
        in_key = in_key_of(status, first)
        walk = Walk(self, player.number, in_key, now, self.word, message, player.table)
        walk.as_note_on = message[0] & 0xF0 == NOTE_ON
        if status >= POLY_PRESSURE and in_key in player.presses:
            self._books.let_fall(player, in_key, message)
        held = (
            player.ledger.pressed(in_key_of(NOTE_ON | status & 0x0F, first)) if status & 0xF0 == POLY_PRESSURE else []
        )
        if held:
            self._follow_note(walk, held, status, first, second)
        else:
            walk.follow(walk.table, status, first, second)
        self._books.enter(player, walk, message)
        if self._caught:
            keep_values(self, self.pipeline, self._caught, player, walk, word, message)

    def _follow_note(self, walk: Walk, held: list[Press], status: int, first: int, second: int) -> None:
        """Key pressure follows its held note: the way of then, and only where the note sounds (ruling 13)."""
        walk.table, walk.word = held[-1].table, held[-1].word
        walk.follow(walk.table, status, first, second)
        places = {(s.target, s.channel, s.key) for press in held for s in press.soundings}
        walk.emissions = [
            emission
            for emission in walk.emissions
            if emission.message[0] & 0xF0 != POLY_PRESSURE
            or (emission.target, emission.message[0] & 0x0F, emission.message[1]) in places
        ]

    def _system(self, player: Player, message: bytes, now: int, out: list[Sent]) -> None:
        """Sysex by rule; clock and transport by port; an escape by what it holds (rulings 26, 27, 34)."""
        status = message[0]
        if status in UNDEFINED or status == ACTIVE_SENSING:
            return
        status = routed_status(message)
        self.now, self._delivery.out = now, out
        walk = Walk(self, player.number, in_key_of(status, 0), now, self.word, message, player.table)
        walk.follow(walk.table, status, 0, 0)
        if status in (START, CONTINUE, STOP) and not walk.swallowed:
            player.running = status != STOP
        self._books.enter(player, walk, message)

    # -- time -------------------------------------------------------------------------------------------------------

    def advance(self, now: int, out: list[Sent]) -> None:
        """Sends what is due by `now`, in order."""
        self._delivery.out = out
        while self.agenda.next_due <= now:
            due, entry = self.agenda.pop()
            self.now = due
            if isinstance(entry, Sending):
                self._delivery.deliver(entry, due)
            elif isinstance(entry, Traveller):
                self._books.travel(entry)
            else:
                self._books.open(entry)

    # -- switches ---------------------------------------------------------------------------------------------------

    def turn(self, switch: str, state: State, now: int, out: list[Sent]) -> None:
        """Turns a switch by command. Raises KeyError for an unknown switch, ValueError for a state it can't be at."""
        if now >= self.agenda.next_due:
            self.advance(now, out)
        self.now, self._delivery.out = now, out
        self._turn(self.layout.turned(self.word, switch, state), NOBODY)

    def turned(self, walk: Walk, word: int) -> None:
        """A trigger in a walk turned a switch: the rest of the walk sees it."""
        walk.word = word
        self._turn(word, walk.player)

    def _turn(self, word: int, number: int) -> None:
        before, self.word = self.word, word
        for sends in self.pipeline.sends:
            if holds(sends.guard, word) and not holds(sends.guard, before):
                for target, message in sends.messages:
                    self._books.send_plain(target, message, number)
        for branch in self.pipeline.branches:
            if holds(branch.guard, word) and not holds(branch.guard, before):
                self._catch_up(branch)

    def _catch_up(self, branch: ChasedBranch) -> None:
        """The last values that a branch wants, as if they came now."""
        for player in self._players:
            if player.source != branch.source:
                continue
            for message in last_values(player, branch.catch_up):
                status, first, second = split_message(message)
                in_key = in_key_of(status, first)
                walk = Walk(self, player.number, in_key, self.now, self.word, message, player.table)
                walk.catching_up = True
                walk.follow(branch.table, status, first, second)
                self._books.enter_values(player, walk)

    # -- ends -------------------------------------------------------------------------------------------------------

    def release(self, number: int, now: int, out: list[Sent]) -> None:
        """A source is lost: what its player held ends at once, and so do switches that it held."""
        if now >= self.agenda.next_due:
            self.advance(now, out)
        self.now, self._delivery.out = now, out
        player = self._players[number]
        self._books.drop_pending(lambda sending: sending.player == number)
        for node in self._rememberers.values():  # also those of older rules, whose memory may be asked for again
            node.forget(self.memory(node), number)
        self._books.end_notes(player)
        self._books.end_values(player)
        for switch, source in self.pipeline.held_by.items():
            if source == player.source and self.layout.state(self.word, switch):
                self._turn(self.layout.turned(self.word, switch, False), number)
        if player.running:
            player.running = False
            for target in self.pipeline.clocks[player.source]:
                self._books.send_plain(target, bytes((STOP,)), number)

    def silence(self, now: int, out: list[Sent], every_key: bool = False) -> None:
        """Panic (ruling 17): everything that sounds ends, then all channels of all outputs are silenced.

        Nobody knows what an instrument was left with. With `every_key`, note-offs for all 128 keys go out as well.
        """
        self.now, self._delivery.out = now, out
        self._books.drop_pending(lambda sending: True)
        for node in self._rememberers.values():
            node.calm(self.memory(node))
        for player in self._players:
            self._books.end_notes(player)
            self._books.end_values(player)
        for target in self.pipeline.present:
            for message in silence_messages(every_key):
                self._books.send_plain(target, message, NOBODY)
        self._books.merge.clear()

    def settle(self, now: int, out: list[Sent]) -> None:
        """The end of a performance: bank selects that still wait for a program change go out."""
        self.now, self._delivery.out = now, out
        for target, message, number in self._books.merge.settle():
            out.append((target, message, now, number))

    # -- reload -----------------------------------------------------------------------------------------------------

    def replace(self, pipeline: Pipeline, now: int, out: list[Sent]) -> None:
        """New rules, while notes sound (ruling 30). `pipeline` was compiled with the ports of the one it replaces.

        Ledger, switches, delays and pending echoes live on. What sounds at ports that are gone, or comes from sources
        that are gone, ends.
        """
        if now >= self.agenda.next_due:
            self.advance(now, out)
        self.now, self._delivery.out = now, out
        for player in self._players:
            if player.plugged and player.name not in pipeline.sources:
                self.release(player.number, now, out)
            self._books.write_out(player)
        self._books.leave_ports(frozenset(self.pipeline.present) - frozenset(pipeline.present))
        old, self.pipeline = self.pipeline, pipeline
        self.word = pipeline.layout.translated(self.word, old.layout)
        self._books.change_banks(pipeline.banks)
        self._caught = caught_by(pipeline)
        held = self._held_alone()
        for player in self._players:
            player.plug(pipeline, held)

    def _held_alone(self) -> frozenset[int]:
        """Where notes are held on channels that nobody shares by the rules of now: there, cells don't ask who else is
        there."""
        return self._books.merge.held_outside(self.pipeline.shared)
