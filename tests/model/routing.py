"""A message's ways through the rules: port steps, rules, zones, outlets, devices."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rules.rulefile.rule_tables import Outlet, Rule, Zone
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import Delay
from tests.model import facts
from tests.model.arithmetic import octave_inside
from tests.model.asking import counts_as_taken, fits, holds, rule_takes
from tests.model.chain import Flow, Follow, Memory, Moment, Replayed, onward, resumed, through


@dataclass(frozen=True, slots=True)
class Emission:
    """A message at an output port, or at a step that keeps it, with all that it met on its way there.

    A step has a name like a port. What it keeps is judged when it comes: `behind` is what it will become (ruling 6).
    """

    port: str
    flow: Flow
    behind: tuple[Emission, ...] = ()

    @property
    def message(self) -> bytes:
        """Its bytes."""
        return self.flow.message

    @property
    def place(self) -> facts.Place:
        """Where it ends up; only for channel messages."""
        return facts.place_of(self.port, self.message)

    @property
    def is_kept(self) -> bool:
        """Whether it goes to a step that keeps it."""
        return self.flow.stop is not None

    @property
    def likeness(self) -> tuple[str, bytes, Delay]:
        """What makes two emissions of one message identical (ruling 7)."""
        return self.port, self.message, self.flow.delay

    def places(self) -> Iterator[facts.Place]:
        """All places at ports that it comes to."""
        if not self.is_kept and facts.has_channel(self.message):
            yield self.place
        for emission in self.behind:
            yield from emission.places()


@dataclass(frozen=True, slots=True)
class Branch:
    """A rule, or a rule with one of its zones."""

    rule: Rule
    zone: Zone | None
    number: int

    def is_open(self, switches: Mapping[str, bool | int | str]) -> bool:
        """Whether its `when`s hold."""
        return holds(self.rule.when, switches) and (self.zone is None or holds(self.zone.when, switches))

    @property
    def outlets(self) -> tuple[Outlet, ...]:
        """Where it leads: a zone without `to` uses the rule's (ruling 6)."""
        to = self.rule.to if self.zone is None or self.zone.to is None else self.zone.to
        assert to is not None
        return to


def branches_of(rule: Rule) -> list[Branch]:
    """A rule without zones is one branch; with zones, each is one."""
    if not rule.zones:
        return [Branch(rule, None, 0)]
    return [Branch(rule, zone, number) for number, zone in enumerate(rule.zones)]


@dataclass(frozen=True, slots=True)
class Way:
    """The rules and the switches of one moment: all that decides where a message goes."""

    ruleset: RuleSet
    switches: Mapping[str, bool | int | str]

    def into_rules(self, source: str, message: bytes, moment: Moment) -> list[Flow]:
        """What the port's own steps make of a message."""
        steps = self.ruleset.ports[source].steps if source in self.ruleset.ports else ()
        return through(steps, ("port", source), Flow(message), moment)

    def out_of_rules(self, source: str, flow: Flow, moment: Moment) -> list[Emission]:
        """What the rules make of what left the port's steps, in file order."""
        mine = [rule for rule in self.ruleset.rules if source in rule.source]
        taken = any(
            not rule.otherwise and holds(rule.when, self.switches) and counts_as_taken(rule, flow.message)
            for rule in mine
        )
        emissions = []
        for rule in mine:
            if rule.otherwise and (taken or facts.is_signal(flow.message)):
                continue
            emissions += self.along(rule, branches_of(rule), flow, moment)
        return emissions

    def along(self, rule: Rule, branches: Iterable[Branch], flow: Flow, moment: Moment) -> list[Emission]:
        """What these branches of a rule make of it. The rule's own steps act once, before the zones (ruling 6)."""
        fitting = [
            branch
            for branch in branches
            if branch.is_open(self.switches) and (branch.zone is None or fits(branch.zone, flow.message))
        ]
        if not fitting or not rule_takes(rule, flow.message):
            return []
        name = rule.name or ""
        moment.match = rule.match
        then = moment.memory.frozen()
        flows = through(rule.steps, ("rule", name), replace(flow, rule=name), moment)
        emissions: list[Emission] = []
        for number, branch in enumerate(fitting):
            if number and any(flow.stop is not None for flow in flows):
                moment = replace(moment, memory=Replayed(moment.memory, then.frozen(), ("rule", name)))
            for each in onward(flows, self._zone(branch, name), moment):
                for out in onward([each], self._delivery(branch), moment):
                    emissions += self.at_stop(out, moment, f" {name}{_zone_words(branch)}")
        return emissions

    def _zone(self, branch: Branch, name: str) -> Follow:
        def follow(flow: Flow, moment: Moment) -> list[Flow]:
            if branch.zone is None:
                return [flow]
            return through(branch.zone.steps, ("zone", name, branch.number), flow, moment)

        return follow

    def at_stop(self, out: Emission | Flow, moment: Moment, branch: str) -> list[Emission]:
        """An emission as it is; a flow that a step keeps as an emission to that step, with what it becomes behind.

        Notes and what a `send` fires go past a step that thins. A step of a rule has a name for each zone that follows,
        since what it keeps for one is nothing to the others; so has a step of a port for what is chased.
        """
        if isinstance(out, Emission):
            return [out]
        assert out.stop is not None
        own = branch if out.stop.at[0] == "rule" or branch.startswith(" chase") else ""
        behind: list[Emission] = []
        if facts.is_note(out.message):  # it goes on when the step lets it, by itself
            return [Emission(f"step {out.stop.at}{own}", out)]
        for each in resumed(out, out.message, moment):
            behind += self.at_stop(each, moment, branch)
        past = [each for each in behind if each.flow.sent or facts.is_note(each.message)]
        kept = tuple(each for each in behind if each not in past)
        return [
            *(replace(each, flow=replace(each.flow, way=(*out.way, *each.flow.way))) for each in past),
            Emission(f"step {out.stop.at}{own}", out, kept),
        ]

    def _delivery(self, branch: Branch) -> Follow:
        def follow(flow: Flow, moment: Moment) -> list[Emission]:
            emissions: list[Emission] = []
            for name in _names(branch.outlets, flow.message):
                if name not in self.ruleset.devices:
                    emissions.append(Emission(name, flow))
                    continue
                outs = through(self.ruleset.devices[name].steps, ("device", name), flow, moment)
                for out in onward(outs, self._arrival(name), moment):
                    emissions += self.at_stop(out, moment, "")
            return emissions

        return follow

    def _arrival(self, name: str) -> Follow:
        device = self.ruleset.devices[name]

        def follow(flow: Flow, moment: Moment) -> list[Emission]:
            message = flow.message
            if device.notes is not None and device.outside != "pass" and facts.has_key(message):
                key = _inside(message[1], device.notes, device.outside)
                if key is None:
                    return []
                message = bytes((message[0], key, message[2]))
            if device.channel is not None and facts.has_channel(message):
                message = facts.on_channel(message, device.channel - 1)
            return [Emission(device.port, replace(flow, message=message))]

        return follow

    def from_port(self, source: str) -> Follow:
        """What the rules make of what left the port's steps, once more; switches have turned by then."""
        return lambda flow, moment: self.out_of_rules(source, flow, moment)

    def everything(
        self, source: str, message: bytes, in_key: tuple[Any, ...], memory: Memory
    ) -> tuple[list[Emission], Moment]:
        """All that this way makes of a message, without doing it: nothing is remembered."""
        moment = Moment(self.switches, memory.frozen(), in_key[0], in_key[:3])
        emissions: list[Emission] = []
        for out in onward(self.into_rules(source, message, moment), self.from_port(source), moment):
            emissions += self.at_stop(out, moment, "")
        return once(emissions), moment


