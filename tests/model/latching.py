"""`latch` in the slow model: what each key of a player has to do with each such step (ruling 22)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from rules.steps.latch import LatchStep
from tests.model import facts
from tests.model.chain import At
from tests.model.ledger import Family, Item


@dataclass(slots=True, eq=False)
class LatchedKey:
    """One key: whether it is down, by which press, and the notes that it has begun.

    `is_silent`: its press let go of notes, and plays none. `ends_itself`: its note-off ends its notes.
    """

    press: Family | None = None
    items: list[Item] = field(default_factory=list)
    is_silent: bool = False
    ends_itself: bool = False


@dataclass(slots=True, eq=False)
class Latch:
    """One step for one player."""

    step: LatchStep
    at: At
    player: int
    keys: dict[object, LatchedKey] = field(default_factory=dict)

    def sounding(self) -> list[LatchedKey]:
        """Keys with notes, in the order in which they began."""
        return [key for key in self.keys.values() if key.items]


class Latches:
    """All of them. `play` lets a note begin, `sounds` tells whether one still does, `end` ends one."""

    def __init__(
        self,
        latched: dict[object, Latch],
        play: Callable[[Item], None],
        sounds: Callable[[Item], bool],
        end: Callable[[Item, int], None],
    ) -> None:
        self.all = latched
        self._play = play
        self._sounds = sounds
        self._end = end

    def take(self, item: Item, step: LatchStep, at: At) -> None:
        """A note-on or a note-off comes to the step."""
        latch = self.all.setdefault((at, item.player), Latch(step, at, item.player))
        name = (item.in_key, item.copy)
        key = latch.keys.setdefault(name, LatchedKey())
        if facts.is_off(item.message):
            key.press, key.is_silent = None, False
            if key.ends_itself:
                key.ends_itself = False
                self._let_go([key], item.order)
            return
        if key.press is not item.family:
            others_down = any(other.press is not None for other in latch.keys.values() if other is not key)
            was_down = key.press is not None
            key.is_silent = not was_down and any(map(self._sounds, key.items))
            key.press, key.ends_itself = item.family, False
            ends_all = step.until == "next" and not was_down and not others_down
            self._let_go(latch.sounding() if ends_all else [key], item.order)
        if not key.is_silent:
            self._play(item)
            if not key.items:  # the order of keys is that in which their notes began
                latch.keys[name] = latch.keys.pop(name)
            key.items.append(item)

    def let_go_where(self, is_shut: Callable[[Latch], bool]) -> None:
        """Switches have turned, and some steps are shut: only what keys hold down sounds until they are let go."""
        for latch in self.all.values():
            if is_shut(latch):
                for key in latch.keys.values():
                    key.ends_itself = key.press is not None
                self._let_go([key for key in latch.sounding() if key.press is None], 0)

    def end_where(self, chosen: Callable[[Latch], bool]) -> None:
        """Some steps end all that they keep, and know nothing any more."""
        for name, latch in list(self.all.items()):
            if chosen(latch):
                self._let_go(latch.sounding(), 0)
                del self.all[name]

    def _let_go(self, keys: list[LatchedKey], order: int) -> None:
        for key in keys:
            items, key.items = key.items, []
            for item in items:
                self._end(item, order)
