"""What each hand holds down: the notes sent on its behalf, and what must come back to rest."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import Delay
from tests.model import facts
from tests.model.chain import At
from tests.model.facts import InKey, Place
from tests.model.routing import Emission, Way, WayBehind

Key = tuple[Any, ...]
"""What holds something down: an in-key, and, behind a step that keeps things, the step, the echo copy, and the status
and number of the step's own message. So each step has a ledger of its own."""


@dataclass(slots=True, eq=False)
class Family:
    """What all that becomes of one message has in common.

    `ruleset` is the rules that it came under, `switches` how they stood once it had turned them. `gone` is what was
    sent of it, `waits` how long originals were held where nothing overtakes, `alike` stands for the messages that came
    to a step alike.
    """

    gone: set[object] = field(default_factory=set)
    ruleset: RuleSet | None = None
    switches: dict[str, bool | int | str] = field(default_factory=dict)
    waits: dict[object, int] = field(default_factory=dict)
    alike: dict[object, object] = field(default_factory=dict)


@dataclass(slots=True)
class Item:
    """A message on its way out, sent for what `player` has in hand (`in_key`; None: for nothing that is held).

    `port` may also be the name of a step that keeps things; `emission` says what the message will be there. `order` is
    its turn among those due at one time. `sounding` is the note that it begins. `was_sent` tells whether its time has
    come. It comes `delay` after `base`, and `waited` later, `extra` of that in its `queue` where nothing overtakes. The
    ledger `made` it to bring something to rest. A note-off `ends` what its hand has sounding there; nothing, if it ends
    no known note. It `is_owed` where it goes as late as its note-on did.
    """

    port: str
    message: bytes
    player: int
    source: str
    in_key: InKey | None
    copy: At = ()
    order: int = 0
    sounding: Sounding | None = None
    was_sent: bool = False
    emission: Emission | None = None
    family: Family = field(default_factory=Family)
    base: int = 0
    delay: Delay = field(default_factory=Delay)
    waited: int = 0
    extra: int = 0
    queue: object = None
    made: bool = False
    ends: Sequence[Sounding] = ()
    is_owed: bool = False

    @property
    def is_kept(self) -> bool:
        """Whether it goes to a step."""
        return self.emission is not None and self.emission.is_kept

    @property
    def hand(self) -> tuple[str, int]:
        """Source and incoming channel: who holds what concerns a whole channel."""
        return self.source, facts.in_channel_of(self.in_key)

    @property
    def holder(self) -> tuple[str, int, int, At]:
        """Who holds a note: source, incoming status and key, echo copy. The tracks of one source are one holder."""
        _, status, number = self.in_key if self.in_key is not None else (0, 0, 0)
        return self.source, status, number, self.copy

    @property
    def output(self) -> tuple[str, int]:
        """Port and output channel."""
        return self.port, facts.channel_of(self.message)

    @property
    def place(self) -> Place:
        """Where it ends up; only for channel messages."""
        return facts.place_of(self.port, self.message)


@dataclass(slots=True, eq=False)
class Sounding:
    """One note that was sent: its note-on, and the delay that it got, which its note-off gets too (ruling 9).

    `delay` counts from the rules, or from the step that kept it; `extra` is how long it was held where nothing
    overtakes, which is `queue`.
    """

    on: Item
    emission: Emission
    due: int = 0
    delay: Delay = field(default_factory=Delay)
    extra: int = 0
    queue: object = None

    @property
    def was_sent(self) -> bool:
        """Whether its time has come."""
        return self.on.was_sent

    @property
    def place(self) -> Place:
        """Where it sounds."""
        return self.on.place


def by_note_off(soundings: Iterable[Sounding]) -> list[list[Sounding]]:
    """What a hand has sounding, by place and echo copy: each gets one note-off (ruling 10)."""
    groups: dict[object, list[Sounding]] = {}
    for sounding in soundings:
        groups.setdefault((sounding.place, sounding.on.copy), []).append(sounding)
    return list(groups.values())


@dataclass(slots=True, eq=False)
class Press:
    """What one note-on, or another trigger of notes, set sounding; and the way that it took."""

    way: Way | WayBehind
    soundings: list[Sounding]


@dataclass(slots=True)
class Ledger:
    """All presses by what is held down, oldest first; and the places that are away from rest, with the way there, and
    what brought them away."""

    presses: dict[Key, list[Press]] = field(default_factory=dict)
    rests: dict[Key, dict[Place, tuple[Way | WayBehind, Emission, Item]]] = field(default_factory=dict)

    def soundings(self) -> Iterator[tuple[Key, Sounding]]:
        """Everything that sounds, player by player, in the order in which it was pressed."""
        for in_key in sorted(self.presses, key=lambda in_key: in_key[0]):
            for press in self.presses[in_key]:
                for sounding in press.soundings:
                    yield in_key, sounding

    def forget(self, ended: Callable[[Sounding], bool]) -> None:
        """Takes out the soundings that ended without their note-off; a press emptied by it is forgotten."""
        for in_key in list(self.presses):
            kept = []
            for press in self.presses[in_key]:
                left = [sounding for sounding in press.soundings if not ended(sounding)]
                if left or not press.soundings:
                    kept.append(press)
                press.soundings = left
            if kept:
                self.presses[in_key] = kept
            else:
                del self.presses[in_key]

    def forget_rests(self, gone: Callable[[Key, Place], bool]) -> None:
        """Takes out places that are at rest by other means."""
        for in_key in list(self.rests):
            places = self.rests[in_key]
            for place in [place for place in places if gone(in_key, place)]:
                del places[place]
            if not places:
                del self.rests[in_key]
