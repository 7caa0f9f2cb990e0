"""The fast path of nearly all messages.

For most messages the objects of an evaluation and of the ledger would be most of the cost. So this path does the
ledger's bookkeeping itself, where the compiler has marked a cell for it: the cell stands for the entry (see
`ledger`). Whatever looks unusual is left to the general path, which is always right.
"""

from __future__ import annotations

from abc import abstractmethod
from typing import Final

from rules.engine.bookkeeping import Bookkeeping
from rules.engine.delivery import Sent
from rules.engine.ledger import struck_again, times_struck
from rules.engine.player import Player
from rules.midi.messages import BEND_CENTRE, CONTROLLER, PITCH_BEND, PROGRAM, SYSEX
from rules.program.native import i64
from rules.program.tables import HELD, IN_KEYS, NOTE, PASS, SHARED, SWITCHED, Cell, in_key_of

NOTE_ONS: Final = 0x800
"""The bit of a cell's index that tells note-ons from note-offs."""


class FastPath:
    """Where messages come in."""

    def __init__(self, bookkeeping: Bookkeeping, word: int) -> None:
        self.word = word
        """The states of the switches."""
        self.bookkeeping = bookkeeping
        self.scheduler = bookkeeping.scheduler
        self._players = bookkeeping.players
        self._notes = bookkeeping.merge.notes

    @abstractmethod
    def _take(self, player: Player, message: bytes, now: int, out: list[Sent]) -> None:
        """Send a channel message along the general path."""

    @abstractmethod
    def _system(self, player: Player, message: bytes, now: int, out: list[Sent]) -> None:
        """Send a system message."""

    @abstractmethod
    def advance(self, now: int, out: list[Sent]) -> None:
        """Send what is due by `now`, in order."""

    def feed(self, number: int, message: bytes, now: int, out: list[Sent]) -> None:
        """Play a message of a player, after what was due before it (ruling 29).

        `message` is complete and valid; a message that begins with F7 is a sysex packet or an escape from a file.
        """
        if now >= self.scheduler.next_due:
            self.advance(now, out)
        status: i64 = message[0]
        player = self._players[number]
        if status >= SYSEX:
            self._system(player, message, now, out)
            return
        first: i64 = message[1]
        # A cell's place in the list of all, which is also the in-key of its message; that of note-offs lacks a bit.
        index = (status << 7 | first) & 0x3FFF
        second: i64
        cell = player.cells[index]
        path = cell.path
        if path == SWITCHED:
            cell = cell.at(self.word)
            path = cell.path
        if path == NOTE:
            # Nobody else can reach these places, so that the merge need not be asked: it passes what one holder alone
            # sends. If the rules change, `Ledger.unmerged` tells it what is held here.
            second = message[2]
            presses = player.presses
            in_key = IN_KEYS[index | NOTE_ONS]
            if second and index & NOTE_ONS:
                if in_key not in presses:
                    # The cell stands for the entry of the ledger: it says where each of its lanes led, without any
                    # delay.
                    presses[in_key] = cell
                elif again := struck_again(presses[in_key], cell):
                    presses[in_key] = again
                else:
                    self._take(player, message, now, out)
                    return
            elif presses.get(in_key) is (cell.ons or cell):
                # The note went through the note-on's cell of the rules that still hold, and this cell's lanes lead to
                # the same places in the same order (see `cells`): the note-off by these lanes is the one that is owed.
                del presses[in_key]
            elif times_struck(presses.get(in_key), cell.ons or cell):
                del presses[in_key]  # one note-off ends all note-ons of the key (ruling 10)
            else:
                self._take(player, message, now, out)
                return
            # All lanes are plain and fit every velocity: the bytes lie ready, by first and by second data byte.
            for lane in cell.lanes:
                out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
        elif path == SHARED:
            second = message[2]
            presses, notes = player.presses, self._notes
            in_key = IN_KEYS[index | NOTE_ONS]
            if second and index & NOTE_ONS:
                if in_key not in presses:
                    presses[in_key] = cell
                elif again := struck_again(presses[in_key], cell):
                    presses[in_key] = again
                else:
                    self._take(player, message, now, out)
                    return
                holder = player.first_holder | index
                for lane in cell.lanes:
                    place = lane.places[first]
                    if place in notes:
                        self.bookkeeping.merge.press(place, holder)
                    else:
                        # A lone holder who struck the note once is kept as its bare name; so does `Merge.press`.
                        notes[place] = holder
                    out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
            elif strikes := (
                1 if presses.get(in_key) is (cell.ons or cell) else times_struck(presses.get(in_key), cell.ons or cell)
            ):
                del presses[in_key]
                holder = player.first_holder | index | NOTE_ONS
                for lane in cell.lanes:
                    place = lane.places[first]
                    if notes.get(place) == holder:
                        # Struck once, by this holder, and nobody waits: the note-off ends it (as `Merge.let_go` says).
                        del notes[place]
                        out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
                    else:
                        data = lane.heads[first] + lane.tails[second]
                        for target, going, owner in self.bookkeeping.merge.let_go(place, holder, data, number, strikes):
                            out.append((target, going, now, owner))
            else:
                self._take(player, message, now, out)
        elif path == PASS:
            # What is passed on leaves no trace, but it may bring to rest what older rules hold away from it.
            if player.rests and in_key_of(status, first) in player.rests:
                self._take(player, message, now, out)
                return
            second = message[2] if len(message) > 2 else 0
            # Lanes of two bytes have empty tails, so that joining them is right for both lengths.
            for lane in cell.lanes:
                out.append((lane.target, lane.heads[first] + lane.tails[second], now, number))
        elif path == HELD:
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
        # One lane makes one message, and where nothing is due nothing goes before it. The rest is as in `feed`.
        if len(cell.lanes) != 1 or now >= self.scheduler.next_due:
            return None
        second: i64 = message[2] if len(message) > 2 else 0
        if cell.path == NOTE:
            presses = player.presses
            in_key = IN_KEYS[index | NOTE_ONS]
            if second and index & NOTE_ONS:
                if in_key not in presses:
                    presses[in_key] = cell
                elif again := struck_again(presses[in_key], cell):
                    presses[in_key] = again
                else:
                    return None
            elif presses.get(in_key) is (cell.ons or cell) or times_struck(presses.get(in_key), cell.ons or cell):
                del presses[in_key]
            else:
                return None
        elif cell.path != PASS or (player.rests and in_key_of(status, first) in player.rests):
            return None
        lane = cell.lanes[0]
        return lane.heads[first] + lane.tails[second]

    def _hold(self, player: Player, cell: Cell, index: int, message: bytes, now: int, out: list[Sent]) -> None:
        """Send a value that is held until it comes to rest: its cell says where it goes."""
        status, first = message[0], message[1]
        second = message[2] if len(message) > 2 else 0
        in_key = index if status < PROGRAM else index & ~0x7F
        held = player.rests.get(in_key)
        # Key pressure follows its note. Where the note went through the cell whose places these lanes share (`cells`
        # sees to that), following it is what the lanes do.
        pressed = player.presses.get(index & 0x7FF | NOTE_ONS) if status < CONTROLLER else None
        is_strange = (held is not None and held is not cell) or (pressed is not None and pressed is not cell.ons)
        # While a value is owed somewhere, a later one has to wait for it (ruling 22).
        if is_strange or now < player.owed_until:
            self._take(player, message, now, out)
            return
        if status >= PITCH_BEND:
            away = second << 7 | first != BEND_CENTRE
            player.bends[in_key] = message
        else:
            away = (second if status < PROGRAM else first) != 0
        # Lanes keep rest at rest and all else away from it, so that the value that came tells for all of them.
        if away:
            player.rests[in_key] = cell
        elif held is not None:
            del player.rests[in_key]
        number = player.number
        for lane in cell.lanes:
            data = lane.heads[first] + lane.tails[second]
            # A bend is noted with the merge only where another holder may reset the channel (ruling 15).
            if cell.merged:
                self.bookkeeping.merge.bend((lane.target, lane.status & 0x0F), (player.hand, status & 0x0F), data)
            out.append((lane.target, data, now, number))
