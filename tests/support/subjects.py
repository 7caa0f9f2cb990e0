"""The engine in the model's clothes: rule sets in, port names out."""

from __future__ import annotations

from collections.abc import Callable

from rules.compiler.compiler import compile_rules
from rules.engine.engine import Engine
from rules.program.pipeline import Pipeline
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import Later
from tests.support.playing import Sent, Subject


class EngineSubject:
    """An engine that is told rule sets, compiles them itself, and names the ports that it sends to.

    It plays what `passed_on` makes of what was compiled.
    """

    def __init__(
        self, ruleset: RuleSet, later: Later, passed_on: Callable[[Pipeline], Pipeline] = lambda pipeline: pipeline
    ) -> None:
        self._passed_on = passed_on
        self._pipeline = passed_on(compile_rules(ruleset))
        self._engine = Engine(self._pipeline, later)

    @property
    def next_due(self) -> int:
        """When the next pending message is due."""
        return self._engine.next_due

    def add_player(self, source: str) -> int:
        """A stream with a ledger of its own."""
        return self._engine.add_player(source)

    def add_hand(self, source: str) -> int:
        """A stream with a hand of its own."""
        return self._engine.hands.add_hand(source, self._pipeline)

    def join(self, player: int) -> None:
        """A hand of its own begins to play."""
        self._engine.hands.join(player, self._pipeline)

    def part(self, player: int, now: int, out: list[Sent]) -> None:
        """A hand of its own plays no more."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.part(player, now, sent)
        self._name(sent, out)

    def feed(self, player: int, message: bytes, now: int, out: list[Sent]) -> None:
        """One message arrives."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.feed(player, message, now, sent)
        self._name(sent, out)

    def advance(self, now: int, out: list[Sent]) -> None:
        """Sends what is due."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.advance(now, sent)
        self._name(sent, out)

    def turn(self, switch: str, value: bool | int | str, now: int, out: list[Sent]) -> None:
        """A switch is set by hand."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.turn(switch, value, now, sent)
        self._name(sent, out)

    def retime(self, now: int) -> None:
        """The tempo is another one."""
        self._engine.retime(now)

    def begin(self, now: int, out: list[Sent]) -> None:
        """A live session begins."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.begin(now, sent)
        self._name(sent, out)

    def return_port(self, port: str, now: int, out: list[Sent]) -> None:
        """An output is there again."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.return_port(self._pipeline.ports.index(port), now, sent)
        self._name(sent, out)

    def release(self, player: int, now: int, out: list[Sent]) -> None:
        """A source is lost."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.release(player, now, sent)
        self._name(sent, out)

    def silence(self, now: int, out: list[Sent], every_key: bool = False) -> None:
        """Panic."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.silence(now, sent, every_key)
        self._name(sent, out)

    def rename(self, old: str, new: str) -> None:
        """A source has another name in the rules that come next."""
        self._engine.hands.rename(old, new)

    def replace(self, new: RuleSet, now: int, out: list[Sent]) -> None:
        """Other rules from now on; the ports keep their numbers."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._pipeline = self._passed_on(compile_rules(new, self._pipeline.ports))
        self._engine.replace(self._pipeline, now, sent)
        self._name(sent, out)

    def close(self, now: int, out: list[Sent]) -> None:
        """The last event of a file."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.close(now, sent)
        self._name(sent, out)

    def settle(self, now: int, out: list[Sent]) -> None:
        """The end of a file."""
        sent: list[tuple[int, bytes, int, int]] = []
        self._engine.settle(now, sent)
        self._name(sent, out)

    def _name(self, sent: list[tuple[int, bytes, int, int]], out: list[Sent]) -> None:
        out.extend((self._pipeline.ports[port], bytes(message), due, player) for port, message, due, player in sent)


def make_engine(ruleset: RuleSet, later: Later) -> Subject:
    """The engine."""
    return EngineSubject(ruleset, later)
