"""Live sessions as text, played on a `Session` and on the slow model.

A session is a line an event, times in milliseconds:

    at 0 keys note-on 1 C4 100          a message arrives; "clock" and "active-sensing" count as they do live
    at 0 keys+take note-on 1 C4 100     from a take that plays as that input, which begins with its first message
    at 5 turn up on                     a switch is set by command
    at 5 tempo 90                       our own tempo is set by command
    at 5 clock start                    our clock is started by command; or `continue`, `stop`, `tap`
    at 5 pull keys                      the cable of an input is pulled; `pull keys+take`: the take ends
    at 5 return rack                    an output is there again
    at 5 panic          at 5 panic every key
    at 5 reload                         the next rule file takes over
    at 5 leave                          the session is over
    at 5 wait                           time passes
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Sequence

from rules.compiler.compiler import compile_rules
from rules.engine import delivery
from rules.engine.session import Session
from rules.midi.notation import format_message
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import OnOffSwitch, ValueSwitch
from tests.model.live import Live
from tests.model.own_clock import Order
from tests.support.playing import Sent, bytes_of

MS = 1_000_000
"""Nanoseconds."""

SwitchValue = bool | int | str


class LiveStage(ABC):
    """Something that plays sessions, and what it sent, in nanoseconds."""

    def __init__(self, rulesets: Sequence[RuleSet]) -> None:
        self.ruleset, *self.reloads = rulesets
        self.out: list[Sent] = []

    def play(self, line: str) -> None:
        """One line of a session."""
        _, time, word, *rest = line.split()
        now = int(time) * MS
        match word:
            case "turn":
                self.turn(rest[0], self._value(rest[0], " ".join(rest[1:])), now)
            case "tempo":
                self.order_clock(float(rest[0]), now)
            case "clock":
                self.order_clock(rest[0], now)
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
            case "wait":
                self.wait(now)
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
    def order_clock(self, order: Order, now: int) -> None:
        """Our clock is asked for something by command."""

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

    @abstractmethod
    def wait(self, now: int) -> None:
        """Time passes."""


MakeLive = Callable[[Sequence[RuleSet]], LiveStage]


def played_live(make: MakeLive, rules: str, session: str, reloads: Iterable[str] = ()) -> list[str]:
    """What comes out of a session."""
    stage = make([read_rules([("rules.toml", text.encode())]) for text in (rules, *reloads)])
    stage.begin()
    for line in session.splitlines():
        stage.play(line)
    return [f"at {_in_ms(due)} {port} {format_message(message)}" for port, message, due, _ in stage.out]


def _in_ms(time: int) -> str:
    return f"{time / MS:.6f}".rstrip("0").rstrip(".")


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

    def order_clock(self, order: Order, now: int) -> None:
        """Our clock is asked for something by command."""
        sent: list[delivery.Sent] = []
        self.session.order_clock(order, now, sent)
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

    def wait(self, now: int) -> None:
        """Time passes."""
        sent: list[delivery.Sent] = []
        self.session.advance(now, sent)
        self._name(sent)

    def _name(self, sent: Iterable[delivery.Sent]) -> None:
        ports = self.session.pipeline.ports
        self.out.extend((ports[port], bytes(message), due, player) for port, message, due, player in sent)


class ModelStage(LiveStage):
    """The slow model."""

    def __init__(self, rulesets: Sequence[RuleSet]) -> None:
        super().__init__(rulesets)
        self.live = Live(self.ruleset)

    def play(self, line: str) -> None:
        """One line of a session."""
        self.live.has_lost = False
        super().play(line)

    @property
    def lost_any(self) -> bool:
        """Whether a source has fallen silent with the last line."""
        return self.live.has_lost

    @property
    def next_due(self) -> int:
        """When the next pending message is due."""
        return self.live.model.next_due

    def begin(self) -> None:
        """The session begins at 0."""
        self.live.begin(0, self.out)

    def arrive(self, source: str, message: bytes, now: int) -> None:
        """A message arrives."""
        self.live.arrive(source, message, now, self.out)

    def turn(self, switch: str, value: SwitchValue, now: int) -> None:
        """A switch is set by command."""
        self.live.turn(switch, value, now, self.out)

    def order_clock(self, order: Order, now: int) -> None:
        """Our clock is asked for something by command."""
        self.live.order(order, now, self.out)

    def pull(self, source: str, now: int) -> None:
        """An input is lost."""
        self.live.pull(source, now, self.out)

    def return_output(self, port: str, now: int) -> None:
        """An output is there again."""
        self.live.return_output(port, now, self.out)

    def panic(self, every_key: bool, now: int) -> None:
        """Silence."""
        self.live.panic(every_key, now, self.out)

    def replace(self, ruleset: RuleSet, now: int) -> None:
        """Other rules."""
        self.live.replace(ruleset, now, self.out)

    def leave(self, now: int) -> None:
        """The session is over."""
        self.live.leave(now, self.out)

    def wait(self, now: int) -> None:
        """Time passes."""
        self.live.advance(now, self.out)


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
