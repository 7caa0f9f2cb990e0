"""The notes of a recording before and after the rules: what became of each, by channel and by device."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Final, NamedTuple

from rules.midi.controllers import EVERY_NOTE_ENDS
from rules.midi.messages import CONTROLLER, NOTE_OFF, NOTE_ON, SYSEX, is_note_on
from rules.program.pipeline import Pipeline
from rules.rulefile.ruleset import RuleSet
from rules.smf.event_order import in_order
from rules.smf.midi_file import MidiFile
from rules.smf.report import Playing
from rules.smf.take_playing import Moment, moments
from rules.smf.tempo import tempo_map
from rules.smf.track_sources import track_sources

_CHANNELS: Final = 16


class Fate(Enum):
    """What became of a note: it sounds with its key on its channel, elsewhere, later or again, or not at all.

    Notes after the rules that a chord put next to one that was played are added.
    """

    KEPT = "as played"
    MOVED = "moved to another channel or key"
    ADDED = "added: a chord"
    LATER = "later: a delay or an echo"
    DROPPED = "dropped"


class Bar(NamedTuple):
    """A note: from tick to tick, its key 0-127, and its fate."""

    begin: int
    end: int
    key: int
    fate: Fate


class Place(NamedTuple):
    """What a lane is about: before the rules a source (a name, or "" without rules), after them an output port."""

    port: str
    channel: int


@dataclass(slots=True)
class Lane:
    """The notes of one channel of a source, or of a port: its name, where it is, and where its notes went.

    `other` and `other_dropped` count messages other than notes that came, and those of them that came to nothing.
    """

    name: str
    place: Place
    bars: list[Bar] = field(default_factory=list)
    leads_to: Counter[str] = field(default_factory=Counter)
    other: int = 0
    other_dropped: int = 0

    @property
    def title(self) -> str:
        """The name and the channel."""
        return f"{self.name}, channel {self.place.channel}" if self.name else f"channel {self.place.channel}"

    def count(self, fate: Fate) -> int:
        """Return how many of its notes have a fate."""
        return sum(bar.fate is fate for bar in self.bars)


@dataclass(frozen=True, slots=True)
class TakeNotes:
    """All notes of a recording before and after, lanes in order, and the tick at which the last one ends."""

    before: tuple[Lane, ...]
    after: tuple[Lane, ...]
    end: int


def notes_as_recorded(file: MidiFile) -> TakeNotes:
    """Return the notes of a recording without any rules. Raises MidiFileError."""
    before = _Roll({}, ("",))
    for batch in in_order([file.events(track) for track in file.tracks]):
        for tick, track, event in batch:
            if event[4][0] < SYSEX:
                before.take(track, Place("", _channel_of(event[4])), event[4], tick, Fate.KEPT)
    return TakeNotes(before.lanes(), (), before.end)


def notes_through_rules(file: MidiFile, ruleset: RuleSet, pipeline: Pipeline, playing: Playing) -> TakeNotes:
    """Return the notes of a recording before and after rules. Raises MidiFileError."""
    sources = track_sources(file, playing, pipeline.sources)
    before, after = _Roll({}, pipeline.sources), _Roll(_device_names(ruleset), pipeline.ports)
    for moment in moments(file, sources, pipeline, tempo_map(file, None, ruleset.bpm)):
        own: list[tuple[Place, bytes]] = []
        for port, sent, tick, player in moment.sent:
            if sent[0] < SYSEX:
                place = Place(pipeline.ports[port], _channel_of(sent))
                after.take(0, place, sent, tick, _fate_of(moment, port, sent))
                if player == moment.track:
                    own.append((place, sent))
        if moment.message and moment.message[0] < SYSEX:
            came = Place(pipeline.sources[sources[moment.track]], _channel_of(moment.message))
            before.take(moment.track, came, moment.message, moment.tick, _fate(moment, [sent for _, sent in own]))
            if is_note_on(moment.message):
                goals = dict.fromkeys(place for place, sent in own if is_note_on(sent))
                before.lane(came).leads_to.update(after.lane(place).title for place in goals)
    return TakeNotes(before.lanes(), after.lanes(), max(before.end, after.end))


def _fate(moment: Moment, own: Sequence[bytes]) -> Fate:
    """What became of a message: `own` are the messages that went out for it at once."""
    if is_note_on(moment.message):
        own = [sent for sent in own if is_note_on(sent)]
    if any(_same_note(sent, moment.message) for sent in own):
        return Fate.KEPT
    if own:
        return Fate.MOVED
    return Fate.LATER if moment.put_off > 0 else Fate.DROPPED


def _fate_of(moment: Moment, port: int, sent: bytes) -> Fate:
    """How a message that goes out came there.

    Of the notes that a port gets for one note on one channel, the one with its key is that note, else the first one.
    """
    if not moment.message or not is_note_on(moment.message):
        return Fate.LATER
    keys = [each[1] for to, each, *_ in moment.sent if to == port and each[0] == sent[0] and is_note_on(each)]
    if is_note_on(sent) and sent[1] != (moment.message[1] if moment.message[1] in keys else keys[0]):
        return Fate.ADDED
    return Fate.KEPT if _same_note(sent, moment.message) else Fate.MOVED


def _same_note(sent: bytes, came: bytes) -> bool:
    return sent[:2] == came[:2]


def _channel_of(message: bytes) -> int:
    return (message[0] & 0x0F) + 1


def _device_names(ruleset: RuleSet) -> Mapping[Place, str]:
    """What a channel of a port is called: the devices that listen to it."""
    found: dict[Place, list[str]] = defaultdict(list)
    for name, device in ruleset.devices.items():
        channels = range(1, _CHANNELS + 1) if device.channel is None else (device.channel,)
        for channel in channels:
            found[Place(device.port, channel)].append(name)
    return {place: " and ".join(names) for place, names in found.items()}


class _Roll:
    """Lanes on their way to be filled. `names` are what places are called, where they have a name of their own.

    `ports` are all that there may be, in the order of the lanes.
    """

    def __init__(self, names: Mapping[Place, str], ports: Sequence[str]) -> None:
        self.end = 0
        self._names = names
        self._order = {port: number for number, port in enumerate(ports)}
        self._lanes: dict[Place, Lane] = {}
        self._open: dict[tuple[int, Place, int], list[tuple[int, Fate]]] = defaultdict(list)

    def lane(self, place: Place) -> Lane:
        """Return the lane of a place."""
        if place not in self._lanes:
            self._lanes[place] = Lane(self._names.get(place, place.port), place)
        return self._lanes[place]

    def take(self, player: int, place: Place, message: bytes, tick: int, fate: Fate) -> None:
        """Take a channel message at its time: the beginning or end of a note, or another one."""
        self.end = max(self.end, tick)
        lane = self.lane(place)
        if is_note_on(message):
            self._open[player, place, message[1]].append((tick, fate))
        elif message[0] & 0xF0 in (NOTE_ON, NOTE_OFF):
            self._close((player, place, message[1]), tick)
        else:
            lane.other += 1
            lane.other_dropped += fate is Fate.DROPPED
            if message[0] & 0xF0 == CONTROLLER and message[1] in EVERY_NOTE_ENDS:
                for open_place in [each for each in self._open if each[:2] == (player, place)]:
                    self._close(open_place, tick)

    def _close(self, open_place: tuple[int, Place, int], tick: int) -> None:
        """End all strikes of a key (ruling 10)."""
        _, place, key = open_place
        strikes = self._open.pop(open_place, ())
        self.lane(place).bars += (Bar(begin, tick, key, fate) for begin, fate in strikes)

    def lanes(self) -> tuple[Lane, ...]:
        """Return the lanes by port and channel, with what still sounds ended at the end of all."""
        for open_place in [*self._open]:
            self._close(open_place, self.end)
        return tuple(sorted(self._lanes.values(), key=lambda lane: (self._order[lane.place.port], lane.place.channel)))