@dataclass(frozen=True, slots=True)
class WayBehind:
    """The same behind a step that keeps things: the rest of the way of what it kept."""

    way: Way
    kept: Emission

    def everything(
        self, source: str, message: bytes, in_key: tuple[Any, ...], memory: Memory
    ) -> tuple[list[Emission], Moment]:
        """All that this way makes of a message of the step."""
        stop = self.kept.flow.stop
        assert stop is not None
        moment = Moment(stop.switches, memory.frozen(), in_key[0], in_key[:3])
        branch = self.kept.port.removeprefix(f"step {stop.at}")
        emissions: list[Emission] = []
        for out in resumed(self.kept.flow, message, moment):
            emissions += self.way.at_stop(out, moment, branch)
        return once(emissions), moment


def _names(outlets: Iterable[Outlet], message: bytes) -> list[str]:
    """The names that a message goes to: by its channel, or all of them, each once, where it has none."""
    if not facts.has_channel(message):
        return list(dict.fromkeys(name for outlet in outlets for name in outlet.to))
    channel = facts.channel_of(message) + 1
    return [name for outlet in outlets if outlet.channels is None or channel in outlet.channels for name in outlet.to]


def _inside(key: int, notes: tuple[int, int], outside: str) -> int | None:
    low, high = notes
    if low <= key <= high:
        return key
    if outside == "drop":
        return None
    return octave_inside(key, low, high)


def once(emissions: Iterable[Emission]) -> list[Emission]:
    """The same list with identical ones sent once (ruling 7)."""
    found: dict[object, Emission] = {}
    for emission in emissions:
        found.setdefault(emission.likeness, emission)
    return list(found.values())


def at_port_step(flow: Flow, behind: Sequence[Emission], way: Way, source: str) -> list[Emission]:
    """A flow that a step of a port keeps, with all that it becomes `behind`; notes go on when the step lets them."""
    assert flow.stop is not None
    stop = flow.stop.then(way.from_port(source))
    if facts.is_note(flow.message):
        return [Emission(f"step {stop.at}", replace(flow, stop=stop))]
    past = [each for each in behind if each.flow.sent or facts.is_note(each.message)]
    kept = tuple(each for each in behind if each not in past)
    return [
        *(replace(each, flow=replace(each.flow, way=(*flow.way, *each.flow.way))) for each in past),
        Emission(f"step {stop.at}", replace(flow, stop=replace(stop, switches=way.switches)), kept),
    ]


def clock_source(ruleset: RuleSet, port: str) -> str | None:
    """The source whose clock and transport go out at `port` (ruling 26)."""
    named = ruleset.ports[port].clock
    if named is not None:
        return None if named == "none" else named
    sources = _whole_sources(ruleset, port, otherwise=False) or _whole_sources(ruleset, port, otherwise=True)
    return sources.pop() if len(sources) == 1 else None


def _whole_sources(ruleset: RuleSet, port: str, *, otherwise: bool) -> set[str]:
    """The sources with a rule without `match`, and with or without `otherwise`, to a port."""
    return {
        source
        for rule in ruleset.rules
        if not rule.match and rule.otherwise == otherwise
        for to in ([rule.to if zone.to is None else zone.to for zone in rule.zones] or [rule.to])
        for outlet in to or ()
        for name in outlet.to
        if ruleset.port_of(name) == port
        for source in rule.source
    }


def _zone_words(branch: Branch) -> str:
    """A way through the first zone is another one than that of a rule without zones."""
    return "" if branch.zone is None else f" zone {branch.number}"
