"""What becomes of single messages by the slow model, for whatever may be remembered: the measure of all proofs.

Nothing here knows of tables, ways or regions: each message is followed by itself, in each state of the switches, and
again for each answer that a memory may give.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from rules.program.node import UNTIL_OTHERS
from rules.rulefile.ruleset import RuleSet
from rules.steps.latch import LatchStep
from rules.steps.length import LengthStep
from rules.timing.delays import AT_ONCE, Delay
from tests.model import Model, facts
from tests.model.chain import Flow, Memory, Moment, resumed, shaped_release
from tests.model.routing import Emission, Way, clock_source
from tests.support.playing import milliseconds

Switches = Mapping[str, bool | int | str]

OFTEN: tuple[int, ...] = (0, 1, 63, 64, 126, 127)
"""The data bytes at which things change most often."""


class Arrival(NamedTuple):
    """A message at a port: how late, how long its note lasts (None: until its key is let go), and what the release
    velocities of its note-off become (None: what they are). A note-off is in the form 8n."""

    port: str
    message: bytes
    delay: Delay
    lasts: Delay | None = None
    release: bytes | None = None


Outcome = frozenset[Arrival]
"""All that one message becomes."""


class Script(Memory):
    """A memory that answers as it is told, and otherwise first of all with the first answer that there may be.

    `others` collects the tellings that are still to be tried. What comes is not noted: it answers for messages before.
    `named` makes the name under which an answer is told of the place where it is asked for.
    """

    def __init__(
        self, told: Mapping[Hashable, int], values: Sequence[int], named: Callable[[Any], Hashable] = tuple
    ) -> None:
        super().__init__()
        self.told = dict(told)
        self.others: list[dict[Hashable, int]] = []
        self.coarse_halves = values
        self._named = named
        self.came = b""

    def ask(self, key: tuple[Any, ...], answers: Sequence[int]) -> int:
        """Answer, and note what else could be answered."""
        name = self._named(key)
        if name not in self.told:
            self.others += [{**self.told, name: answer} for answer in answers[1:]]
            self.told[name] = answers[0]
        return self.told[name]

    def before(self, player: int, key: tuple[Any, ...]) -> int:
        """The value of a controller before, or of the coarse half of a pair: that has more than two answers."""
        return self.ask(key, self.coarse_halves if is_of_pair(key) else (0, 127))

    def note(self, player: int, key: tuple[Any, ...], value: int) -> None:
        """Note nothing."""

    def frozen(self) -> Memory:
        """The same: it never changes."""
        return self


def is_of_pair(key: tuple[Any, ...]) -> bool:
    """Whether the slow model remembers a coarse half under a key: the place of the step, and a channel."""
    return len(key) == (5 if key[0] == "zone" else 4)


class _Pressed(dict[Any, int]):
    """The same for the controllers that turn switches."""

    def __init__(self, script: Script) -> None:
        super().__init__()
        self._script = script

    def get(self, key: Any, default: Any = None) -> Any:
        return self._script.ask(("pressed", key, self._script.came[:2]), (0, 127))


class BruteForce:
    """Follows messages by themselves; `values` are the coarse halves of pairs that may be remembered."""

    def __init__(self, ruleset: RuleSet, values: Sequence[int] = OFTEN) -> None:
        self.ruleset = ruleset
        self._values = values
        self._model = Model(ruleset, milliseconds)
        self._clocked = {name: clock_source(ruleset, name) for name, port in ruleset.ports.items() if port.can_send}

    def outcomes(self, source: str, message: bytes, switches: Switches) -> set[Outcome]:
        """Everything that one message may become, one outcome for each thing that may be remembered."""
        found = set()
        tellings: list[dict[Hashable, int]] = [{}]
        while tellings:
            script = self.script(tellings.pop())
            found.add(frozenset(self.run(source, message, switches, script)))
            tellings += script.others
        return found

    def script(self, told: Mapping[Hashable, int], named: Callable[[Any], Hashable] = tuple) -> Script:
        """A memory that answers as it is told."""
        return Script(told, self._values, named)

    def run(self, source: str, message: bytes, switches: Switches, script: Script) -> Iterator[Arrival]:
        """Follow one message, with what is remembered as the script says."""
        model = self._model
        model.state.players, model.state.hands, model.state.switches = [source], [source], dict(switches)
        model.switching.pressed = _Pressed(script)
        model.switching.held.clear()
        model.agenda.drop(lambda pending: True)
        moment = Moment(dict(switches), script, 0, facts.in_key_of(0, message))
        is_signal = facts.is_signal(message)
        flows = [Flow(message)] if is_signal else Way(self.ruleset, switches).into_rules(source, message, moment)
        for flow in flows:
            yield from self._come_in(source, flow, moment, script)

    def way(self, switches: Switches) -> Way:
        """The way through the rules while switches have these states."""
        return Way(self.ruleset, switches)

    def _come_in(
        self,
        source: str,
        flow: Flow,
        moment: Moment,
        script: Script,
        before: Delay = AT_ONCE,
        lasts: Delay | None = None,
        is_kept: bool = False,
    ) -> Iterator[Arrival]:
        """What left the steps of a port turns switches and goes to the rules."""
        stop = flow.stop
        if stop is not None:
            if isinstance(stop.step, (LengthStep, LatchStep)):
                if facts.is_off(flow.message):
                    return
                lasts = _length(stop.step)
            else:
                is_kept = is_kept or not script.ask(("thin", stop.at, flow.message), (1, 0))
            for each in resumed(flow, flow.message, moment):
                yield from self._come_in(source, each, moment, script, before + flow.delay, lasts, is_kept)
            return
        script.came = flow.message
        if self._model.trigger(0, flow.message, 0, []):
            return
        moment.switches = dict(self._model.state.switches)
        if facts.is_signal(flow.message):
            for port, clock in self._clocked.items():
                if clock == source:
                    yield Arrival(port, flow.message, AT_ONCE)
        way = self.way(moment.switches)
        for emission in way.out_of_rules(source, flow, moment):
            yield from self._ends(way, emission, moment, script, before, lasts, is_kept)

    def _ends(
        self,
        way: Way,
        emission: Emission,
        moment: Moment,
        script: Script,
        before: Delay,
        lasts: Delay | None,
        is_kept: bool,
    ) -> Iterator[Arrival]:
        """What an emission is at the ports, past the steps that may keep it."""
        flow, message = emission.flow, emission.message
        stop, before = flow.stop, before + flow.delay
        if stop is None:
            if not is_kept or flow.sent or facts.is_note(message):
                yield Arrival(emission.port, as_off(message), before, lasts, _release(flow))
        elif isinstance(stop.step, (LengthStep, LatchStep)):
            if facts.is_off(message):
                return
            branch = emission.port.removeprefix(f"step {stop.at}")
            for each in resumed(flow, message, moment):
                for end in way.at_stop(each, moment, branch):
                    yield from self._ends(way, end, moment, script, before, _length(stop.step), is_kept)
        elif script.ask(("thin", stop.at, message), (1, 0)):
            for end in emission.behind:
                yield from self._ends(way, end, moment, script, before, lasts, is_kept)


def _length(step: LengthStep | LatchStep) -> Delay:
    return UNTIL_OTHERS if isinstance(step, LatchStep) else step.span


def as_off(message: bytes) -> bytes:
    """The message, a note-off in the form 8n."""
    if facts.has_channel(message) and facts.is_off(message):
        return bytes((0x80 | message[0] & 0x0F, *message[1:]))
    return message


def _release(flow: Flow) -> bytes | None:
    if not flow.release or not facts.has_channel(flow.message) or not facts.is_on(flow.message):
        return None
    shaped = bytes(shaped_release(bytes((0x80, 0, velocity)), flow.release)[2] for velocity in range(128))
    return None if shaped == bytes(range(128)) else shaped
