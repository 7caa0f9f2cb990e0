"""The node of `latch`: notes sound on when their keys are let go (ruling 22)."""

from __future__ import annotations

from typing import ClassVar

from rules.midi.messages import NOTE_OFF, OFF_VELOCITY
from rules.program.byte_tables import ALL
from rules.program.event import Copy, Event, Family
from rules.program.guards import Guard, holds
from rules.program.node import UNTIL_OTHERS, Node, NodeResult, WaitingContext

Key = tuple[int, Copy]
"""A key that is pressed: its in-key, and which echo copy of it."""


class Hand:
    """What one player has: the keys that are `down`, each with the family of its press, and the notes that sound.

    `mute` are keys whose press let go of notes and plays none; `loose` are those whose notes end with their note-off.
    """

    __slots__ = ("down", "loose", "mute", "notes")

    def __init__(self) -> None:
        self.down: dict[Key, Family] = {}
        self.notes: dict[Key, list[Event]] = {}
        self.mute: set[Key] = set()
        self.loose: set[Key] = set()


Memory = dict[int, Hand]
"""The hands by player."""


class LatchNode(Node):
    """Knows whether the next key ends what sounds, and for which switch states its step is open."""

    waits: ClassVar[bool] = True

    def __init__(self, ends_with_next: bool, is_open: Guard) -> None:
        super().__init__()
        self.ends_with_next = ends_with_next
        self.is_open = is_open

    def fresh(self) -> Memory:
        """No hand has anything."""
        return {}

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]:
        """Return what came; the note-offs that it makes have a release velocity of their own."""
        return [(status, firsts, ALL if status & 0xF0 == NOTE_OFF else seconds)]

    def results(self, status: int) -> list[NodeResult]:
        """Return the note, which other keys end; nothing of a note-off."""
        return [] if status & 0xF0 == NOTE_OFF else [NodeResult(status, lasts=UNTIL_OTHERS)]

    def take(self, memory: Memory, event: Event, status: int, d1: int, d2: int, context: WaitingContext) -> None:
        """Let a note begin, or let go of notes; of a note-off nothing comes as long as the step is open."""
        hand = memory.setdefault(event.player, Hand())
        key = (event.in_key, event.copy)
        if status & 0xF0 == NOTE_OFF:
            self._key_up(hand, key, context)
            return
        # what one key becomes before the step, such as a chord, is one press
        if hand.down.get(key) is not event.family:
            self._key_down(hand, key, event.family, context)
        if key not in hand.mute:
            context.emit(event, status, d1, d2)
            hand.notes.setdefault(key, []).append(event)

    def _key_down(self, hand: Hand, key: Key, family: Family, context: WaitingContext) -> None:
        """Let go of what a press ends. A key that sounds though it is up only lets go."""
        is_only_key = not hand.down
        was_up = key not in hand.down
        sounds_on = was_up and any(context.sounds(event) for event in hand.notes.get(key, ()))
        hand.down[key] = family
        hand.loose.discard(key)
        hand.mute.discard(key)
        if sounds_on:
            hand.mute.add(key)
        if is_only_key and self.ends_with_next:
            _end(hand, list(hand.notes), context)
        else:
            _end(hand, [key], context)

    def _key_up(self, hand: Hand, key: Key, context: WaitingContext) -> None:
        hand.down.pop(key, None)
        hand.mute.discard(key)
        if key in hand.loose:
            hand.loose.discard(key)
            _end(hand, [key], context)

    def turned(self, memory: Memory, word: int, context: WaitingContext) -> None:
        """Let go of all notes where the step's `when` doesn't hold; those of keys that are down end with their keys."""
        if holds(self.is_open, word):
            return
        for hand in memory.values():
            hand.loose.update(hand.down)
            _end(hand, [key for key in hand.notes if key not in hand.down], context)

    def forget(self, memory: Memory, player: int, context: WaitingContext) -> None:
        """Forget the notes of a player, which are ended already."""
        memory.pop(player, None)

    def replaced(self, memory: Memory, successor: Node | None, context: WaitingContext) -> None:
        """Keep notes if the step is still there, as it was; else end them."""
        if not isinstance(successor, LatchNode) or successor.ends_with_next != self.ends_with_next:
            self.close(memory, context)

    def close(self, memory: Memory, context: WaitingContext) -> None:
        """End every note."""
        for hand in memory.values():
            _end(hand, list(hand.notes), context)
        memory.clear()


def _end(hand: Hand, keys: list[Key], context: WaitingContext) -> None:
    for key in keys:
        for event in hand.notes.pop(key, ()):
            context.emit(event, NOTE_OFF | event.channel, event.key, OFF_VELOCITY, from_now=True)
