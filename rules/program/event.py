"""A message under way: to a port, or to a node that waits.

An event is made where a message takes its last lane. From there on it is the same object until it goes out: the
scheduler holds it while it isn't due, a node may keep it, and the ledger keeps it while its note sounds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Final

from rules.midi.messages import NOTE_OFF, NOTE_ON, OFF_VELOCITY
from rules.midi.neutral import OutputPlace
from rules.program.tables import AnyNode, in_channel_of, note_place
from rules.timing.delays import AT_ONCE, Delay

Copy = tuple[str | int, ...]
"""Which echo copy: the keys of the echoes and the numbers of their copies on its way; empty for the note itself."""

Holder = int | tuple[int, int, Copy]
"""What holds an output note: hand << 14 | in-key, or for an echo copy (hand, in-key, copy).

A hand is a source as the outputs know it: rules that are replaced may renumber their sources, but the hand that has
pressed a key must still be the same when the key is let go.
"""

DelayName = tuple[tuple[str | int, ...], str]
"""A `delay` that a message passed: the memory key of its node, and the rule that led there."""

Queue = tuple[tuple[DelayName, ...], int, int]
"""Where nothing overtakes: the delays passed, the target, and the outgoing channel 0-15 (16 for none)."""

NO_CHANNEL: Final = 16


def holder_of(hand: int, in_key: int, copy: Copy) -> Holder:
    """Return the name of a holder."""
    return (hand, in_key, copy) if copy else hand << 14 | in_key


def channel_holder_of(holder: Holder) -> tuple[int, int]:
    """Return the hand and incoming channel 0-15 of a holder."""
    hand, in_key = (holder >> 14, holder & 0x3FFF) if isinstance(holder, int) else holder[:2]
    return hand, in_channel_of(in_key)


class Family:
    """What all that becomes of one message has in common, also where a node keeps some of it.

    `word` is what the switches are at once the message has turned them. `answers` are those that may be given only
    once, `gone` what was sent of it (ruling 7), `waits` how long originals were held where nothing overtakes, for their
    echoes. `sounding` are the (port, channel, key) where the note of a poly pressure sounds; None: it follows no note.
    """

    __slots__ = ("answers", "gone", "sounding", "waits", "word")

    def __init__(self, word: int) -> None:
        self.word = word
        self.answers: dict[tuple[object, ...], Any] = {}
        self.gone: set[tuple[object, ...]] = set()
        self.waits: dict[Queue, int] = {}
        self.sounding: set[tuple[int, int, int]] | None = None

    def once(self, name: tuple[object, ...], answer: Callable[[], Any]) -> Any:
        """An answer that is given once, however many ways the message takes, and whenever it comes there."""
        if name not in self.answers:
            self.answers[name] = answer()
        return self.answers[name]


class Event:
    """One message, on whose behalf it goes, where, and when.

    On whose behalf: `player` and its `hand`, the incoming `in_key`, and which echo `copy`. Where: `target` is a port
    number, or below zero that of a waiting `node`. What led there: the `rule`, the switches (`word`), the `delay`s
    since the table where it began, and the `names` of those where nothing overtakes. When: it is due `before` + `delay`
    after `base`, rounded once (ruling 29), and `wait` later; of that it was held for `held` where nothing overtakes.

    `literal` marks what a `send` wrote, `known` a value that came before and fires nothing, `made` a value at rest that
    the ledger made. `release` shapes release velocities, `origin` is the place in the order among what is due at one
    time, `is_out` says whether it has gone out. A note-off `ends` the note-ons that went for its holder at its place;
    none where its note-on isn't known. `ended_by` is the one of a note-on that is pending
    and may be dropped.
    """

    __slots__ = (
        "base",
        "before",
        "copy",
        "delay",
        "due",
        "ended_by",
        "ends",
        "family",
        "hand",
        "held",
        "in_key",
        "is_out",
        "known",
        "literal",
        "made",
        "message",
        "names",
        "node",
        "origin",
        "player",
        "release",
        "rule",
        "target",
        "wait",
        "word",
    )

    def __init__(
        self, player: int, hand: int, in_key: int, message: bytes, base: int, family: Family, target: int = -1
    ) -> None:
        self.player = player
        self.hand = hand
        self.in_key = in_key
        self.message = message
        self.base = base
        self.family = family
        self.target = target
        self.word = family.word
        self.node: AnyNode | None = None
        self.copy: Copy = ()
        self.rule = ""
        self.before = AT_ONCE
        self.delay = AT_ONCE
        self.names: tuple[DelayName, ...] = ()
        self.wait = 0
        self.held = 0
        self.due = base
        self.literal = False
        self.known = False
        self.made = False
        self.release: bytes | None = None
        self.origin = 0
        self.is_out = False
        self.ends: Sequence[Event] = ()
        self.ended_by: Event | None = None

    def derived(self, message: bytes) -> Event:
        """Return another event that came the same way, and isn't out yet."""
        other = Event(self.player, self.hand, self.in_key, message, self.base, self.family, self.target)
        other.word = self.word
        other.node = self.node
        other.copy = self.copy
        other.rule = self.rule
        other.before = self.before
        other.delay = self.delay
        other.names = self.names
        other.wait = self.wait
        other.literal = self.literal
        other.known = self.known
        other.made = self.made
        other.release = self.release
        other.origin = self.origin
        return other

    def derived_now(self, message: bytes, now: int) -> Event:
        """Return another event that leaves the same table `now`, with the same delays from there."""
        other = self.derived(message)
        other.base = now
        other.before = AT_ONCE
        other.wait = 0
        other.origin = 0
        other.family = Family(self.word)
        return other

    @property
    def lasting(self) -> Delay:
        """All delays since `base`."""
        if self.before is AT_ONCE:
            return self.delay
        return self.before if self.delay is AT_ONCE else self.before + self.delay

    @property
    def channel(self) -> int:
        """The outgoing channel 0-15; NO_CHANNEL for system messages."""
        return self.message[0] & 0x0F if self.message[0] < 0xF0 else NO_CHANNEL

    @property
    def queue(self) -> Queue:
        """Where nothing overtakes it."""
        return self.names, self.target, self.channel

    # -- of a note-on -------------------------------------------------------------------------------------------------

    @property
    def key(self) -> int:
        """The key of a note."""
        return self.message[1]

    @property
    def place(self) -> OutputPlace:
        """Where a note sounds."""
        return self.target, NOTE_ON | self.message[0] & 0x0F, self.message[1]

    @property
    def note_place(self) -> int:
        """The number of the place where a note sounds, as the merge names it."""
        return note_place(self.target, self.message[0], self.message[1])

    def off(self, came: bytes | None = None) -> bytes:
        """The note-off, in the form and with the release velocity of the one that came; one of our own without it."""
        channel, key = self.message[0] & 0x0F, self.message[1]
        if came is None:
            return bytes((NOTE_OFF | channel, key, OFF_VELOCITY))
        if came[0] >= NOTE_ON:
            return bytes((NOTE_ON | channel, key, 0))
        velocity = came[2]
        if self.release is not None and velocity:
            velocity = self.release[velocity]
        return bytes((NOTE_OFF | channel, key, velocity))
