"""Live sessions as text, played on a `Session` and on the slow model, which counts the tempo of clocks for itself.

A session is a line an event, times in milliseconds:

    at 0 keys note-on 1 C4 100          a message arrives; "clock" and "active-sensing" count as they do live
    at 0 keys+take note-on 1 C4 100     from a take that plays as that input, which begins with its first message
    at 5 turn up on                     a switch is set by command
    at 5 tempo 90                       our own tempo is set by command
    at 5 pull keys                      the cable of an input is pulled; `pull keys+take`: the take ends
    at 5 return rack                    an output is there again
    at 5 panic          at 5 panic every key
    at 5 reload                         the next rule file takes over
    at 5 leave                          the session is over
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from fractions import Fraction

from rules.compiler.compiler import compile_rules
from rules.engine import delivery
from rules.engine.session import Session
from rules.midi.messages import ACTIVE_SENSING, CLOCK
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import OnOffSwitch, ValueSwitch
from rules.timing.midi_clock import ClockReading
from tests.model import NEVER, Model
from tests.support.playing import Sent, Tempos, bytes_of

MS = 1_000_000
"""Nanoseconds."""

_PATIENCE = 500 * MS
"""How long a source that sends active sensing may be silent."""

SwitchValue = bool | int | str


class LiveStage(ABC):
    """Something that plays sessions, and what it sent, in nanoseconds.

    `lost_any`: with the last line a source has fallen silent.
    """

    def __init__(self, rulesets: Sequence[RuleSet]) -> None:
        self.ruleset, *self.reloads = rulesets
        self.out: list[Sent] = []
        self.lost_any = False

    def play(self, line: str) -> None:
        """One line of a session."""
        _, time, word, *rest = line.split()
        now = int(time) * MS
        self.lost_any = False
        match word:
            case "turn":
                self.turn(rest[0], self._value(rest[0], " ".join(rest[1:])), now)
            case "tempo":
                self.set_tempo(float(rest[0]), now)
            case "pull":
                self.pull(rest[0], now)
            case "return":
                self.return_output(rest[0], now)
            case "panic":
                self.panic(rest == ["every", "key"], now)
            case "reload":
                self.ruleset = self.reloads.pop(0)
                self.replace(self.ruleset, now)
            case "leave":
                self.leave(now)
            case _:
                self.arrive(word, bytes_of(" ".join(rest)), now)

    def _value(self, switch: str, text: str) -> SwitchValue:
        kind = self.ruleset.switches[switch]
        if isinstance(kind, OnOffSwitch):
            return {"on": True, "off": False}[text]
        return text if isinstance(kind, ValueSwitch) else int(text)

    @property
    @abstractmethod
    def next_due(self) -> int:
        """When the next pending message is due."""

    @abstractmethod
    def begin(self) -> None:
        """The session begins at 0."""

    @abstractmethod
    def arrive(self, source: str, message: bytes, now: int) -> None:
        """A message arrives."""

    @abstractmethod
    def turn(self, switch: str, value: SwitchValue, now: int) -> None:
        """A switch is set by command."""

    @abstractmethod
    def set_tempo(self, bpm: float, now: int) -> None:
        """Our own tempo is set."""

    @abstractmethod
    def pull(self, source: str, now: int) -> None:
        """An input is lost."""

    @abstractmethod
    def return_output(self, port: str, now: int) -> None:
        """An output is there again."""

    @abstractmethod
    def panic(self, every_key: bool, now: int) -> None:
        """Silence."""

    @abstractmethod
    def replace(self, ruleset: RuleSet, now: int) -> None:
        """Other rules."""

    @abstractmethod
    def leave(self, now: int) -> None:
        """The session is over."""


class SessionStage(LiveStage):
    """A `Session`."""

    def __init__(self, rulesets: Sequence[RuleSet]) -> None:
        super().__init__(rulesets)
        self.session = Session(self.ruleset, compile_rules(self.ruleset))
        self._playing: set[str] = set()

    def _player(self, name: str, now: int, sent: list[delivery.Sent]) -> int:
        """The number of an input, or of a take that plays as one from now on."""
        source, is_take, _ = name.partition("+")
        if not is_take:
            return self.session.players[source]
        if name not in self._playing:
            self._playing.add(name)
            self.session.begin_take(source, now, sent)
        return self.session.takes[source]

    @property
    def next_due(self) -> int:
        """When the next pending message is due."""
        return self.session.engine.next_due

    def begin(self) -> None:
        """The session begins at 0."""
        sent: list[delivery.Sent] = []
        self.session.start(0, sent)
        self._name(sent)

    def arrive(self, source: str, message: bytes, now: int) -> None:
        """A message arrives."""
        sent: list[delivery.Sent] = []
        self.session.arrive(self._player(source, now, sent), message, now, sent)
        self._name(sent)

    def turn(self, switch: str, value: SwitchValue, now: int) -> None:
        """A switch is set by command."""
        sent: list[delivery.Sent] = []
        self.session.turn(switch, value, now, sent)
        self._name(sent)

    def set_tempo(self, bpm: float, now: int) -> None:
        """Our own tempo is set."""
        sent: list[delivery.Sent] = []
        self.session.set_tempo(bpm, now, sent)
        self._name(sent)

    def pull(self, source: str, now: int) -> None:
        """An input is lost."""
        sent: list[delivery.Sent] = []
        player = self._player(source, now, sent)
        if source in self._playing:
            self._playing.discard(source)
            self.session.end_take(player, now, sent)
        else:
            self.session.lose(player, now, sent)
        self._name(sent)

    def return_output(self, port: str, now: int) -> None:
        """An output is there again."""
        sent: list[delivery.Sent] = []
        self.session.return_output(port, now, sent)
        self._name(sent)

    def panic(self, every_key: bool, now: int) -> None:
        """Silence."""
        sent: list[delivery.Sent] = []
        self.session.panic(now, sent, every_key)
        self._name(sent)

    def replace(self, ruleset: RuleSet, now: int) -> None:
        """Other rules."""
        sent: list[delivery.Sent] = []
        self.session.replace(ruleset, compile_rules(ruleset, self.session.pipeline.ports), now, sent)
        self._name(sent)

    def leave(self, now: int) -> None:
        """The session is over."""
        sent: list[delivery.Sent] = []
        self.session.leave(now, sent)
        self._name(sent)

    def _name(self, sent: Iterable[delivery.Sent]) -> None:
        ports = self.session.pipeline.ports
        self.out.extend((ports[port], bytes(message), due, player) for port, message, due, player in sent)


class ModelStage(LiveStage):
    """The slow model, with the tempo of clocks (ruling 29) and active sensing (ruling 27) around it."""

    def __init__(self, rulesets: Sequence[RuleSet]) -> None:
        super().__init__(rulesets)
        self.tempos = Tempos(MS)
        self.tempos.set(0, self.ruleset.bpm)
        self.model = Model(self.ruleset, self.tempos.later)
        self.players: dict[str, int] = {}
        self._playing: set[str] = set()
        self._add_players()
        self._clocks: dict[int, list[int]] = {}
        self._readings: dict[int, ClockReading] = {}
        self._setting: int | None = None
        self._heard: dict[int, int] = {}

    @property
    def next_due(self) -> int:
        """When the next pending message is due."""
        return self.model.next_due

    def _add_players(self) -> None:
        for name, port in self.ruleset.ports.items():
            if port.can_receive and name not in self.players:
                self.players[name] = self.model.add_player(name)

    def _player(self, name: str, now: int) -> int:
        """The number of an input, or of a take that plays as one from now on."""
        source, is_take, _ = name.partition("+")
        if is_take and name not in self._playing:
            self._until(now)
            self._playing.add(name)
            if name not in self.players:
                self.players[name] = self.model.add_hand(source)
            self.model.join(self.players[name])
        return self.players[name]

    def _until(self, now: int) -> None:
        """All that happens by itself until now, each at its time: sources fall silent, and what is due goes."""
        while True:
            lost = min(((heard + _PATIENCE, player) for player, heard in self._heard.items()), default=(NEVER, -1))
            due = min(lost[0], self.model.next_due)
            if due > now:
                return
            if due == lost[0]:
                del self._heard[lost[1]]
                self.model.release(lost[1], due, self.out)
                self.lost_any = True
            else:
                self.model.advance(due, self.out)
            self._obey(due)

    def _obey(self, now: int) -> None:
        """Tempos that switches have asked for come into force, if no clock runs."""
        asked, self.model.lists.tempos = self.model.lists.tempos, []
        for bpm in asked:
            if not self._running(now):
                self._change(Fraction(bpm), now)

    def begin(self) -> None:
        """The session begins at 0."""
        self.model.begin(0, self.out)
        self._obey(0)

    def arrive(self, source: str, message: bytes, now: int) -> None:
        """A message arrives."""
        player = self._player(source, now)
        self._until(now)  # what is due goes before whatever arrives, active sensing too
        if message[0] == ACTIVE_SENSING:
            self.model.advance(now, self.out)
            self._heard[player] = now
            return
        if player in self._heard:
            self._heard[player] = now
        if message[0] == CLOCK:
            self._count_clock(player, now)
        self.model.feed(player, message, now, self.out)
        self._obey(now)

    def turn(self, switch: str, value: SwitchValue, now: int) -> None:
        """A switch is set by command."""
        self._until(now)
        self.model.turn(switch, value, now, self.out)
        self._obey(now)

    def set_tempo(self, bpm: float, now: int) -> None:
        """Our own tempo is set: in force if no clock runs."""
        self._until(now)
        if not self._running(now):
            self._change(Fraction(bpm), now)

    def pull(self, source: str, now: int) -> None:
        """An input is lost."""
        self._until(now)
        player = self._player(source, now)
        self._heard.pop(player, None)
        if "+" in source:
            self._playing.discard(source)
            self.model.part(player, now, self.out)
        else:
            self.model.release(player, now, self.out)
        self._obey(now)

    def return_output(self, port: str, now: int) -> None:
        """An output is there again."""
        self._until(now)
        self.model.return_port(port, now, self.out)

    def panic(self, every_key: bool, now: int) -> None:
        """Silence."""
        self._until(now)
        self.model.silence(now, self.out, every_key)

    def replace(self, ruleset: RuleSet, now: int) -> None:
        """Other rules, perhaps of another tempo."""
        self._until(now)
        before = self.model.state.ruleset.bpm
        self.model.replace(ruleset, now, self.out)
        if ruleset.bpm != before and not self._running(now):
            self._change(Fraction(ruleset.bpm), now)
        self._add_players()
        self._obey(now)

    def leave(self, now: int) -> None:
        """The session is over."""
        self._until(now)
        self.model.leave(now, self.out)

    # The tempo

    def _count_clock(self, player: int, now: int) -> None:
        """A clock message: the tempo is read at some of them, if this clock is the one that counts."""
        clocks, reading = self._clocks.setdefault(player, []), self._readings.setdefault(player, ClockReading())
        reading.tick(now)
        clocks.append(now)
        del clocks[: -reading.clocks]  # those since it began, or changed its pace
        if self._running(now)[:1] != [player] or len(clocks) < 6:
            return
        has_taken_over, self._setting = self._setting != player, player
        if has_taken_over or len(clocks) in (6, 12) or len(clocks) % 24 == 0:
            beat, before = reading.beat(now), self.tempos.beat
            if beat is not None and not Fraction(499, 500) <= beat / before <= Fraction(501, 500):
                self._change(60_000 * MS / beat, now)

    def _running(self, now: int) -> list[int]:
        """The players whose clocks run, in the order in which they count."""
        return [
            player
            for player, clocks in sorted(self._clocks.items())
            if len(clocks) > 1 and now - clocks[-1] <= 500 * MS and clocks[-1] > clocks[0]
        ]

    def _change(self, bpm: Fraction, now: int) -> None:
        if 60_000 * MS / bpm != self.tempos.beat:
            self.tempos.set(now, bpm)
            self.model.retime(now)


def still_sounding(sent: Iterable[Sent], rulesets: Iterable[RuleSet]) -> list[tuple[str, int, int]]:
    """What still sounds at the outputs after all that was sent: port, channel 0-15 and key.

    An instrument ends a note with one note-off, however often it was struck, and all of a channel by a mode message.
    Notes of lists in the rule files are nobody's: those are left out.
    """
    sounding: set[tuple[str, int, int]] = set()
    for port, message, _, _ in sent:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            sounding.add((port, channel, message[1]))
        elif kind in (0x80, 0x90):
            sounding.discard((port, channel, message[1]))
        elif kind == 0xB0 and message[1] in (120, *range(123, 128)):
            sounding = {place for place in sounding if place[:2] != (port, channel)}
    return sorted(sounding - {place for ruleset in rulesets for place in _listed(ruleset)})


def _listed(ruleset: RuleSet) -> Iterable[tuple[str, int, int]]:
    for entry in ruleset.on_switch:
        for name, written in entry.send.items():
            channel = ruleset.devices[name].channel if name in ruleset.devices else None
            for each in written:
                message = each.message.moved_to(channel)
                if message[0] & 0xF0 == 0x90:
                    yield ruleset.port_of(name), message[0] & 0x0F, message[1]
