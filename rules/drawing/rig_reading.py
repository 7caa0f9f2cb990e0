"""From rule files to what their picture shows: sources, rules with channels and steps in words, outputs, findings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from rules.compiler.compiler import Compiler
from rules.drawing.channel_words import leaving_words, taken_words
from rules.drawing.curves import curves_of, letter_of, letters_of
from rules.drawing.finding_marks import marks_at, marks_of
from rules.drawing.switch_words import switch_lines, turned_from
from rules.drawing.view import Curve, EndView, Exit, OutputView, RigView, RuleView, ZoneView
from rules.fields.conditions import Condition
from rules.findings.branch_reach import BranchReach, branch_reaches, port_reach, taken_by
from rules.findings.finding import Finding
from rules.midi.notation import STANDARD, Naming, format_note
from rules.program.forms import Form
from rules.program.guards import ALWAYS
from rules.rulefile.clock_table import OWN
from rules.rulefile.port_tables import Device, Port
from rules.rulefile.reading import Reading
from rules.rulefile.stages import Stage
from rules.steps.velocity import Shape
from rules.steps.wording import all_of, any_of


def rig_view(reading: Reading, findings: Iterable[Finding], title: str) -> RigView:
    """Return what the picture of these rule files shows, with what `check` finds in them."""
    return _RigReader(reading, findings).view(title)


def curves_in(reading: Reading) -> tuple[Curve, ...]:
    """Return the velocity curves of rule files, with their letters."""
    return curves_of(reading, _naming(reading))


class _RigReader:
    """Rule files on their way to a view of the rig."""

    def __init__(self, reading: Reading, findings: Iterable[Finding]) -> None:
        self._reading = reading
        self._ruleset = reading.ruleset
        self._compiler = Compiler(reading.ruleset, ())
        self._curves = curves_in(reading)
        self._letters: Mapping[Shape, str] = letters_of(self._curves)
        self._marks, self._more_marks = marks_of(findings)
        self._branches: dict[int, list[BranchReach]] = {}
        for branch in branch_reaches(self._compiler, reading):
            self._branches.setdefault(branch.plan.number, []).append(branch)

    def view(self, title: str) -> RigView:
        """Everything."""
        rules = tuple(self._rule(number) for number in range(len(self._ruleset.rules)))
        return RigView(
            title=title,
            sources=tuple(self._sources()),
            rules=rules,
            outputs=tuple(self._outputs(rules)),
            switches=tuple(switch_lines(self._reading)),
            marks=self._marks,
            more_marks=self._more_marks,
            curves=self._curves,
        )

    # -- both ends ----------------------------------------------------------------------------------------------------

    def _sources(self) -> Iterator[EndView]:
        turned = turned_from(self._ruleset)
        for name in self._compiler.sources:
            port, place = self._ruleset.ports[name], self._reading.ports[name]
            facts = [*_port_facts(name, port, port.input), *self._steps(port.steps, place.source.naming)]
            if name in turned:
                facts.append(f"turns {', '.join(turned[name])}")
            facts += self._clock_facts(name)
            marks = () if port.can_send else marks_at(self._marks, place)
            yield EndView(name, tuple(facts), marks)

    def _clock_facts(self, name: str) -> Iterator[str]:
        """What our clock gets from an input."""
        clock = self._ruleset.clock
        if clock.follow == name:
            yield "your clock follows it"
        pulled = [what for what, triggers in clock.triggers().items() if any(one.source == name for one in triggers)]
        if pulled:
            yield f"your clock: {', '.join(pulled)}"

    def _outputs(self, rules: Sequence[RuleView]) -> Iterator[OutputView]:
        reached: dict[str, dict[int, None]] = {}
        for rule in rules:
            for leaving in rule.every_exit:
                reached.setdefault(leaving.target, {})[rule.number] = None
        for name, choice in self._compiler.clock_choices.items():
            port = self._ruleset.ports[name]
            facts = [*_port_facts(name, port, port.output)]
            facts += ["5-pin DIN"] if port.connection == "din" else []
            facts += ["your clock" if choice.source == OWN else f"clock from {choice.source}"] if choice.source else []
            facts += _from_rules(reached.get(name, {}))
            devices = tuple(
                self._device(device_name, device, reached.get(device_name, {}))
                for device_name, device in self._ruleset.devices.items()
                if device.port == name
            )
            end = EndView(name, tuple(facts), marks_at(self._marks, self._reading.ports[name]))
            if devices or name in reached or choice.source is not None or not port.can_receive:
                yield OutputView(end, devices)

    def _device(self, name: str, device: Device, rules: Iterable[int]) -> EndView:
        place = self._reading.devices[name]
        naming = place.source.naming
        facts = [f"channel {device.channel}" if device.channel is not None else "any channel"]
        if device.notes is not None:
            others = {"pass": "", "drop": ", others dropped", "octave": ", others by octaves"}[device.outside]
            facts.append(f"{format_note(device.notes[0], naming)}..{format_note(device.notes[1], naming)}{others}")
        facts += self._steps(device.steps, naming)
        if device.returns is not None:
            facts.append(f"wired back to {device.returns}")
        if device.setup:
            facts.append(f"{len(device.setup)} setup message{'s' if len(device.setup) > 1 else ''}")
        facts += _from_rules(rules)
        return EndView(name, tuple(facts), marks_at(self._marks, place))

    # -- rules --------------------------------------------------------------------------------------------------------

    def _rule(self, number: int) -> RuleView:
        rule, place = self._ruleset.rules[number], self._reading.rules[number]
        naming = place.source.naming
        branches = self._branches[number]
        zones = []
        for branch in branches if rule.zones else ():
            zone = rule.zones[branch.plan.zone_number]
            sometimes = rule.when is not None or zone.when is not None
            zones.append(
                ZoneView(
                    zone.name or f"zone {branch.plan.zone_number + 1}",
                    all_of(zone, naming),
                    _runs(zone),
                    str(zone.when) if zone.when is not None else "",
                    tuple(self._steps(zone.steps, naming)),
                    tuple(self._exits(branch, sometimes)),
                )
            )
        asks = _asked(rule.match, naming)
        return RuleView(
            number=number + 1,
            name=rule.name or f"rule {number + 1}",
            sources=rule.source,
            label=taken_words(self._taken(branches[0])),
            asks=_with_otherwise(asks) if rule.otherwise else f"only {asks}" if asks else "",
            when=str(rule.when) if rule.when is not None else "",
            steps=tuple(self._steps(rule.steps, naming)),
            exits=() if rule.zones else tuple(self._exits(branches[0], rule.when is not None)),
            zones=tuple(zones),
            marks=marks_at(self._marks, place),
            naming=naming,
        )

    def _taken(self, branch: BranchReach) -> list[Form]:
        """What the rule of a branch takes, whatever its zones ask for and its switches are at."""
        plan = branch.plan
        arriving = dict.fromkeys(
            form for name in plan.rule.source for form in port_reach(self._compiler, name, self._reading.ports[name])[1]
        )
        return taken_by(replace(plan, zone=None, guard=ALWAYS), arriving)

    def _exits(self, branch: BranchReach, sometimes: bool) -> Iterator[Exit]:
        names = dict.fromkeys(name for outlet in branch.outlet.outlets for name in outlet.to)
        for name in names:
            forms = [form for form in branch.leaving if name in branch.outlet.names_for(form.channel)]
            device = self._ruleset.devices.get(name)
            yield Exit(name, leaving_words(forms, device.channel if device is not None else None), sometimes)

    def _steps(self, stages: Iterable[Stage], naming: Naming) -> Iterator[str]:
        for stage in stages:
            letters = letter_of(stage.step, self._letters)
            words = stage.step.words(naming)
            if letters:
                words = f"{words} (curve {letters})"
            yield f"{words}, while {stage.when}" if stage.when is not None else words


def _naming(reading: Reading) -> Naming:
    """How the first file that has a port names notes; curves name none, but words of steps ask for it."""
    return next((place.source.naming for place in reading.ports.values()), STANDARD)


def _port_facts(name: str, port: Port, pattern: str | bool | None) -> Iterator[str]:
    """Yield what the computer calls a port, where that isn't our name for it, and whether it is virtual."""
    computer = port.both if port.both is not None else pattern
    if port.virtual:
        yield "virtual port"
    if isinstance(computer, str) and computer != name:
        yield f'"{computer}"'


def _from_rules(numbers: Iterable[int]) -> list[str]:
    written = list(map(str, numbers))
    return [f"from rule{'s' if len(written) > 1 else ''} {', '.join(written)}"] if written else []


def _asked(conditions: Sequence[Condition], naming: Naming) -> str:
    """What a rule asks for besides the channel, which the line into it has."""
    if len(conditions) != 1:
        return any_of(conditions, naming)
    return all_of(conditions[0], naming, set(Condition.model_fields) - {"channel"})


def _with_otherwise(asks: str) -> str:
    return f"only {asks}, where no other rule matches" if asks else "what no other rule matches"


def _runs(zone: Condition) -> tuple[tuple[int, int], ...]:
    """The keys of a zone as ranges, ends included; all keys where it asks for none."""
    if zone.notes is None:
        return ((0, 127),)
    runs: list[list[int]] = []
    for key in sorted(zone.notes):
        if runs and key == runs[-1][1] + 1:
            runs[-1][1] = key
        else:
            runs.append([key, key])
    return tuple((low, high) for low, high in runs)
